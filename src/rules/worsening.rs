//! *worsening*: the gaps of a device shrink within one life. Looked for only once a month, over all pairs together: at the
//! moment of an operation it would be found in one healthy pair of seven.
use super::{
    earlier::Past,
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
    /// Those of the part's life on other units, before.
    earlier: Vec<Past>,
    /// When each was, in service days from the beginning of the life to the middle of its day.
    times: Vec<f64>,
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
    // A part that has not operated here yet is told of once it has.
    if first >= end {
        return None;
    }
    let brought = began.and_then(|r| pair.case.earlier.iter().rev().find(|earlier| earlier.at == r.at));
    let (days_before, earlier) = brought.map_or((0, &[][..]), |e| (e.days, e.occurrences.as_slice()));
    if ((earlier.len() + end.saturating_sub(first)) as f64) < set.worsening_at_least {
        return None;
    }
    let before = began.map_or(Day(i32::MIN), |r| r.day.plus(-1));
    let own = clock.between(before, pair.case.ground.zone.day_of(as_of));
    let days = days_before + own;
    // An operation some time in the day: on average at its middle.
    let time =
        |day: &Day| days_before as f64 + (clock.between(before, *day) as f64 - 0.5).clamp(0.0, own as f64);
    let times: Vec<f64> =
        earlier.iter().map(|o| o.time).chain(pair.days[first..end].iter().map(time)).collect();
    let trend = trend(&times, days as f64)?;
    Some(Life { occurrences: first..end, earlier: earlier.to_vec(), times, days, trend })
}

impl Life {
    /// Whether it stands out by itself, before all pairs are looked at together.
    pub fn stands_out(&self, pair: &Pair<'_>) -> bool {
        let set = pair.case.ground.thresholds;
        self.trend.z >= set.worsening_z && self.trend.p <= set.worsening_tail
    }

    /// Its occurrences in the last third of its service days.
    fn in_last_third(&self) -> usize {
        self.times.iter().filter(|time| 3.0 * (*time + 0.5) > 2.0 * self.days as f64).count()
    }
}

/// Tells of a pair that the month's list has, as long as what is known now still says so.
pub fn worsening(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let Some(monthly) = pair.case.ground.figures.and_then(|figures| figures.monthly.as_deref()) else {
        return;
    };
    let Some(listed) = monthly.worsening(pair.case.unit(), pair.tag) else { return };
    pair.rest_on_days_to(pair.case.ground.zone.day_of(monthly.as_of));
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
    let n = life.times.len();
    let late = life.in_last_third();
    let brought = match life.earlier.len() {
        0 => String::new(),
        more => format!(" Of these, {} on the unit that the part came from.", pair.counted(more)),
    };
    let says = format!(
        "Gaps are shrinking: {late} of {} fell in the last third of its {} up to {}; a steady device would have {:.1} there. {} \
         looks like this. {}{}.{brought}",
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
        .rests_on(life.earlier.iter().flat_map(|o| o.entries.iter().copied()))
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
        earlier::{Earlier, Past},
        monthly::{Monthly, Worsening},
        sample::{Railway, at, entry, new_life, trips, with_gap},
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

    #[test]
    fn the_part_takes_its_trips_on_another_unit_along() {
        let railway = listed(with_gap(400), "2026-03-01");
        let put_in = new_life("2026-02-01T00:00:00Z");
        let there =
            [100_u32, 250, 330].map(|day| Past { time: day.into(), entries: vec![entry(day.into())] });
        let earlier = Earlier { at: put_in.at, days: 400, occurrences: there.into() };
        let told = |here: &[&str]| {
            let facts = [trips(here), vec![put_in.clone()]].concat();
            let mut found = railway.judge_after("TC2", facts, std::slice::from_ref(&earlier));
            found.retain(|f| f.rule == Rule::Worsening);
            found
        };
        let found = told(&["2026-02-10", "2026-02-20", "2026-02-26"]);
        assert_eq!(found.len(), 1);
        let says = &found[0].sentence;
        assert!(
            says.starts_with("Gaps are shrinking: 4 of 6 trips fell in the last third of its 430 "),
            "{says}"
        );
        assert!(says.ends_with("Of these, 3 trips on the unit that the part came from."), "{says}");
        assert_eq!(found[0].entries.len(), 6);
        assert_eq!(told(&[]), [], "it has not operated here yet");
    }
}
