//! What is known of every device: how it stands, since when, by whose report. For the drawn panel and answers.
use super::{
    fact::{Fact, Hand, PositionFact, Told},
    occurrence::seen_closed,
};
use crate::{
    base::{EntryId, Instant, SignIn, words::words},
    reports::vocabulary::{FuseResult, GroundReset, Left, Seen},
};

words! {
    /// How a device stands, as last written.
    pub enum Standing { On = "on", Off = "off", Tripped = "tripped", CutOut = "cut_out", Blown = "blown", Missing = "missing", NotKnown = "not_known", }
}

impl Standing {
    /// It carries no current.
    pub fn is_open(self) -> bool {
        matches!(self, Self::Off | Self::Tripped | Self::CutOut | Self::Blown | Self::Missing)
    }
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceState {
    pub standing: Standing,
    /// When it was first told to stand so, without being told otherwise since.
    pub since: Instant,
    /// When it was last told to stand so, by whose report, in which entry.
    pub seen_at: Instant,
    pub told_by: SignIn,
    pub entry: EntryId,
    /// Somebody found it on although it was last told to be off: closed by, not known.
    pub closed_unrecorded: bool,
    pub why: Option<String>,
}

impl DeviceState {
    /// It carries its current, whatever else is wrong with it.
    pub fn carries(&self) -> bool {
        self.standing == Standing::On
    }
}

/// One thing told about a device's standing.
#[derive(Clone, Copy, Debug)]
struct Change<'a> {
    at: Instant,
    standing: Standing,
    /// Seen, not moved: what moved it is not told.
    seen_only: bool,
    fact: &'a Fact,
}

/// As now known; `None` when nothing was ever written about how it stands.
pub fn state_of(facts: &[Fact]) -> Option<DeviceState> {
    state_at(facts, Instant::MAX)
}

/// As it stood at a moment, by everything known now.
pub fn state_at(facts: &[Fact], then: Instant) -> Option<DeviceState> {
    let mut changes: Vec<Change<'_>> = Vec::new();
    for fact in facts.iter().filter(|f| f.withdrawn.is_none()) {
        push_changes(fact, &mut changes);
    }
    // Stable: what one entry tells of one moment keeps its order.
    changes.sort_by_key(|c| c.at);
    changes.iter().filter(|c| c.at <= then).fold(None, |state, change| Some(after(state, change)))
}

fn after(state: Option<DeviceState>, change: &Change<'_>) -> DeviceState {
    let was = state.as_ref().map(|s| s.standing);
    let same = was == Some(change.standing);
    let opened_then_seen_on =
        change.seen_only && change.standing == Standing::On && was.is_some_and(Standing::is_open);
    let (since, unrecorded, earlier_why) = match state {
        Some(state) if same => (state.since, state.closed_unrecorded, state.why),
        _ => (change.at, opened_then_seen_on, None),
    };
    let why = match &change.fact.told {
        Told::Position(p) => p.why.clone().or_else(|| p.reference.clone()),
        _ => None,
    };
    DeviceState {
        standing: change.standing,
        since,
        seen_at: change.at,
        told_by: change.fact.author.clone(),
        entry: change.fact.entry,
        closed_unrecorded: unrecorded,
        why: why.or(earlier_why),
    }
}

fn push_changes<'a>(fact: &'a Fact, out: &mut Vec<Change<'a>>) {
    let mut push = |at, standing, seen_only| out.push(Change { at, standing, seen_only, fact });
    match &fact.told {
        Told::Trip { left, .. } => push(fact.at, after_trip(*left), false),
        Told::Position(p) => {
            let moved = p.moved_to.and_then(standing_of);
            if let Some(seen) = standing_of(p.seen) {
                push(fact.at, seen, true);
            }
            if let Some(moved) = moved {
                push(fact.at, moved, false);
            }
        }
        Told::Fuse { result, replaced_by, .. } => {
            if let Some(standing) = after_fuse(*result, replaced_by.is_some()) {
                push(fact.at, standing, replaced_by.is_none());
            }
        }
        Told::Ground { reset, .. } => match reset {
            Some(GroundReset::Itself | GroundReset::ByHand) => push(fact.at, Standing::On, false),
            Some(GroundReset::NotReset | GroundReset::LockedOut) => push(fact.at, Standing::Tripped, false),
            _ => {}
        },
        Told::Bypass(b) => {
            push(fact.at, Standing::Off, fact.found);
            if let Some(closed) = b.end(fact.at) {
                push(closed, Standing::On, false);
            }
        }
        // The shop is done with it, and did not write how it left it.
        Told::RepairClosed { .. } => push(fact.at, Standing::NotKnown, true),
        _ => {}
    }
}

