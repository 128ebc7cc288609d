//! *burst*: a device that operates far more often than the other units' do, found by a Poisson CUSUM.
use std::sync::{Arc, PoisonError, RwLock};

use super::{
    figures::Normal,
    finding::{Finding, Rule},
    pair::{Pair, YEAR, normal_in_words, one_in, round},
    statistics::Cusum,
};
use crate::base::{Day, Instant, text::count};

/// What the rule finds.
pub fn burst(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let set = pair.case.ground.thresholds;
    if (pair.occurrences.len() as f64) < set.burst_at_least {
        return;
    }
    let cusum = cusum(set.burst_ratio);
    // What stays under the line at the average rate stays under it at the upper bound too, which is dear to
    // reckon: most devices need only this first walk.
    let bursts = Walk::new(pair, normal, normal.average(), &cusum).through();
    pair.settle(day_after_last(pair));
    if bursts.is_empty() {
        return;
    }
    let rate = normal.upper();
    for burst in Walk::new(pair, normal, rate, &cusum).through() {
        let until = burst.until(pair, normal);
        out.push(burst.told(pair, normal, rate, &cusum).until(until));
    }
}

fn day_after_last(pair: &Pair<'_>) -> Instant {
    let last = pair.days.last().copied().unwrap_or(Day(0));
    pair.case.ground.zone.start_of(last.plus(1))
}

/// Reckoned once for each ratio that a railway sets.
fn cusum(ratio: f64) -> Arc<Cusum> {
    static LAST: RwLock<Option<(f64, Arc<Cusum>)>> = RwLock::new(None);
    let known = LAST.read().unwrap_or_else(PoisonError::into_inner).clone();
    match known {
        Some((of, cusum)) if of.to_bits() == ratio.to_bits() => cusum,
        _ => {
            let cusum = Arc::new(Cusum::new(ratio));
            *LAST.write().unwrap_or_else(PoisonError::into_inner) = Some((ratio, Arc::clone(&cusum)));
            cusum
        }
    }
}

/// One stretch during which the line stands.
#[derive(Clone, Copy, Debug)]
struct Burst {
    /// The first occurrence since the score stood at zero, the one that crossed, the last one.
    first: usize,
    crossed: usize,
    last: usize,
    /// The highest score reached.
    top: f64,
}

struct Walk<'a, 'p> {
    pair: &'a Pair<'p>,
    normal: &'a Normal,
    /// Occurrences per service day that count as normal.
    rate: f64,
    cusum: &'a Cusum,
    /// Mean gaps that the score's run length has to reach.
    long: f64,
    score: f64,
    since_zero: u32,
    first: usize,
    open: Option<Burst>,
    done: Vec<Burst>,
}

impl<'a, 'p> Walk<'a, 'p> {
    fn new(pair: &'a Pair<'p>, normal: &'a Normal, rate: f64, cusum: &'a Cusum) -> Self {
        let long = YEAR * rate / pair.case.ground.thresholds.burst_chance;
        let (score, since_zero, first, open) = (0.0, 0, 0, None);
        Self { pair, normal, rate, cusum, long, score, since_zero, first, open, done: Vec::new() }
    }

    fn through(mut self) -> Vec<Burst> {
        let mut repairs = self.pair.repairs.iter().map(|r| r.at).peekable();
        for i in 0..self.pair.occurrences.len() {
            let mut repaired = false;
            while repairs.next_if(|at| *at <= self.pair.occurrences[i].at).is_some() {
                repaired = true;
            }
            if repaired {
                self.done.extend(self.open.take());
                (self.score, self.since_zero) = (0.0, 0);
            }
            self.occurred(i);
        }
        self.done.extend(self.open.take());
        self.done
    }

