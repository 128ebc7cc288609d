//! What the pages say by which a right is proposed, and people and the fleet are kept by hand.
use serde::{Deserialize, Serialize};

use crate::{
    base::{ClassName, SignIn, zone::Day},
    roster::{Schedule, UnitCard},
};

/// One supervisor proposes a right; it is none until another confirms it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GrantProposed {
    pub id: uuid::Uuid,
    pub sign_in: SignIn,
    /// Empty: all classes.
    pub classes: Vec<ClassName>,
    pub from: Day,
    pub to: Option<Day>,
    pub basis: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProposalWithdrawn {
    pub id: uuid::Uuid,
    pub reason: String,
}

/// A unit's whole card as it is from here on, and why: added, changed, retired or back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UnitKept {
    pub unit: UnitCard,
    pub reason: String,
}

/// A class's schedule, whole, and why it changes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScheduleKept {
    pub schedule: Schedule,
    pub reason: String,
}
