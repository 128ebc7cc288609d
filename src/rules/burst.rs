//! *burst*: a device that operates far more often than the other units' do, found by a Shiryaev-Roberts score.
use super::{
    figures::Normal,
    finding::{Finding, Rule},
    pair::{Pair, normal_in_words, one_in, round},
    statistics::bad_spell::{self, Score},
};
use crate::base::{Day, text::count};

/// Scores beyond are all the same to everybody.
const MOST: f64 = 1e30;

/// What the rule finds.
pub fn burst(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let set = pair.case.ground.thresholds;
    if (pair.occurrences.len() as f64) < set.burst_at_least {
        return;
    }
    let bursts = Walk::new(pair, normal).through();
    for burst in bursts {
        let until = pair.ends(burst.last, normal);
        out.push(burst.told(pair, normal).until(until));
    }
}

/// What the score looks for on this pair.
fn score(pair: &Pair<'_>, normal: &Normal) -> Score {
    Score::of(pair.case.ground.thresholds.burst_ratio, normal.cautious())
}

/// One stretch during which the line stands.
#[derive(Clone, Copy, Debug)]
struct Burst {
    /// The occurrence that the sentence counts from, the one that crossed, the last one.
    first: usize,
    crossed: usize,
    last: usize,
    /// The score before the first.
    before: f64,
    /// The highest score reached.
    top: f64,
}

/// The score begins at nothing on the pair's first known service day and at each closed repair. What the sentence counts
/// begins with the occurrence before which the score last stood no higher than twice what it comes to without any: nobody
/// chooses it afterwards, and all that lies before it can at most have doubled the score.
struct Walk<'a, 'p> {
    pair: &'a Pair<'p>,
    normal: &'a Normal,
    score: Score,
    now: f64,
    /// The day that `now` stands for.
    day: Day,
    counted: u32,
    first: usize,
    before: f64,
    open: Option<Burst>,
    done: Vec<Burst>,
}

impl<'a, 'p> Walk<'a, 'p> {
    fn new(pair: &'a Pair<'p>, normal: &'a Normal) -> Self {
        let score = score(pair, normal);
        let (day, done) = (Day(i32::MIN), Vec::new());
        Self { pair, normal, score, now: 0.0, day, counted: 0, first: 0, before: 0.0, open: None, done }
    }

    fn through(mut self) -> Vec<Burst> {
        let mut repairs = self.pair.repairs.iter().peekable();
        for i in 0..self.pair.occurrences.len() {
            while let Some(repair) = repairs.next_if(|r| r.at <= self.pair.occurrences[i].at) {
                self.done.extend(self.open.take());
                // The rest of the repair's day is a service day of its own.
                (self.now, self.counted, self.day) = (0.0, 0, repair.day.plus(-1));
            }
            self.occurred(i);
        }
        self.done.extend(self.open.take());
        self.done
    }

    fn occurred(&mut self, i: usize) {
        let days = self.pair.case.days.between(self.day, self.pair.days[i]);
        let before = self.score.passed(self.now, days as f64);
        if self.counted == 0 || self.score.begins_after(before) {
            (self.counted, self.first, self.before) = (0, i, before);
        }
        self.counted += 1;
        self.day = self.pair.days[i];
        self.now = self.score.risen(before).min(MOST);
        if self.open.is_some_and(|open| self.pair.ended_before(open.last, i, self.normal)) {
            self.done.extend(self.open.take());
        }
        let set = self.pair.case.ground.thresholds;
        if let Some(open) = &mut self.open {
            open.last = i;
            open.top = open.top.max(self.now);
        } else if f64::from(self.counted) >= set.burst_at_least && self.now >= set.burst_score() {
            let (first, before, top) = (self.first, self.before, self.now);
            self.open = Some(Burst { first, crossed: i, last: i, before, top });
        }
    }
}

impl Burst {
    fn told(&self, pair: &Pair<'_>, normal: &Normal) -> Finding {
        let crossed = pair.occurrences[self.crossed].at;
        let told = &pair.occurrences[self.first..=self.last];
        let days = pair.case.days.between(pair.days[self.first].plus(-1), pair.days[self.last]);
        let (set, rate) = (pair.case.ground.thresholds, normal.cautious());
        let healthy = 1.0 / bad_spell::chance_in_a_year(set.burst_ratio, rate, self.top);
        let says = format!(
            "{} in {} since {}; {}. {} would do this in a year.",
            pair.counted(told.len()),
            count(days.unsigned_abs().max(1), "service day", "service days"),
            pair.days[self.first].in_words(),
            normal_in_words(normal),
            one_in("healthy unit", healthy)
        );
        pair.line(Rule::Burst, &pair.days[self.crossed].to_string(), crossed, self.last, normal)
            .says(says)
            .rests_on(pair.entries(told))
            .figure("occurrences", told.len())
            .figure("operations", told.iter().map(|o| o.operations).sum::<u32>())
            .figure("service_days", days)
            .figure("rate_per_day", rate)
            .figure("looks_for_times", set.burst_ratio)
            .figure("score_before", round(self.before))
            .figure("score", round(self.top))
            .figure("threshold", round(set.burst_score()))
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
            rests::Rests,
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
        let (rate, times) = (n("rate_per_day"), n("looks_for_times"));
        assert!((rate - 41.0 / 3_600.0).abs() < 1e-12, "{rate}");
        let fall = (times - 1.0) * rate + 1.0 / 365.0;
        let mut score = n("score_before");
        assert!(score <= 2.0 / fall);
        for (place, gap) in [0.0, 2.0, 7.0, 3.0, 5.0, 6.0].into_iter().enumerate() {
            let left = (-fall * gap).exp();
            score = times * (score * left + (1.0 - left) / fall);
            assert!(place == 5 || score < n("threshold"), "{place}: {score}");
        }
        assert!((n("score") / score - 1.0).abs() < 1e-4, "{} {score}", n("score"));
        assert!((n("threshold") - 30_000.0).abs() < 1e-6 && n("one_in") >= n("score") / 730.0);
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
             About 1 healthy unit in 560 would do this in a year."
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
        let facts = trips(&["02-22", "02-23", "02-24", "02-25", "02-25", "02-26", "02-26"]);
        let found = railway(20).judge_device("TC2", facts);
        // Forty service days after 26 February, in the railway's zone.
        assert_eq!(found[0].until.map(|u| u.to_z()), Some("2026-04-08T05:00:00Z".to_owned()));
        // The unit was last heard of in April 2026 (see `Railway`): ninety service days later is not known.
        let late = trips(&["03-30", "03-31", "04-01", "04-02", "04-03", "04-04"]);
        let judged = railway(90).judge(Subject::Device("TC2".into()), late);
        assert_eq!(judged.findings[0].until, None);
        assert_eq!(judged.rests.before, Some(at("2026-04-05T05:00:00Z")));
        assert!(judged.rests.waits_for.is_some());
    }

    #[test]
    fn without_figures_there_is_no_verdict() {
        let mut railway = railway(90);
        railway.figures = None;
        let judged =
            railway.judge(Subject::Device("TC2".into()), trips(&["03-03", "03-03", "03-04", "03-05"]));
        assert_eq!((judged.findings, judged.rests), (vec![], Rests::default()));
    }
}
