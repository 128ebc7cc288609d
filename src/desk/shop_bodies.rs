//! What the shop's pages say beyond opening and closing a repair.
use serde::{Deserialize, Serialize};

use crate::base::{Instant, instant::as_text, words::words};

words! {
    /// Into what a unit is released. `dead_for_repair` keeps it held: it may be moved dead, and goes under no power.
    pub enum ReleaseHow { IntoService = "into_service", Restricted = "restricted", DeadForRepair = "dead_for_repair", }
}

/// What somebody did on a repair, in their words and under their own password.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairWorked {
    pub id: uuid::Uuid,
    /// Its own, so that a form that arrives twice is one step.
    pub step: uuid::Uuid,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub words: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<String>,
}

/// A later correction of what the closing of a repair said; what it said before stays readable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairAmended {
    pub id: uuid::Uuid,
    pub amendment: uuid::Uuid,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub reason: String,
    pub cause: String,
    pub words: Option<String>,
    pub parts: Option<String>,
    /// Of the device that the repair is of; one whose part came from another unit stays replaced.
    pub new_life: bool,
}

/// A cause goes on the list that the shop chooses from, or comes off it. Repairs that found it keep it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CauseListed {
    pub cause: String,
    pub listed: bool,
}
