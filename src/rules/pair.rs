//! One device on one unit, laid out on the unit's service-day clock: what every statistical rule looks at.
use super::{
    case::Case,
    figures::Normal,
    finding::{Finding, Rule},
    occurrence::Occurrence,
    outline::Mending,
    rests::Rests,
};
use crate::{
    base::{Day, EntryId, Instant, Tag, text::count},
    roster::Device,
};

/// Rates look back over so many service days.
pub const YEAR: f64 = 365.0;
const YEAR_DAYS: i64 = 365;

pub struct Pair<'a> {
    pub case: &'a Case<'a>,
    pub tag: &'a Tag,
    pub occurrences: &'a [Occurrence],
    /// The day of each occurrence.
    pub days: Vec<Day>,
    /// The service days up to and with it.
    served: Vec<i64>,
    /// Repairs closed, the earliest first.
    pub repairs: Vec<Repaired>,
    /// What was found so far rests on this.
    pub rests: Rests,
}

#[derive(Clone, Copy, Debug)]
pub struct Repaired {
    pub at: Instant,
    pub day: Day,
    pub new_life: bool,
    pub no_fault_found: bool,
}

/// How often a pair operated in its last 365 service days, of its present life only.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Year {
    pub occurrences: u32,
    pub days: i64,
}

impl<'a> Pair<'a> {
    pub fn of(case: &'a Case<'a>, tag: &'a Tag, occurrences: &'a [Occurrence]) -> Self {
        let zone = case.ground.zone;
        let repaired = |(at, mending): (Instant, &Mending)| {
            let Mending { new_life, no_fault_found, .. } = *mending;
            Repaired { at, day: zone.day_of(at), new_life, no_fault_found }
        };
        let days: Vec<Day> = occurrences.iter().map(|o| zone.day_of(o.at)).collect();
        Self {
            case,
            tag,
            occurrences,
            served: days.iter().map(|day| case.days.between(Day(i32::MIN), *day)).collect(),
            days,
            repairs: case.mended().map(repaired).collect(),
            rests: Rests::default(),
        }
    }

    /// What is normal for it; `None`: too little known to judge.
    pub fn normal(&self) -> Option<Normal> {
        self.case.ground.figures?.normal(self.case.unit(), self.case.class()?, self.tag)
    }

    /// How many occurrences' worth of evidence the class counts as.
    pub fn prior_weight(&self) -> Option<f64> {
        Some(self.case.ground.figures?.prior_weight(self.case.class()?, self.tag))
    }

    /// What was found rests on this, too.
    pub fn rest(&mut self, on: Rests) {
        self.rests = self.rests.and(on);
    }

    /// The same of all service days up to and with one.
    pub fn rest_on_days_to(&mut self, last: Day) {
        self.rest(Rests::on(self.case.ground.zone.start_of(last.plus(1))));
    }

    /// The first repair closed after a moment.
    pub fn repair_after(&self, at: Instant) -> Option<&Repaired> {
        self.repairs.iter().find(|r| r.at > at)
    }

    /// The repair that began the life it was in at a moment: the device was replaced.
    pub fn life_began(&self, at: Instant) -> Option<&Repaired> {
        self.repairs.iter().rev().find(|r| r.at <= at && r.new_life)
    }

    /// The last of the quiet days that end a line; `None` while so many service days are not known.
    pub fn quiet_after(&self, occurrence: usize, normal: &Normal) -> Option<Day> {
        self.case.days.nth_after(self.days[occurrence], self.quiet_days(normal))
    }

    fn quiet_days(&self, normal: &Normal) -> i64 {
        let set = self.case.ground.thresholds;
        #[expect(clippy::cast_possible_truncation, reason = "between 1 and 730 by the settings' bounds")]
        let days = (set.quiet_gaps * normal.gap()).min(set.quiet_days).ceil() as i64;
        days.max(1)
    }

    /// When a line ends whose last occurrence is this one: the quiet, or a repair before it. `None`: not yet.
    pub fn ends(&mut self, last: usize, normal: &Normal) -> Option<Instant> {
        let (quiet, rests) = self.case.after_days(self.days[last], self.quiet_days(normal));
        self.rest(rests);
        let repair = self.repair_after(self.occurrences[last].at).map(|r| r.at);
        match (quiet, repair) {
            (Some(quiet), Some(repair)) => Some(quiet.min(repair)),
            (one, other) => one.or(other),
        }
    }

    /// Whether a line whose last occurrence is `last` had ended by quiet or a repair when `next` came.
    pub fn ended_before(&self, last: usize, next: usize, normal: &Normal) -> bool {
        let quiet = self.quiet_after(last, normal).is_some_and(|end| end < self.days[next]);
        let (from, to) = (self.occurrences[last].at, self.occurrences[next].at);
        quiet || self.repairs.iter().any(|r| from < r.at && r.at <= to)
    }

    /// Its occurrences and service days in the 365 service days up to and with one of them, of the life it was in then.
    pub fn year_up_to(&self, last: usize) -> Year {
        self.year_ending(last, self.days[last])
    }