/// How one entry says that the device was left, by everything in it; `None` where it says nothing of that.
pub fn left_by(fact: &Fact) -> Option<Standing> {
    let mut changes = Vec::new();
    push_changes(fact, &mut changes);
    changes.last().map(|change| change.standing)
}

fn after_trip(left: Left) -> Standing {
    match left {
        Left::On => Standing::On,
        Left::Off => Standing::Off,
        Left::Tripped => Standing::Tripped,
        Left::CutOut => Standing::CutOut,
        Left::NotKnown => Standing::NotKnown,
    }
}

fn after_fuse(result: FuseResult, replaced: bool) -> Option<Standing> {
    match result {
        _ if replaced => Some(Standing::On),
        FuseResult::Good | FuseResult::WrongOne | FuseResult::Bridged => Some(Standing::On),
        FuseResult::Blown => Some(Standing::Blown),
        FuseResult::Missing => Some(Standing::Missing),
        FuseResult::NotKnown => None,
    }
}

fn standing_of(seen: Seen) -> Option<Standing> {
    match seen {
        Seen::On | Seen::Closed => Some(Standing::On),
        Seen::Off | Seen::Open => Some(Standing::Off),
        Seen::Tripped => Some(Standing::Tripped),
        Seen::NotLooked | Seen::NotKnown => None,
    }
}

impl PositionFact {
    /// Moved open by a hand, in this entry.
    pub fn opened(&self) -> bool {
        self.moved_to.and_then(seen_closed) == Some(false)
    }

    /// Moved closed by a hand, in this entry.
    pub fn closed(&self) -> bool {
        self.moved_to.and_then(seen_closed) == Some(true)
    }

    /// Somebody gave a reason for how it stands.
    pub fn has_reason(&self) -> bool {
        self.why.is_some() || self.reference.is_some()
    }
}

impl Hand {
    pub fn in_words(&self) -> &str {
        match self {
            Self::Person(sign_in) => sign_in.as_str(),
            Self::Named(name) => name,
            Self::NotKnown => "not known",
        }
    }

    pub fn person(&self) -> Option<&SignIn> {
        match self {
            Self::Person(sign_in) => Some(sign_in),
            _ => None,
        }
    }

    pub fn is_known(&self) -> bool {
        *self != Self::NotKnown
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{at, bypass, position, repair, trip};

    fn told(facts: &[Fact]) -> (Standing, String, bool) {
        let state = state_of(facts).unwrap();
        (state.standing, state.since.to_z()[11..16].to_owned(), state.closed_unrecorded)
    }

    #[test]
    fn the_last_word_stands_and_since_is_the_first_that_said_so() {
        let left = trip("2026-03-01T10:00:00Z", "TC2", Left::Tripped);
        let seen = position("2026-03-01T12:00:00Z", "TC2", "tripped", None);
        let looked_past = position("2026-03-01T13:00:00Z", "TC2", "not_looked", None);
        let on = position("2026-03-01T14:00:00Z", "TC2", "tripped", Some("on"));
        let facts = [left, seen, looked_past, on];
        assert_eq!(told(&facts[..3]), (Standing::Tripped, "10:00".into(), false));
        assert_eq!(told(&facts), (Standing::On, "14:00".into(), false));
        assert_eq!(state_at(&facts, at("2026-03-01T13:59:00Z")).unwrap().standing, Standing::Tripped);
        assert_eq!(state_at(&facts, at("2026-03-01T09:00:00Z")), None);
    }

    #[test]
    fn seen_on_ends_an_older_off_closed_by_not_known() {
        let off = trip("2026-03-01T10:00:00Z", "TC2", Left::Off);
        let on = position("2026-03-02T10:30:00Z", "TC2", "on", None);
        assert_eq!(told(&[off, on]), (Standing::On, "10:30".into(), true));
    }

    #[test]
    fn a_cutout_stands_open_until_its_entry_says_closed() {
        let facts =
            [bypass("2026-03-01T10:00:00Z", "GRC", |b| b.closed_at = Some(at("2026-03-01T11:00:00Z")))];
        assert_eq!(state_at(&facts, at("2026-03-01T10:30:00Z")).unwrap().standing, Standing::Off);
        assert_eq!(told(&facts), (Standing::On, "11:00".into(), false));
        let off = trip("2026-03-01T10:00:00Z", "TC2", Left::Off);
        assert_eq!(told(&[off, repair("2026-03-01T15:00:00Z")]).0, Standing::NotKnown);
    }
}
