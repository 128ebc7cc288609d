//! What a detector says about each pair, beside what is true of it.
use std::collections::HashMap;

use breakerbook::{
    base::{Instant, instant::DAY},
    cli::simulate::fleet::Pair,
    rules::{
        Finding, Rule,
        forecast::{Year, forecast_of},
        occurrence::occurrences,
        outline::outlines,
    },
};

use super::{oracle, railway::Railway};

/// Lines opened while the true rate was under this many times the class's are false.
const FALSE_UNDER: f64 = 1.5;
/// A pair that jumped and operated less often than this since cannot be found by anybody.
const FINDABLE: usize = 4;
/// One line until so many average gaps have passed without an occurrence, at most this many service days.
const QUIET_GAPS: f64 = 2.0;
const QUIET_AT_MOST: f64 = 90.0;

/// One pair of which at least one occurrence is known.
pub struct Trace {
    pub pair: Pair,
    /// Occurrences as the book knows them: days since the first day began, and the number of the service day.
    pub days: Vec<f64>,
    pub service: Vec<i64>,
    /// The oracle's score after each.
    pub scores: Vec<f64>,
    /// When the rules as shipped opened a line.
    pub shipped: Vec<f64>,
}

/// One fleet-year.
pub struct Seen {
    pub traces: Vec<Trace>,
    /// Years that pairs with a usable class rate served at less than 1.5 times it.
    pub healthy_years: f64,
    /// Lines opened in those, and what the program's own forecast expects.
    pub burst: Chance,
    pub often: Chance,
}

#[derive(Clone, Copy, Debug, Default)]
pub struct Chance {
    pub observed: usize,
    pub forecast: f64,
}

/// What became of the lines of one detector on one fleet.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    pub lines: usize,
    pub false_lines: usize,
    pub found: usize,
}

pub fn see(railway: &Railway, findings: &[Finding], jump: f64) -> Seen {
    let mut of: HashMap<_, Vec<&Finding>> = HashMap::new();
    for finding in findings {
        of.entry((finding.unit.as_ref(), finding.device.as_ref())).or_default().push(finding);
    }
    let spread = railway.fleet.options.spread;
    let mut seen = forecast(railway);
    for (number, key, dossier) in &railway.dossiers {
        let pair = railway.fleet.pairs[*number].clone();
        let tag = railway.fleet.tag(pair.device);
        let found = of.get(&(Some(&key.unit), Some(&tag))).map_or(&[][..], Vec::as_slice);
        let day = |at: Instant| at.since(railway.starts) as f64 / DAY as f64;
        for finding in found.iter().filter(|finding| is_false(&pair, day(finding.since))) {
            let chance = if finding.rule == Rule::Burst { &mut seen.burst } else { &mut seen.often };
            chance.observed += 1;
        }
        let clock = &railway.days[pair.unit];
        let before = railway.fleet.options.starts.plus(-1);
        let (mut days, mut service) = (Vec::new(), Vec::new());
        for occurrence in occurrences(&outlines(dossier.facts())) {
            days.push(day(occurrence.at));
            service.push(clock.between(before, railway.zone.day_of(occurrence.at)));
        }
        let scores = oracle::scores(pair.class_rate, spread, jump, &service);
        let shipped = merged(found).into_iter().map(day).collect();
        seen.traces.push(Trace { pair, days, service, scores, shipped });
    }
    seen
}

/// *burst* and *often* of one pair are one line while they overlap.
fn merged(findings: &[&Finding]) -> Vec<Instant> {
    let mut spans: Vec<_> = findings.iter().map(|f| (f.since, f.until.unwrap_or(Instant::MAX))).collect();
    spans.sort_unstable();
    let (mut opened, mut open_until) = (Vec::new(), Instant(i64::MIN));
    for (since, until) in spans {
        if since >= open_until {
            opened.push(since);
        }
        open_until = open_until.max(until);
    }
    opened
}

fn is_false(pair: &Pair, day: f64) -> bool {
    pair.times_class(day) < FALSE_UNDER
}

/// What the Thresholds page would expect of these figures in a book's first year, for the part of it that pairs were
/// healthy. Nothing is seen yet.
fn forecast(railway: &Railway) -> Seen {
    let options = &railway.fleet.options;
    let (before, last) = (options.starts.plus(-1), options.ends().plus(-1));
    let (mut healthy_years, mut years) = (0.0, 0.0);
    for pair in &railway.fleet.pairs {
        let card = railway.unit(pair.unit);
        if railway.figures.normal(&card.unit, &card.class, &railway.fleet.tag(pair.device)).is_none() {
            continue;
        }
        let served = railway.days[pair.unit].between(before, last) as f64 / 365.0;
        let steps = 365 * options.years;
        let healthy = (0..steps).filter(|day| is_false(pair, f64::from(*day) + 0.5)).count();
        years += served;
        healthy_years += served * healthy as f64 / f64::from(steps);
    }
    let expected = forecast_of(Year::First, &super::railway::settings(), &railway.figures);
    let of = |rule: Rule| {
        let lines = expected.of(rule).map_or(0.0, |expected| expected.lines);
        Chance { observed: 0, forecast: lines * healthy_years / years }
    };
    Seen { traces: Vec::new(), healthy_years, burst: of(Rule::Burst), often: of(Rule::Often) }
}

impl Trace {
    /// When a detector that alarms at some occurrences opens a line: one until it is quiet.
    pub fn lines(&self, alarms: impl Fn(usize) -> bool) -> Vec<f64> {
        let quiet = (QUIET_GAPS / self.pair.class_rate).min(QUIET_AT_MOST).ceil();
        let (mut opened, mut last) = (Vec::new(), None);
        for (n, day) in self.days.iter().enumerate() {
            let still =
                last.is_some_and(|last: usize| (self.service[n] - self.service[last]) as f64 <= quiet);
            if still || alarms(n) {
                last = Some(n);
                if !still {
                    opened.push(*day);
                }
            } else {
                last = None;
            }
        }
        opened
    }

    /// Three occurrences on thirty service days.
    pub fn three_in_thirty(&self) -> Vec<f64> {
        self.lines(|n| n >= 2 && self.service[n] - self.service[n - 2] <= 29)
    }

    pub fn by_oracle(&self, threshold: f64) -> Vec<f64> {
        self.lines(|n| self.scores[n] >= threshold)
    }

    pub fn false_among(&self, opened: &[f64]) -> usize {
        opened.iter().filter(|day| is_false(&self.pair, **day)).count()
    }

    pub fn is_findable(&self) -> bool {
        self.pair
            .jump
            .is_some_and(|jump| self.days.iter().filter(|day| **day >= jump.day).count() >= FINDABLE)
    }

    /// Days from the jump to the first line opened since.
    pub fn found_after(&self, opened: &[f64]) -> Option<f64> {
        let jump = self.pair.jump.filter(|_| self.is_findable())?;
        opened.iter().find(|day| **day >= jump.day).map(|day| day - jump.day)
    }
}
