//! *burst*: a device that operates far more often than the other units' do, found by a Poisson CUSUM.
use super::{
    case::Case,
    fact::Told,
    figures::Normal,
    finding::{Finding, Rule},
    occurrence::Occurrence,
    statistics::SEVENFOLD,
};
use crate::base::{Day, Instant, Tag, Zone, text::count};

/// Chance lines per pair (unit and device) and year: 52 a year on 20,000 pairs.
const ALPHA: f64 = 2.6e-3;
const YEAR: f64 = 365.0;
/// Fewer than three occurrences since the score last stood at zero are no burst.
const AT_LEAST: u32 = 3;
/// A line stays for two average gaps without an occurrence, but no longer than this many service days.
const QUIET_AT_MOST: f64 = 90.0;

/// What the rule finds, and from which moment on a change of the unit's service days cannot change that.
/// `None`: no service day matters, since there was nothing to judge.
pub fn burst(
    case: &Case<'_>,
    tag: &Tag,
    occurrences: &[Occurrence],
    out: &mut Vec<Finding>,
) -> Option<Instant> {
    if occurrences.len() < AT_LEAST as usize {
        return None;
    }
    let normal = case.ground.figures?.normal(case.unit(), case.class()?, tag)?;
    let days: Vec<Day> = occurrences.iter().map(|o| case.ground.zone.day_of(o.at)).collect();
    // What stays under the line at the average rate stays under it at the upper bound too, which is dear to
    // reckon: most devices need only this first walk.
    let (bursts, settled) = Walk::new(case, normal, normal.average(), occurrences, &days).through();
    if bursts.is_empty() {
        return Some(settled);
    }
    let rate = normal.upper();
    let (bursts, settled) = Walk::new(case, normal, rate, occurrences, &days).through();
    out.extend(bursts.iter().map(|b| b.told(case, tag, &normal, rate, occurrences)));
    Some(settled)
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
    until: Option<Instant>,
}

struct Walk<'a> {
    case: &'a Case<'a>,
    normal: Normal,
    /// Occurrences per service day that count as normal.
    rate: f64,
    occurrences: &'a [Occurrence],
    days: &'a [Day],
    score: f64,
    since_zero: u32,
    first: usize,
    open: Option<Burst>,
    done: Vec<Burst>,
}

impl<'a> Walk<'a> {
    fn new(
        case: &'a Case<'a>,
        normal: Normal,
        rate: f64,
        occurrences: &'a [Occurrence],
        days: &'a [Day],
    ) -> Self {
        Self {
            case,
            normal,
            rate,
            occurrences,
            days,
            score: 0.0,
            since_zero: 0,
            first: 0,
            open: None,
            done: Vec::new(),
        }
    }

    fn through(mut self) -> (Vec<Burst>, Instant) {
        let repairs = self.case.standing().filter(|f| matches!(f.told, Told::RepairClosed { .. }));
        let mut repairs = repairs.map(|f| f.at).peekable();
        let mut last_moment = Instant(i64::MIN);
        for i in 0..self.occurrences.len() {
            while let Some(at) = repairs.next_if(|at| *at <= self.occurrences[i].at) {
                self.repaired(at);
            }
            self.occurred(i);
            last_moment = self.occurrences[i].at;
        }
        if self.open.is_some()
            && let Some(at) = repairs.next()
        {
            self.repaired(at);
            last_moment = at;
        }
        let settled = self.settled_after(last_moment);
        self.close(None);
        (self.done, settled)
    }

    fn occurred(&mut self, i: usize) {
        if i > 0 && self.since_zero > 0 {
            let gap = self.case.days.between(self.days[i - 1], self.days[i]) as f64;
            self.score -= SEVENFOLD.fall() * self.rate * gap;
            if self.score <= 0.0 {
                (self.score, self.since_zero) = (0.0, 0);
            }
        }
        if self.since_zero == 0 {
            self.first = i;
        }
        self.score += SEVENFOLD.rise();
        self.since_zero += 1;
        if self.open.is_some_and(|open| self.quiet_after(open.last).is_some_and(|end| end < self.days[i])) {
            self.close(None);
        }
        if let Some(open) = &mut self.open {
            open.last = i;
            open.top = open.top.max(self.score);
        } else if self.since_zero >= AT_LEAST && SEVENFOLD.run_length(self.score) >= YEAR * self.rate / ALPHA
        {
            self.open = Some(Burst { first: self.first, crossed: i, last: i, top: self.score, until: None });
        }
    }

