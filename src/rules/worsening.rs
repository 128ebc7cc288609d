//! *worsening*: the gaps of a device shrink within one life. Looked for only once a month, over all pairs together: at the
//! moment of an operation it would be found in one healthy pair of seven.
use super::{
    figures::Normal,
    finding::{Finding, Rule},
    pair::{Pair, one_in, round},
    statistics::trend::{Trend, trend},
};
use crate::base::{Day, Instant, text::count};

/// One life up to a moment, and its trend.
pub struct Life {
    /// Its occurrences, as places in the pair's.
    pub occurrences: std::ops::Range<usize>,
    /// The day before its first service day, and service days since.
    before: Day,
    pub days: i64,
    pub trend: Trend,
}

/// The life that a pair was in at a moment; `None` with too few occurrences to look at.
pub fn life(pair: &Pair<'_>, as_of: Instant) -> Option<Life> {
    let set = pair.case.ground.thresholds;
    let clock = pair.case.days;
    let began = pair.life_began(as_of);
    let first = began.map_or(0, |r| pair.occurrences.partition_point(|o| o.at < r.at));
    let end = pair.occurrences.partition_point(|o| o.at <= as_of);
    if ((end.saturating_sub(first)) as f64) < set.worsening_at_least {
        return None;
    }
    let before = began.map_or(Day(i32::MIN), |r| r.day.plus(-1));
    let days = clock.between(before, pair.case.ground.zone.day_of(as_of));
    // An operation some time in the day: on average at its middle.
    let time = |day: &Day| (clock.between(before, *day) as f64 - 0.5).clamp(0.0, days as f64);
    let times: Vec<f64> = pair.days[first..end].iter().map(time).collect();
    let trend = trend(&times, days as f64)?;
    Some(Life { occurrences: first..end, before, days, trend })
}

impl Life {
    /// Whether it stands out by itself, before all pairs are looked at together.
    pub fn stands_out(&self, pair: &Pair<'_>) -> bool {
        let set = pair.case.ground.thresholds;
        self.trend.z >= set.worsening_z && self.trend.p <= set.worsening_tail
    }

    /// Its occurrences in the last third of its service days.
    fn in_last_third(&self, pair: &Pair<'_>) -> usize {
        let late = |day: &&Day| 3 * pair.case.days.between(self.before, **day) > 2 * self.days;
        pair.days[self.occurrences.clone()].iter().filter(late).count()
    }
}

/// Tells of a pair that the month's list has, as long as what is known now still says so.
pub fn worsening(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let Some(monthly) = pair.case.ground.figures.and_then(|figures| figures.monthly.as_deref()) else {
        return;
    };
    let Some(listed) = monthly.worsening(pair.case.unit(), pair.tag) else { return };
    pair.settle(Instant::MAX);
    let Some(life) = life(pair, monthly.as_of).filter(|life| life.stands_out(pair)) else { return };
    let last = last_of_line(pair, normal, life.occurrences.end - 1);
    let until = pair.ends(last, normal);
    let until = match pair.repair_after(listed.since).map(|r| r.at) {
        Some(repair) => Some(until.map_or(repair, |until| until.min(repair))),
        None => until,
    };
    if until.is_none_or(|until| until > listed.since) {
        out.push(told(pair, normal, &life, monthly.as_of, listed.since, last).until(until));
    }
}

fn last_of_line(pair: &Pair<'_>, normal: &Normal, from: usize) -> usize {
    (from + 1..pair.occurrences.len())
        .take_while(|i| !pair.ended_before(i - 1, *i, normal))
        .last()
        .unwrap_or(from)
}

fn told(
    pair: &Pair<'_>,
    normal: &Normal,
    life: &Life,
    as_of: Instant,
    since: Instant,
    last: usize,
) -> Finding {
    let n = life.occurrences.len();
    let late = life.in_last_third(pair);
    let says = format!(
        "Gaps are shrinking: {late} of {} fell in the last third of its {} up to {}; a steady device would have {:.1} there. {} \
         looks like this. {}{}.",
        pair.counted(n),
        count(life.days.unsigned_abs(), "service day", "service days"),
        pair.case.ground.zone.day_of(as_of).in_words(),
        n as f64 / 3.0,
        one_in("steady device", 1.0 / life.trend.p),
        super::pair::normal_in_words(normal)[..1].to_uppercase(),
        &super::pair::normal_in_words(normal)[1..]
    );
    // The day that its month's list was made tells one line from the next, whatever came in when.
    let mark = pair.case.ground.zone.day_of(since).to_string();
    pair.line(Rule::Worsening, &mark, since, last, normal)
        .says(says)
        .rests_on(pair.entries(&pair.occurrences[life.occurrences.clone()]))
        .figure("occurrences", n)
        .figure("in_last_third", late)
        .figure("service_days", life.days)
        .figure("laplace_u", round(life.trend.u))
        .figure("variation_of_gaps", round(life.trend.variation))
        .figure("trend", round(life.trend.z))
        .figure("one_in", (1.0 / life.trend.p).round())
}

#[cfg(test)]
mod tests {
    use crate::rules::{
        Finding, Rule,
        monthly::{Monthly, Worsening},
        sample::{Railway, at, new_life, trips, with_gap},
    };

    fn listed(mut railway: Railway, day: &str) -> Railway {
        let since = at(&format!("{day}T06:00:00Z"));
        let worsening = vec![Worsening { unit: "QHB 412".into(), device: "TC2".into(), since }];
        let monthly = Monthly { as_of: since, worsening, class_wide: vec![] };
        railway.figures.as_mut().unwrap().monthly = Some(Box::new(monthly));
        railway
    }

    fn found(railway: &Railway, facts: Vec<crate::rules::Fact>) -> Vec<Finding> {
        let mut found = railway.judge_device("TC2", facts);
        found.retain(|f| f.rule == Rule::Worsening);
        found
    }

    const SHRINKING: [&str; 6] =
        ["2024-01-10", "2025-02-20", "2025-09-01", "2025-11-20", "2026-01-05", "2026-02-10"];

    #[test]
    fn shrinking_gaps_are_told_once_the_month_lists_them() {
        let gap = || with_gap(400);
        assert_eq!(found(&gap(), trips(&SHRINKING)), []);
        let told = found(&listed(gap(), "2026-03-01"), trips(&SHRINKING));
        assert_eq!(told.len(), 1, "{told:?}");
        // The unit has reports from 8 January 2022 on, so 1,526 service days (13 before the first report count).
        assert!(
            told[0]
                .sentence
                .starts_with("Gaps are shrinking: 5 of 6 trips fell in the last third of its 1527 "),
            "{told:?}"
        );
        assert!(
            told[0].sentence.contains("up to 1 March 2026; a steady device would have 2.0 there."),
            "{told:?}"
        );
        assert_eq!(told[0].since, at("2026-03-01T06:00:00Z"));
    }

    #[test]
    fn late_entries_and_a_new_device_take_it_back() {
        let railway = listed(with_gap(400), "2026-03-01");
        let even = ["2022-03-01", "2022-09-01", "2023-02-01", "2023-06-01"];
        assert_eq!(found(&railway, trips(&[&even[..], &SHRINKING[..]].concat())), []);
        let mut facts = trips(&SHRINKING);
        facts.push(new_life("2026-02-01T00:00:00Z"));
        assert_eq!(found(&railway, facts), []);
        let mut facts = trips(&SHRINKING);
        facts.push(new_life("2026-03-05T00:00:00Z"));
        assert_eq!(found(&railway, facts)[0].until, Some(at("2026-03-05T00:00:00Z")));
    }
}
