//! A right that one supervisor proposed and another has to confirm: nobody grants one alone (ASVS 5.0 2.3.5).
use serde::{Deserialize, Serialize};

use super::authorisation::Scope;
use crate::base::{
    Instant, SignIn,
    instant::{DAY, as_text},
    zone::Day,
};

/// A proposal that nobody confirmed lapses after this.
pub const LAPSES_AFTER: i64 = 14 * DAY;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proposal {
    pub id: uuid::Uuid,
    /// The page that proposed it.
    pub seq: u64,
    pub person: SignIn,
    pub scope: Scope,
    pub from: Day,
    pub to: Option<Day>,
    pub basis: String,
    pub by: SignIn,
    #[serde(with = "as_text")]
    pub at: Instant,
    /// What became of it; nothing is written when it lapses.
    pub end: Option<End>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct End {
    pub by: SignIn,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub how: How,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// The page of the grant.
    Confirmed(u64),
    /// The reason.
    Withdrawn(String),
}

impl Proposal {
    pub fn lapses_at(&self) -> Instant {
        self.at.plus(LAPSES_AFTER)
    }

    /// Still to be confirmed.
    pub fn waits(&self, now: Instant) -> bool {
        self.end.is_none() && now < self.lapses_at()
    }
}