    fn repaired(&mut self, at: Instant) {
        self.close(Some(at));
        (self.score, self.since_zero) = (0.0, 0);
    }

    /// Ends the open stretch: at the repair, or before it if two gaps had passed.
    fn close(&mut self, repair: Option<Instant>) {
        if let Some(mut burst) = self.open.take() {
            let quiet = self.quiet_after(burst.last).map(|day| self.case.ground.zone.start_of(day.plus(1)));
            burst.until = match (quiet, repair) {
                (Some(quiet), Some(repair)) => Some(quiet.min(repair)),
                (one, other) => one.or(other),
            };
            self.done.push(burst);
        }
    }

    /// The last of the quiet days that end the line; `None` while so many service days are not known.
    fn quiet_after(&self, occurrence: usize) -> Option<Day> {
        #[expect(clippy::cast_possible_truncation, reason = "between 1 and 90")]
        let days = (2.0 * self.normal.gap()).min(QUIET_AT_MOST).ceil() as i64;
        self.case.days.nth_after(self.days[occurrence], days.max(1))
    }

    fn settled_after(&self, last_moment: Instant) -> Instant {
        let zone = self.case.ground.zone;
        match self.open.map(|open| self.quiet_after(open.last)) {
            None => zone.start_of(zone.day_of(last_moment).plus(1)),
            Some(Some(day)) => zone.start_of(day.plus(1)),
            Some(None) => Instant::MAX,
        }
    }
}

impl Burst {
    fn told(
        &self,
        case: &Case<'_>,
        tag: &Tag,
        normal: &Normal,
        rate: f64,
        occurrences: &[Occurrence],
    ) -> Finding {
        let crossed = occurrences[self.crossed].at;
        let told = &occurrences[self.first..=self.last];
        let zone = case.ground.zone;
        let days =
            case.days.between(zone.day_of(told[0].at).plus(-1), zone.day_of(occurrences[self.last].at));
        let one_in = SEVENFOLD.run_length(self.top) / (YEAR * rate);
        let weight = severity(case, tag, crossed);
        let mut finding = case
            .finding(Rule::Burst, Some(tag), &zone.day_of(crossed).to_string(), crossed)
            .until(self.until)
            .weighs(weight)
            .says(sentence(tag, told, days, normal, zone, one_in))
            .rests_on(told.iter().flat_map(|o| o.entries(case.facts)));
        let ahead = ahead(case, tag, normal, occurrences, self.last);
        finding.rank = Some(ahead.extra * weight);
        finding
            .figure("occurrences", told.len())
            .figure("operations", told.iter().map(|o| o.operations).sum::<u32>())
            .figure("service_days", days)
            .figure("normal_gap_days", round(normal.gap()))
            .figure("others_occurrences", normal.others)
            .figure("others_service_days", normal.days)
            .figure("rate_upper_per_day", rate)
            .figure("score", round(self.top))
            .figure("threshold", round(SEVENFOLD.threshold(YEAR * rate / ALPHA)))
            .figure("run_length", SEVENFOLD.run_length(self.top).round())
            .figure("one_in", one_in.round())
            .looks_ahead(&ahead)
    }
}

impl Finding {
    /// What its rank was reckoned from.
    fn looks_ahead(self, ahead: &Ahead) -> Self {
        self.figure("year_occurrences", ahead.own)
            .figure("year_service_days", ahead.own_days)
            .figure("class_counts_as_occurrences", round(ahead.class_occurrences))
            .figure("class_counts_as_days", round(ahead.class_days))
            .figure("extra_in_30_days", round(ahead.extra))
    }
}

