//! What the statistical rules should be expected to say by chance alone: lines a year on this fleet if nothing were wrong
//! with any of its devices, each of which then operates at its class's average.
mod burst;
mod often;
mod returned;
#[cfg(test)]
mod tests;

use super::{
    ClassFigures, Rule, Thresholds, figures::Normal, pair::YEAR, returned::first_return_at_most,
    statistics::scan::some_window,
};
use crate::base::UnitName;

/// More chance lines than one per so many pairs and year, and nobody reads the board.
const PAIRS_TO_A_LINE: f64 = 10.0;
/// Where the others' occurrences are fewer, what is known of the average is so little that it counts.
const WELL_KNOWN: u32 = 400;
/// The lists that are made over all pairs together.
const LISTS_A_YEAR: f64 = 12.0;
/// What stands in for a fleet of which nothing is known yet.
const UNKNOWN_FLEET: f64 = 1_000.0;
const UNKNOWN_GAP: i64 = 90;

/// Chance lines a year.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// Pairs of a unit and a device that are judged, that is whose class has a usable rate.
    pub pairs: f64,
    /// Only the rules that can be wrong by chance; the others have none.
    pub lines: Vec<Expected>,
    /// Share of healthy pairs that the watch list takes along within a year. `None`: no pair is judged.
    pub watch: Option<f64>,
    /// Nothing is known of this fleet yet: reckoned for 1,000 devices that operate once in 90 days.
    pub assumed: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    pub rule: Rule,
    pub lines: f64,
    /// Not so many as this, but how many fewer is not known.
    pub at_most: bool,
}

/// The devices of one class that have one tag: as many pairs as the class has units.
struct Kind {
    normal: Normal,
    /// What the class weighs against a pair's own count.
    weight: f64,
    pairs: f64,
    /// Service years that all of them together have in a year.
    years: f64,
    occurrences: f64,
}

/// Which year of a book: in its first, scores come up from nothing, and rare devices draw fewer lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Year {
    First,
    /// Where scores began is forgotten.
    Settled,
}

/// What these thresholds should be expected to say by chance alone on the fleet that these figures were taken from, a year.
/// Takes some milliseconds for each device of a class of which few occurrences are known, one for others.
pub fn forecast(set: &Thresholds, figures: &ClassFigures) -> Forecast {
    forecast_of(Year::Settled, set, figures)
}

/// The same for one year of a book.
pub fn forecast_of(year: Year, set: &Thresholds, figures: &ClassFigures) -> Forecast {
    let kinds = kinds(figures);
    let began = |month: &super::monthly::Monthly| {
        let recent =
            |since: crate::base::Instant| figures.as_of.since(since) < 365 * crate::base::instant::DAY;
        let worsening = month.worsening.iter().filter(|line| recent(line.since)).count();
        let class_wide = month.class_wide.iter().filter(|line| recent(line.since)).count();
        (worsening as f64, class_wide as f64)
    };
    let (worsening, class_wide) = figures.monthly.as_deref().map_or((0.0, 0.0), began);
    let watched = watched(figures);
    let repairs = f64::from(figures.repairs) / watched;
    let returned = repairs * did_not_hold(set, &kinds, first_return_at_most(set, Some(figures)));
    let mut forecast = of_kinds(year, set, &kinds, returned);
    if forecast.pairs > 0.0 {
        // False discoveries are this share of what a list has, and of months whose list has only false ones.
        let listed = |share: f64, lines: f64| share * lines.max(LISTS_A_YEAR);
        forecast.at_most(Rule::Worsening, listed(set.worsening_discovery, worsening));
        forecast.at_most(Rule::ClassWide, listed(set.class_wide_discovery, class_wide));
        forecast.at_most(Rule::SharedCause, set.shared_chance);
    }
    forecast
}

/// The same before any class figures were taken, for [`UNKNOWN_FLEET`] pairs at one in [`UNKNOWN_GAP`] days.
pub fn forecast_unknown(set: &Thresholds) -> Forecast {
    let others = 4_000;
    let days = i64::from(others) * UNKNOWN_GAP;
    let normal = Normal { others, days, fleet: false, all: others, all_days: days };
    let kind = Kind { normal, weight: 2.0, pairs: UNKNOWN_FLEET, years: UNKNOWN_FLEET, occurrences: 1.0 };
    Forecast { assumed: true, ..of_kinds(Year::Settled, set, &[kind], 0.0) }
}

