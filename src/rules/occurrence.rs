//! Occurrences: a breaker closed again at once and tripping again is one happening, not two.
use super::{
    fact::{Fact, Told},
    outline::Outline,
};
use crate::{
    base::{EntryId, Instant, instant::MINUTE},
    reports::vocabulary::{FuseResult, GroundReset, Left, Outcome, ResetResult, Seen},
};

/// Operations within this of the first belong to one occurrence.
const TOGETHER: i64 = 60 * MINUTE;

/// The operations of one device that count as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Occurrence {
    pub at: Instant,
    /// Operations as told, for the page's raw number.
    pub operations: u32,
    /// The first and last of its facts, as places in the dossier.
    pub first: usize,
    pub last: usize,
}

impl Occurrence {
    /// The entries it rests on.
    pub fn entries<'a>(&self, facts: &'a [Outline]) -> impl Iterator<Item = EntryId> + 'a {
        facts[self.first..=self.last].iter().filter(|f| f.operated()).map(|f| f.entry)
    }
}

/// How often the device operated, as one fact tells it; 0 where the fact is of another kind.
pub fn operations(fact: &Fact) -> u32 {
    match &fact.told {
        Told::Trip { resets, .. } => {
            let again = resets.iter().filter(|r| r.result == Some(ResetResult::TrippedAgain)).count();
            u32::try_from(again).unwrap_or(u32::MAX).saturating_add(1)
        }
        Told::Ground { operations, .. } => (*operations).max(1),
        Told::Fuse { result: FuseResult::Blown, .. } => 1,
        Told::Start { outcome, .. } if did_not_run(*outcome) => 1,
        _ => 0,
    }
}

/// A start fault: it did not end with the engine running. Not known is not counted.
pub fn did_not_run(outcome: Outcome) -> bool {
    !matches!(outcome, Outcome::Running | Outcome::NotKnown)
}

/// Whether a fact leaves the device closed; `None` where it says nothing about that.
pub fn leaves_closed(fact: &Fact) -> Option<bool> {
    match &fact.told {
        Told::Trip { left, .. } => match left {
            Left::On => Some(true),
            Left::Off | Left::Tripped | Left::CutOut => Some(false),
            Left::NotKnown => None,
        },
        Told::Position(p) => p.moved_to.and_then(seen_closed).or_else(|| seen_closed(p.seen)),
        Told::Fuse { result, replaced_by, .. } => match result {
            FuseResult::Good | FuseResult::WrongOne | FuseResult::Bridged => Some(true),
            FuseResult::Blown | FuseResult::Missing => Some(replaced_by.is_some()),
            FuseResult::NotKnown => None,
        },
        Told::Ground { reset, .. } => match reset {
            Some(GroundReset::Itself | GroundReset::ByHand) => Some(true),
            Some(GroundReset::NotReset | GroundReset::LockedOut) => Some(false),
            _ => None,
        },
        // A shop that left the device open would have written so in a position entry.
        Told::RepairClosed { .. } => Some(true),
        _ => None,
    }
}

pub fn seen_closed(seen: Seen) -> Option<bool> {
    match seen {
        Seen::On | Seen::Closed => Some(true),
        Seen::Off | Seen::Open | Seen::Tripped => Some(false),
        Seen::NotLooked | Seen::NotKnown => None,
    }
}

/// The occurrences in a device's dossier, oldest first. A trip or blown fuse that was found so on taking over
/// counts only if the device was last known closed: else it is the one before, seen again.
pub fn occurrences(facts: &[Outline]) -> Vec<Occurrence> {
    // (when, how many, which fact)
    let mut told: Vec<(Instant, u32, usize)> = Vec::with_capacity(facts.len());
    let mut closed = None;
    for (place, fact) in facts.iter().enumerate().filter(|(_, fact)| fact.stands) {
        let seen_again = fact.found && closed != Some(true);
        if fact.operated() && !seen_again {
            told.push((fact.at, fact.operations, place));
            told.extend(fact.again.iter().map(|at| (*at, 1, place)));
        }
        closed = fact.leaves_closed.or(closed);
    }
    if !told.is_sorted_by_key(|t| (t.0, t.2)) {
        told.sort_by_key(|t| (t.0, t.2));
    }
    grouped(&told)
}

fn grouped(told: &[(Instant, u32, usize)]) -> Vec<Occurrence> {
    let mut out: Vec<Occurrence> = Vec::with_capacity(told.len());
    for &(at, operations, place) in told {
        match out.last_mut() {
            Some(open) if at.since(open.at) <= TOGETHER => {
                open.operations = open.operations.saturating_add(operations);
                open.first = open.first.min(place);
                open.last = open.last.max(place);
            }
            _ => out.push(Occurrence { at, operations, first: place, last: place }),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{at, position, reset, start, trip, trip_with};

    fn times(facts: Vec<Fact>) -> Vec<(String, u32)> {
        let facts = crate::rules::Dossier::of(facts);
        occurrences(&crate::rules::outline::outlines(facts.facts()))
            .iter()
            .map(|o| (o.at.to_z()[..16].to_owned(), o.operations))
            .collect()
    }

    #[test]
    fn operations_within_an_hour_of_the_first_are_one() {
        let facts = vec![
            trip("2026-03-01T10:00:00Z", "TC2", Left::On),
            trip("2026-03-01T10:59:00Z", "TC2", Left::On),
            // Within an hour of the second, not of the first.
            trip("2026-03-01T11:01:00Z", "TC2", Left::On),
        ];
        assert_eq!(times(facts), [("2026-03-01T10:00".into(), 2), ("2026-03-01T11:01".into(), 1)]);
    }

    #[test]
    fn a_reset_that_trips_again_hours_later_is_another() {
        let resets = vec![
            reset("2026-03-01T10:03:00Z", "tripped_again"),
            reset("2026-03-01T13:00:00Z", "tripped_again"),
        ];
        let facts = vec![trip_with("2026-03-01T10:00:00Z", "TC2", resets, Left::Off)];
        assert_eq!(times(facts), [("2026-03-01T10:00".into(), 2), ("2026-03-01T13:00".into(), 1)]);
    }

    #[test]
    fn a_found_trip_counts_only_if_last_known_closed() {
        let found = |when: &str| Fact { found: true, ..trip(when, "TC2", Left::Tripped) };
        assert_eq!(times(vec![found("2026-03-01T10:00:00Z")]), [], "nobody knows it was closed");
        let left_tripped = trip("2026-03-01T02:00:00Z", "TC2", Left::Tripped);
        assert_eq!(times(vec![left_tripped.clone(), found("2026-03-01T10:00:00Z")]).len(), 1);
        let on = position("2026-03-01T05:00:00Z", "TC2", "tripped", Some("on"));
        assert_eq!(times(vec![left_tripped, on, found("2026-03-01T10:00:00Z")]).len(), 2);
    }

    #[test]
    fn starts_that_ran_and_withdrawn_facts_do_not_count() {
        let ran = start("2026-03-01T10:00:00Z", "running", None);
        let mut withdrawn = trip("2026-03-01T10:00:00Z", "TC2", Left::On);
        withdrawn.withdrawn = Some(crate::rules::fact::Withdrawn {
            seq: 900,
            by: "x".into(),
            at: at("2026-03-02T00:00:00Z"),
            reason: "typo".into(),
        });
        assert_eq!(times(vec![ran, withdrawn]), []);
    }
}