/// What was seen beside what is normal, then how many healthy units it takes.
fn sentence(tag: &Tag, told: &[Occurrence], days: i64, normal: &Normal, zone: &Zone, one_in: f64) -> String {
    let first = told.first().map_or(Day(0), |o| zone.day_of(o.at));
    format!(
        "{} in {} since {}; {} average one in {}. {}.",
        count(told.len() as u64, noun(tag), plural(tag)),
        count(days.unsigned_abs().max(1), "service day", "service days"),
        first.in_words(),
        if normal.fleet { "units of the fleet" } else { "sister units" },
        gap_in_words(normal.gap()),
        healthy(one_in)
    )
}

/// What the next 30 service days are reckoned from: the class counts as half an occurrence to two occurrences of
/// evidence, the unit's own last 365 service days as what they are.
#[derive(Clone, Copy, Debug, Default)]
struct Ahead {
    class_occurrences: f64,
    class_days: f64,
    own: u32,
    own_days: i64,
    /// More than an average sister unit.
    extra: f64,
}

fn ahead(case: &Case<'_>, tag: &Tag, normal: &Normal, occurrences: &[Occurrence], last: usize) -> Ahead {
    let zone = case.ground.zone;
    let mean = 1.0 / normal.gap();
    let (Some(figures), Some(class)) = (case.ground.figures, case.class()) else { return Ahead::default() };
    let weight = figures.prior_weight(class, tag);
    let to = zone.day_of(occurrences[last].at);
    let own =
        occurrences[..=last].iter().rev().take_while(|o| case.days.between(zone.day_of(o.at), to) < 365);
    let own = u32::try_from(own.count()).unwrap_or(u32::MAX);
    let own_days = case.days.between(Day(i32::MIN), to).min(365);
    let rate = (weight + f64::from(own)) / (weight / mean + own_days as f64);
    Ahead { class_occurrences: weight, class_days: weight / mean, own, own_days, extra: 30.0 * (rate - mean) }
}

/// 1 unless the schedule says; failing to start 3, the ground relay 5.
pub fn severity(case: &Case<'_>, tag: &Tag, at: Instant) -> f64 {
    match tag.as_str() {
        Tag::ENGINE_START => 3.0,
        Tag::GROUND_RELAY => 5.0,
        _ => case.device(tag, at).and_then(|d| d.severity).unwrap_or(1.0),
    }
}

fn noun(tag: &Tag) -> &'static str {
    match tag.as_str() {
        Tag::ENGINE_START => "failed start",
        Tag::GROUND_RELAY => "ground-relay operation",
        _ => "trip",
    }
}

fn plural(tag: &Tag) -> &'static str {
    match tag.as_str() {
        Tag::ENGINE_START => "failed starts",
        Tag::GROUND_RELAY => "ground-relay operations",
        _ => "trips",
    }
}

fn gap_in_words(days: f64) -> String {
    if days >= 2.0 { format!("{days:.0} service days") } else { format!("{days:.1} service days") }
}

/// Never a bare p-value: how many healthy units it would take for one to do this in a year.
fn healthy(one_in: f64) -> String {
    if one_in >= 1e6 {
        return "Fewer than 1 healthy unit in a million would do this in a year".to_owned();
    }
    let unit = 10_f64.powf(one_in.max(1.0).log10().floor() - 1.0).max(1.0);
    format!("About 1 healthy unit in {:.0} would do this in a year", (one_in / unit).round() * unit)
}

fn round(x: f64) -> f64 {
    (x * 1_000.0).round() / 1_000.0
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
            class_days: [("C1".into(), ClassDays { days: 40 * gap + 365, units: 20 })].into(),
            repairs: 0,
            cranking: Vec::new(),
            monthly: None,
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
        let found = railway.judge_device("TC2", facts);
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

    #[test]
    fn luck_is_said_in_healthy_units() {
        assert_eq!(healthy(763.2), "About 1 healthy unit in 760 would do this in a year");
        assert_eq!(healthy(12_345.0), "About 1 healthy unit in 12000 would do this in a year");
        assert!(healthy(3e9).starts_with("Fewer than 1"));
    }
}
