//! One opening of one ground-relay cutout: the maximal open interval, told by however many people.
use serde::{Deserialize, Serialize};

use super::fact::Hand;
use crate::base::{ClassName, EntryId, Instant, SignIn, Tag, UnitName, instant::HOUR, words::words};

words! {
    /// Whether the one who opened it was authorised then, for that class.
    pub enum Authorised { OwnRight = "own_right", Ordered = "ordered", Neither = "neither", NotKnown = "not_known", }
}

words! {
    /// How long the book waits before it asks about an opening, by what that was made for. Never a permission.
    pub enum Limit { AtOnce = "at_once", Hour = "hour", EightHours = "eight_hours", }
}

impl Limit {
    pub fn micros(self) -> i64 {
        match self {
            Self::AtOnce => 0,
            Self::Hour => HOUR,
            Self::EightHours => 8 * HOUR,
        }
    }
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
    pub last_closed_entry: Option<EntryId>,
    /// The last moment at which it was told to stand open.
    pub last_open_at: Instant,
    /// `closed_at` is when somebody saw it closed: it was closed after `last_open_at`, and not after that.
    pub seen_closed: bool,
    /// How long the book waits before it asks, by purpose; and when it asked, or would have, for whatever reason came first.
    pub limit: Limit,
    pub asks_at: Instant,
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
    /// Open for longer than the book waits before it asks.
    pub fn past_limit(&self, then: Instant) -> bool {
        self.asks_at < self.closed_at.map_or(then, |closed| closed.min(then))
    }
}