    fn occurred(&mut self, i: usize) {
        if i > 0 && self.since_zero > 0 {
            let gap = self.pair.case.days.between(self.pair.days[i - 1], self.pair.days[i]) as f64;
            self.score -= self.cusum.fall() * self.rate * gap;
            if self.score <= 0.0 {
                (self.score, self.since_zero) = (0.0, 0);
            }
        }
        if self.since_zero == 0 {
            self.first = i;
        }
        self.score += self.cusum.rise();
        self.since_zero += 1;
        if self.open.is_some_and(|open| self.pair.ended_before(open.last, i, self.normal)) {
            self.done.extend(self.open.take());
        }
        let enough = f64::from(self.since_zero) >= self.pair.case.ground.thresholds.burst_at_least;
        if let Some(open) = &mut self.open {
            open.last = i;
            open.top = open.top.max(self.score);
        } else if enough && self.cusum.run_length(self.score) >= self.long {
            self.open = Some(Burst { first: self.first, crossed: i, last: i, top: self.score });
        }
    }
}

impl Burst {
    fn until(&self, pair: &mut Pair<'_>, normal: &Normal) -> Option<Instant> {
        pair.ends(self.last, normal)
    }

    fn told(&self, pair: &Pair<'_>, normal: &Normal, rate: f64, cusum: &Cusum) -> Finding {
        let crossed = pair.occurrences[self.crossed].at;
        let told = &pair.occurrences[self.first..=self.last];
        let days = pair.case.days.between(pair.days[self.first].plus(-1), pair.days[self.last]);
        let length = cusum.run_length(self.top);
        let healthy = length / (YEAR * rate);
        let says = format!(
            "{} in {} since {}; {}. {} would do this in a year.",
            pair.counted(told.len()),
            count(days.unsigned_abs().max(1), "service day", "service days"),
            pair.days[self.first].in_words(),
            normal_in_words(normal),
            one_in("healthy unit", healthy)
        );
        let set = pair.case.ground.thresholds;
        pair.line(Rule::Burst, &pair.days[self.crossed].to_string(), crossed, self.last, normal)
            .says(says)
            .rests_on(pair.entries(told))
            .figure("occurrences", told.len())
            .figure("operations", told.iter().map(|o| o.operations).sum::<u32>())
            .figure("service_days", days)
            .figure("rate_upper_per_day", rate)
            .figure("score", round(self.top))
            .figure("threshold", round(cusum.threshold(YEAR * rate / set.burst_chance)))
            .figure("run_length", length.round())
            .figure("one_in", healthy.round())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        reports::vocabulary::Left,
        rules::{
            dossier::Subject,
            fact::Fact,
            figures::{ClassDays, ClassFigures, DeviceFigures},
            sample::{Railway, at, device, repair, trip},
        },
    };

    /// The page tells how these come about; whoever follows it with a pencil has to get there.
    #[test]
    fn the_figures_can_be_reckoned_again() {
        let facts = trips(&["03-03", "03-05", "03-12", "03-15", "03-20", "03-26"]);
        let found = railway(90).judge_device("TC2", facts);
        let burst = found.iter().find(|f| f.rule == Rule::Burst).unwrap();
        let n = |name: &str| burst.figures[name].as_f64().unwrap();
        let rate = n("rate_upper_per_day");
        assert!((n("run_length") / (365.0 * rate) - n("one_in")).abs() <= 1.0);
        let score = 6.0 * 7_f64.ln() - 23.0 * 6.0 * rate;
        assert!((n("score") - score).abs() < 0.001, "{} {score}", n("score"));
        let mean = 1.0 / n("normal_gap_days");
        let expected = (n("class_counts_as_occurrences") + n("year_occurrences"))
            / (n("class_counts_as_days") + n("year_service_days"));
        assert!((n("extra_in_30_days") - 30.0 * (expected - mean)).abs() < 0.01);
        assert!((burst.rank.unwrap() - n("extra_in_30_days") * burst.severity).abs() < 0.001);
    }