    /// The same in those up to and with a later day, before which this was the last.
    pub fn year_ending(&self, last: usize, to: Day) -> Year {
        let life = self.life_began(self.occurrences[last].at);
        let in_life = life.map_or(0, |r| self.occurrences.partition_point(|o| o.at < r.at));
        let served = self.case.days.between(Day(i32::MIN), to);
        let recent = self.served.partition_point(|then| served - then >= YEAR_DAYS);
        let occurrences = (last + 1).saturating_sub(in_life.max(recent));
        let began = life.map_or(Day(i32::MIN), |r| r.day.plus(-1));
        let days = self.case.days.between(began, to).clamp(1, YEAR_DAYS);
        Year { occurrences: u32::try_from(occurrences).unwrap_or(u32::MAX), days }
    }

    /// What ranks a line whose last occurrence is this one.
    pub fn ahead(&self, last: usize, normal: &Normal) -> Ahead {
        let Some(weight) = self.prior_weight() else { return Ahead::default() };
        let year = self.year_up_to(last);
        let mean = normal.average();
        let rate = (weight + f64::from(year.occurrences)) / (weight / mean + year.days as f64);
        Ahead {
            class_occurrences: weight,
            class_days: weight / mean,
            own: year.occurrences,
            own_days: year.days,
            extra: 30.0 * (rate - mean),
        }
    }

    /// The blank form of a line of this pair, ranked, with what its rank was reckoned from.
    pub fn line(&self, rule: Rule, mark: &str, since: Instant, last: usize, normal: &Normal) -> Finding {
        let weight = severity(self.case, self.tag, since);
        let ahead = self.ahead(last, normal);
        let mut line = self.case.finding(rule, Some(self.tag), mark, since).weighs(weight);
        line.rank = Some(ahead.extra * weight);
        line.figure("normal_gap_days", round(normal.gap()))
            .figure("others_occurrences", normal.others)
            .figure("others_service_days", normal.days)
            .figure("year_occurrences", ahead.own)
            .figure("year_service_days", ahead.own_days)
            .figure("class_counts_as_occurrences", round(ahead.class_occurrences))
            .figure("class_counts_as_days", round(ahead.class_days))
            .figure("extra_in_30_days", round(ahead.extra))
    }

    pub fn entries(&self, occurrences: &'a [Occurrence]) -> impl Iterator<Item = EntryId> + use<'a> {
        let outlines = self.case.outlines;
        occurrences.iter().flat_map(move |o| o.entries(outlines))
    }

    /// `5 trips`.
    pub fn counted(&self, n: usize) -> String {
        count(n as u64, noun(self.tag), plural(self.tag))
    }
}

/// What the next 30 service days are reckoned from: the class counts as half an occurrence to two occurrences of
/// evidence, the unit's own last 365 service days as what they are.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ahead {
    class_occurrences: f64,
    class_days: f64,
    own: u32,
    own_days: i64,
    /// More than an average sister unit.
    pub extra: f64,
}

/// 1 unless the schedule says; failing to start 3, the ground relay 5.
pub fn severity(case: &Case<'_>, tag: &Tag, at: Instant) -> f64 {
    severity_of(tag, case.device(tag, at))
}

/// The same, given the device's row on the schedule.
pub fn severity_of(tag: &Tag, scheduled: Option<&Device>) -> f64 {
    match tag.as_str() {
        Tag::ENGINE_START => 3.0,
        Tag::GROUND_RELAY => 5.0,
        _ => scheduled.and_then(|d| d.severity).unwrap_or(1.0),
    }
}

pub fn noun(tag: &Tag) -> &'static str {
    match tag.as_str() {
        Tag::ENGINE_START => "failed start",
        Tag::GROUND_RELAY => "ground-relay operation",
        _ => "trip",
    }
}

pub fn plural(tag: &Tag) -> &'static str {
    match tag.as_str() {
        Tag::ENGINE_START => "failed starts",
        Tag::GROUND_RELAY => "ground-relay operations",
        _ => "trips",
    }
}

/// `sister units average one in 90 service days`.
pub fn normal_in_words(normal: &Normal) -> String {
    let who = if normal.fleet { "units of the fleet" } else { "sister units" };
    format!("{who} average one in {}", gap_in_words(normal.gap()))
}

pub fn gap_in_words(days: f64) -> String {
    if days >= 2.0 { format!("{days:.0} service days") } else { format!("{days:.1} service days") }
}

/// Never a bare p-value: how many it takes for one to do this. `1 healthy unit in 760`.
pub fn one_in(what: &str, n: f64) -> String {
    if n.is_nan() || n >= 1e6 {
        return format!("Fewer than 1 {what} in a million");
    }
    let unit = 10_f64.powf(n.max(1.0).log10().floor() - 1.0).max(1.0);
    format!("About 1 {what} in {:.0}", (n.max(1.0) / unit).round() * unit)
}

pub fn round(x: f64) -> f64 {
    (x * 1_000.0).round() / 1_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn luck_is_said_in_units_it_takes() {
        for (n, want) in [
            (763.2, "About 1 healthy unit in 760"),
            (12_345.0, "About 1 healthy unit in 12000"),
            (22.98, "About 1 healthy unit in 23"),
            (0.2, "About 1 healthy unit in 1"),
            (3e9, "Fewer than 1 healthy unit in a million"),
            (f64::INFINITY, "Fewer than 1 healthy unit in a million"),
            (f64::NAN, "Fewer than 1 healthy unit in a million"),
        ] {
            assert_eq!(one_in("healthy unit", n), want, "{n}");
        }
    }
}
