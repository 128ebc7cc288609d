//! A device's facts with nothing left but what statistics ask for: a fifth of the bytes, so that new class figures
//! can be held against every device of a fleet without reading what its crews wrote.
use serde::{Deserialize, Serialize};

use super::{
    fact::{Fact, Told},
    occurrence::{leaves_closed, operations},
};
use crate::{
    base::{EntryId, Instant, UnitName},
    reports::vocabulary::ResetResult,
};

/// One fact of a device's dossier, in the dossier's order.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    pub entry: EntryId,
    pub seq: u64,
    pub at: Instant,
    /// No amendment replaced it.
    pub stands: bool,
    /// A state found on taking over, which may have been told of before.
    pub found: bool,
    /// Whether it leaves the device closed; `None` where it says nothing about that.
    pub leaves_closed: Option<bool>,
    /// Operations at its own time; 0 where it tells of none.
    pub operations: u32,
    /// Those told with a time of their own, each later than the first.
    pub again: Box<[Instant]>,
    pub repaired: Option<Box<Mending>>,
}

/// A repair of the device was closed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mending {
    /// The device itself was replaced.
    pub new_life: bool,
    pub no_fault_found: bool,
    /// The part that was put in came from this unit's same device.
    pub from: Option<UnitName>,
}

impl Outline {
    pub fn of(fact: &Fact) -> Self {
        let again = again(fact);
        let apart = u32::try_from(again.len()).unwrap_or(u32::MAX);
        let repaired = match &fact.told {
            Told::RepairClosed { new_life, no_fault_found, from } => {
                let (new_life, no_fault_found, from) = (*new_life, *no_fault_found, from.clone());
                Some(Box::new(Mending { new_life, no_fault_found, from }))
            }
            _ => None,
        };
        Self {
            entry: fact.entry,
            seq: fact.seq,
            at: fact.at,
            stands: fact.withdrawn.is_none(),
            found: fact.found && !matches!(fact.told, Told::Start { .. }),
            leaves_closed: leaves_closed(fact),
            operations: operations(fact).saturating_sub(apart),
            again,
            repaired,
        }
    }

    /// Whether it tells of any operation.
    pub fn operated(&self) -> bool {
        self.operations > 0
    }
}

pub fn outlines(facts: &[Fact]) -> Vec<Outline> {
    facts.iter().map(Outline::of).collect()
}

/// An operation again after a reset is told with a time of its own, which may be hours after the first.
fn again(fact: &Fact) -> Box<[Instant]> {
    match &fact.told {
        Told::Trip { resets, .. } => {
            let tripped = resets.iter().filter(|r| r.result == Some(ResetResult::TrippedAgain));
            tripped.filter_map(|r| r.at).filter(|at| *at > fact.at).collect()
        }
        Told::Ground { last_at: Some(at), operations, .. } if *operations > 1 && *at > fact.at => {
            [*at].into()
        }
        _ => Box::default(),
    }
}