    /// Sister units average one in `gap` service days, 40 occurrences of theirs known.
    fn railway(gap: i64) -> Railway {
        let mut railway = Railway::with(vec![device("TC2", |_| {})]);
        let occurrences =
            BTreeMap::from([("QHB 401".into(), 20), ("QHB 402".into(), 20), ("QHB 412".into(), 5)]);
        railway.figures = Some(ClassFigures {
            as_of: at("2026-02-01T00:00:00Z"),
            up_to_seq: 1,
            devices: vec![DeviceFigures {
                class: "C1".into(),
                device: "TC2".into(),
                legend: "TC2 LEGEND".into(),
                occurrences,
                total: 45,
            }],
            unit_days: [("QHB 412".into(), 365), ("QHB 401".into(), 365), ("QHB 402".into(), 365)].into(),
            class_days: [("C1".into(), ClassDays { days: 40 * gap + 365, units: 20, squares: 0 })].into(),
            repairs: 0,
            cranking: Vec::new(),
            monthly: None,
            derived: Default::default(),
        });
        railway
    }

    fn trips(days: &[&str]) -> Vec<Fact> {
        let hour = |i: usize| 12 + 2 * (i % 4);
        let when = days.iter().enumerate().map(|(i, d)| format!("2026-{d}T{}:00:00Z", hour(i)));
        when.map(|when| trip(&when, "TC2", Left::On)).collect()
    }

    #[test]
    fn six_trips_in_24_days_are_a_burst() {
        let railway = railway(90);
        let facts = trips(&["03-03", "03-05", "03-12", "03-15", "03-20", "03-26"]);
        let found = railway.judge_device("TC2", facts.clone());
        let burst = found.iter().find(|f| f.rule == Rule::Burst).unwrap();
        assert_eq!(
            burst.sentence,
            "6 trips in 24 service days since 3 March 2026; sister units average one in 90 service days. \
             About 1 healthy unit in 2000 would do this in a year."
        );
        assert_eq!(burst.entries.len(), 6);
    }

    #[test]
    fn two_are_none_however_close_and_a_normal_unit_has_none() {
        let railway = railway(900);
        assert_eq!(railway.judge_device("TC2", trips(&["03-03", "03-04"])), []);
        let railway = self::railway(90);
        assert_eq!(railway.judge_device("TC2", trips(&["01-03", "03-04", "05-30"])), []);
    }

    #[test]
    fn a_repair_ends_it_and_the_count_begins_again() {
        let railway = railway(90);
        let mut facts = trips(&["03-03", "03-05", "03-05", "03-06", "03-07"]);
        facts.push(repair("2026-03-08T10:00:00Z"));
        facts.extend(trips(&["03-09", "03-10"]));
        let mut found = railway.judge_device("TC2", facts);
        found.retain(|f| f.rule == Rule::Burst);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].until, Some(at("2026-03-08T10:00:00Z")));
    }

    #[test]
    fn it_ends_when_two_gaps_pass_and_stays_while_the_unit_is_silent() {
        let facts = trips(&["02-23", "02-24", "02-25", "02-25", "02-26", "02-26"]);
        let found = railway(20).judge_device("TC2", facts);
        // Forty service days after 26 February, in the railway's zone.
        assert_eq!(found[0].until.map(|u| u.to_z()), Some("2026-04-08T05:00:00Z".to_owned()));
        // The unit was last heard of in April 2026 (see `Railway`): ninety service days later is not known.
        let late = trips(&["03-30", "03-31", "04-01", "04-02", "04-03", "04-04"]);
        let judged = railway(90).judge(Subject::Device("TC2".into()), late);
        assert_eq!(judged.findings[0].until, None);
        assert_eq!(judged.settled_after, Some(Instant::MAX));
    }

    #[test]
    fn without_figures_there_is_no_verdict() {
        let mut railway = railway(90);
        railway.figures = None;
        let judged =
            railway.judge(Subject::Device("TC2".into()), trips(&["03-03", "03-03", "03-04", "03-05"]));
        assert_eq!((judged.findings, judged.settled_after), (vec![], None));
    }
}
