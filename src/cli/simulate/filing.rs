//! What of it all was written down, and when it came in: the fleet's reports in the interchange contract.
use super::{
    dice::{Dice, Matter},
    fleet::{Fleet, Pair, Unit},
    written,
};
use crate::{
    base::{EntryId, Instant, Zone, instant::DAY},
    reports::{Entry, Report},
};

/// A unit without trouble is still reported about, so often at least (days): a silent unit is not a healthy one.
const ROUTINE: (f64, f64) = (5.0, 9.0);
/// Occurrences within this of the first are of one run (days).
const RUN: f64 = 0.4;

/// A report and its way into the book.
#[derive(Clone, Debug)]
pub struct Filed {
    pub report: Report,
    pub unit: usize,
    pub arrives: Arrives,
    /// Entries whose clock time was rounded, with the true one.
    pub rounded: Vec<(EntryId, Instant)>,
    /// Which pair each entry tells of; `None` for a start.
    pub pairs: Vec<Option<usize>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrives {
    InTime(Instant),
    Late(Instant),
    Never,
}

impl Arrives {
    pub fn at(self) -> Option<Instant> {
        match self {
            Self::InTime(at) | Self::Late(at) => Some(at),
            Self::Never => None,
        }
    }
}

/// Something to be written down.
#[derive(Clone, Copy, Debug)]
pub struct Happening {
    pub day: f64,
    pub device: usize,
}

/// One crew on one unit.
pub struct Run<'a> {
    pub starts: f64,
    pub ends: f64,
    pub happenings: &'a [Happening],
}

/// Every report that anybody signed, in the order in which they come in; the lost ones last.
pub fn reports(fleet: &Fleet) -> Vec<Filed> {
    let start = Zone::utc().start_of(fleet.options.starts);
    let mut all: Vec<Filed> = Vec::new();
    for number in 0..fleet.units.len() {
        let happenings = happenings(fleet, number);
        let mut dice = Dice::of(fleet.options.seed, Matter::Runs, number);
        let mut write = |run: &Run<'_>| {
            all.push(written::report(fleet, number, run, start, &mut dice));
        };
        walk(fleet, &fleet.units[number], number, &happenings, &mut write);
    }
    all.sort_by_key(|filed| (filed.arrives.at().unwrap_or(Instant::MAX), filed.report.id.0));
    all
}

/// Everything that happened on a unit, in order.
fn happenings(fleet: &Fleet, unit: usize) -> Vec<Happening> {
    let of = |pair: &Pair| {
        let device = pair.device;
        pair.happened.iter().map(move |day| Happening { day: *day, device }).collect::<Vec<_>>()
    };
    let shared = fleet.shared.iter().filter(|shared| shared.unit == unit).flat_map(|shared| &shared.tripped);
    let shared = shared.map(|(device, day)| Happening { day: *day, device: *device });
    let mut all: Vec<Happening> = fleet.pairs_of(unit).iter().flat_map(of).chain(shared).collect();
    all.sort_by(|a, b| a.day.total_cmp(&b.day));
    all
}

/// The unit's runs: one for whatever happened, others in between. None while nobody writes.
fn walk(fleet: &Fleet, unit: &Unit, number: usize, all: &[Happening], write: &mut impl FnMut(&Run<'_>)) {
    let mut dice = Dice::of(fleet.options.seed, Matter::Routine, number);
    let ends = fleet.options.days();
    let silent = |day: f64| unit.silent.iter().any(|(from, until)| (*from..*until).contains(&day));
    let mut from = 0;
    let mut next_routine = dice.between(0.0, ROUTINE.1);
    loop {
        let first = all.get(from).map_or(f64::INFINITY, |happening| happening.day);
        if next_routine < first.min(ends) {
            if !silent(next_routine) {
                write(&Run { starts: next_routine - 0.2, ends: next_routine, happenings: &[] });
            }
            next_routine += dice.between(ROUTINE.0, ROUTINE.1);
            continue;
        }
        let Some(rest) = all.get(from..).filter(|rest| !rest.is_empty()) else { return };
        let many = rest.partition_point(|happening| happening.day < first + RUN);
        let last = rest[many - 1].day;
        let run = Run {
            starts: first - dice.between(0.01, 0.2),
            ends: last + dice.between(0.01, 0.1),
            happenings: &rest[..many],
        };
        if !silent(run.ends) {
            write(&run);
            next_routine = run.ends + dice.between(ROUTINE.0, ROUTINE.1);
        }
        from += many;
    }
}

/// The moment of a day since the first day began, to the second.
pub fn moment(start: Instant, day: f64) -> Instant {
    let micros = day * DAY as f64;
    #[expect(clippy::cast_possible_truncation, reason = "some years in microseconds")]
    let micros = micros as i64;
    Instant(start.0 + micros - micros.rem_euclid(1_000_000))
}

/// Whether a pair's occurrence is among what was written about its unit, and has not been lost.
pub fn arrived<'a>(filed: &'a [Filed], fleet: &'a Fleet) -> Vec<u32> {
    let mut counts = vec![0; fleet.pairs.len()];
    for report in filed.iter().filter(|filed| filed.arrives != Arrives::Never) {
        report.pairs.iter().flatten().for_each(|pair| counts[*pair] += 1);
    }
    counts
}

/// One entry of a report in the making.
pub struct Written {
    pub entry: Entry,
    pub rounded: Option<Instant>,
    pub pair: Option<usize>,
}

/// The clock on the wall, in steps of a quarter of an hour.
pub fn quarter(at: Instant) -> Instant {
    const QUARTER: i64 = 15 * crate::base::instant::MINUTE;
    Instant((at.0 + QUARTER / 2).div_euclid(QUARTER) * QUARTER)
}
