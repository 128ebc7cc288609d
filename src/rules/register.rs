//! One opening of one ground-relay cutout: the maximal open interval, told by however many people.
use serde::{Deserialize, Serialize};

use super::fact::Hand;
use crate::base::{ClassName, EntryId, Instant, SignIn, Tag, UnitName, words::words};

words! {
    /// Whether the one who opened it was authorised then, for that class.
    pub enum Authorised { OwnRight = "own_right", Ordered = "ordered", Neither = "neither", NotKnown = "not_known", }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bypass {
    /// The entry that tells its beginning: the least by (at, id).
    pub id: EntryId,
    pub unit: UnitName,
    pub class: Option<ClassName>,
    pub device: Tag,
    pub opened_at: Option<Instant>,
    pub found_open_at: Option<Instant>,
    pub opened_by: Hand,
    pub found_by: Option<SignIn>,
    pub authorised: Authorised,
    /// In words: `authorised 1 Feb to 31 Jul 2026 by m.ruiz`, `authorisation ended 31 Jan 2026`, ...
    pub authorised_why: String,
    pub authorised_by: Option<Hand>,
    pub reference: Option<String>,
    pub purpose: Option<String>,
    pub seal_found: Option<String>,
    pub seal_applied: Option<String>,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<Hand>,
    /// Last known closed before a found-open: when, by whose report.
    pub last_closed_at: Option<Instant>,
    pub last_closed_by: Option<SignIn>,
    /// Sign-in names of all who opened, closed or authorised: none of them may review it.
    pub hands: Vec<SignIn>,
    /// The highest page it rests on: a review with a lower one is from before a change.
    pub last_seq: u64,
    /// Set when every entry that told of it was amended away.
    pub withdrawn: bool,
    pub entries: Vec<EntryId>,
}

impl Bypass {
    pub fn begins(&self) -> Instant {
        self.opened_at.or(self.found_open_at).unwrap_or(Instant::MAX)
    }
}