fn of_kinds(year: Year, set: &Thresholds, kinds: &[Kind], returned: f64) -> Forecast {
    let sum = |of: &dyn Fn(&Kind) -> f64| kinds.iter().map(of).sum::<f64>();
    let pairs = sum(&|kind| kind.pairs);
    let expected = |rule, lines| Expected { rule, lines, at_most: false };
    let burst = sum(&|kind| kind.years * kind.averaged(|rate| burst::lines_a_year(kind, rate, set, year)));
    let often = sum(&|kind| kind.years * kind.averaged(|rate| often::lines_a_year(kind, rate, set)));
    Forecast {
        pairs,
        lines: vec![
            expected(Rule::Burst, burst),
            expected(Rule::Often, often),
            expected(Rule::DidNotHold, returned),
        ],
        watch: watch_of(set, kinds),
        assumed: false,
    }
}

/// Share of healthy pairs that the watch list takes along within a year. `None`: no pair has a usable rate.
pub fn watch_share(set: &Thresholds, figures: &ClassFigures) -> Option<f64> {
    watch_of(set, &kinds(figures))
}

fn watch_of(set: &Thresholds, kinds: &[Kind]) -> Option<f64> {
    let windows = YEAR / set.watch_days;
    let watched = |kind: &Kind| {
        some_window(whole(set.watch_count), kind.normal.pooled() * set.watch_days, windows).unwrap_or(1.0)
    };
    let pairs: f64 = kinds.iter().map(|kind| kind.pairs).sum();
    let taken: f64 = kinds.iter().map(|kind| kind.pairs * watched(kind)).sum();
    (pairs > 0.0).then(|| taken / pairs)
}

/// The chance that an average repair of a healthy device draws a line within a year; devices are repaired as often as they
/// operate.
fn did_not_hold(set: &Thresholds, kinds: &[Kind], first: f64) -> f64 {
    let all: f64 = kinds.iter().map(|kind| kind.occurrences).sum();
    let of = |kind: &Kind| kind.occurrences * kind.averaged(|rate| returned::chance(first, YEAR * rate, set));
    if all > 0.0 { kinds.iter().map(of).sum::<f64>() / all } else { 0.0 }
}

fn kinds(figures: &ClassFigures) -> Vec<Kind> {
    let watched = watched(figures);
    let anybody = UnitName::from("");
    let kind = |device: &super::figures::DeviceFigures| {
        let class = figures.class_days.get(&device.class)?;
        Some(Kind {
            normal: figures.normal(&anybody, &device.class, &device.device)?,
            weight: figures.prior_weight(&device.class, &device.device),
            pairs: f64::from(class.units),
            years: class.days as f64 / YEAR / watched,
            occurrences: f64::from(device.total),
        })
    };
    figures.devices.iter().filter_map(kind).collect()
}

/// The part of a year that the figures cover: a young book's few days stand for a whole year of them.
fn watched(figures: &ClassFigures) -> f64 {
    let longest = figures.unit_days.values().copied().max().unwrap_or(0).max(1);
    (longest as f64 / YEAR).min(1.0)
}

fn whole(x: f64) -> u64 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "2 to 50 by the settings' bounds"
    )]
    let whole = x as u64;
    whole
}

impl Kind {
    /// The mean over what the true average may be, by what is known of it: of few occurrences the rate is known so badly
    /// that the rules' chances are not those at the rate itself.
    fn averaged(&self, of: impl Fn(f64) -> f64) -> f64 {
        let average = self.normal.average();
        if self.normal.others >= WELL_KNOWN {
            return of(average);
        }
        // Three points of Gauss and Hermite over the logarithm of the rate, whose spread is 1 / sqrt(occurrences).
        let spread = f64::from(self.normal.others).sqrt().recip();
        let at = |z: f64| of(average * (spread * z - spread * spread / 2.0).exp());
        at(0.0) * 2.0 / 3.0 + (at(3_f64.sqrt()) + at(-3_f64.sqrt())) / 6.0
    }
}

impl Forecast {
    fn at_most(&mut self, rule: Rule, lines: f64) {
        self.lines.push(Expected { rule, lines, at_most: true });
    }

    pub fn of(&self, rule: Rule) -> Option<Expected> {
        self.lines.iter().find(|expected| expected.rule == rule).copied()
    }

    /// Lines a year by chance alone, without those of which only a most is known.
    pub fn by_chance(&self) -> f64 {
        self.lines.iter().filter(|expected| !expected.at_most).map(|expected| expected.lines).sum()
    }

    /// Nobody would read a board with so many lines that mean nothing.
    pub fn is_too_much(&self) -> bool {
        self.by_chance() > self.pairs / PAIRS_TO_A_LINE
    }

    /// The rule that most of them come from.
    pub fn loudest(&self) -> Option<Rule> {
        let sure = self.lines.iter().filter(|expected| !expected.at_most);
        sure.max_by(|a, b| a.lines.total_cmp(&b.lines)).map(|expected| expected.rule)
    }
}
