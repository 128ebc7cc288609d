//! The shop's own records: repairs, and what they found.
use serde::{Deserialize, Serialize};

use crate::base::{Instant, SignIn, Tag, UnitName};

/// The shop's work on one or more findings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repair {
    pub id: uuid::Uuid,
    pub unit: UnitName,
    pub device: Option<Tag>,
    pub opened_at: Instant,
    pub opened_by: SignIn,
    /// Keys of the findings it is to answer; none: found in shop.
    pub findings: Vec<String>,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<SignIn>,
    /// In the shop's words; `no fault found` and `not known` are causes too.
    pub cause: Option<String>,
    pub words: Option<String>,
    /// The device itself was replaced.
    pub new_life: bool,
    /// By the same device of this unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<UnitName>,
}
