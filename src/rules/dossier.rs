//! Everything the rules need to know about one subject, in one row: a device on a unit, a unit's ground
//! protection, the unit itself, or what operated together on it. The same set of facts gives the same dossier in whatever order they came.
use serde::{Deserialize, Serialize};

use super::fact::Fact;
use crate::base::{EntryId, Instant, Tag, UnitName, instant::DAY};

/// Whose history: the unit, and what of it.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct DossierKey {
    pub unit: UnitName,
    pub subject: Subject,
}

#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub enum Subject {
    /// A device by tag, or [`Tag::GROUND_RELAY`], or [`Tag::ENGINE_START`].
    Device(Tag),
    /// Cutouts, what is known of their position and seals, and the ground relay's operations.
    GroundProtection,
    /// Defects, shutdowns, starts, devices that must stay on.
    Unit,
    /// What operated when, on this unit and on those coupled to it: see [`super::together`].
    Together,
}

/// As it stands in the file's column `subject`.
impl std::fmt::Display for Subject {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Device(tag) => write!(f, "device:{tag}"),
            Self::GroundProtection => f.write_str("ground_protection"),
            Self::Unit => f.write_str("unit"),
            Self::Together => f.write_str("together"),
        }
    }
}

impl Subject {
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "ground_protection" => Some(Self::GroundProtection),
            "unit" => Some(Self::Unit),
            "together" => Some(Self::Together),
            device => device.strip_prefix("device:").map(|tag| Self::Device(Tag::from(tag))),
        }
    }
}

const FORTNIGHT: i64 = 14 * DAY;

/// The number of the fortnight in which something happened. Dossiers are kept in such parts, so that a report does
/// not have a whole year of a device written again.
pub fn fortnight(at: Instant) -> i64 {
    at.0.div_euclid(FORTNIGHT)
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Dossier {
    /// Sorted by (at, entry, seq), so that arrival order leaves no trace.
    facts: Vec<Fact>,
}

impl Dossier {
    pub fn of(mut facts: Vec<Fact>) -> Self {
        facts.sort_by_key(|f| (f.at, f.entry, f.seq));
        Self { facts }
    }

    pub fn facts(&self) -> &[Fact] {
        &self.facts
    }

    /// Facts that are later than all of these.
    pub fn append(&mut self, later: Self) {
        self.facts.extend(later.facts);
    }

    /// Those that happened between two moments, both included.
    pub fn between(&self, from: Instant, to: Instant) -> &[Fact] {
        let (from, to) =
            (self.facts.partition_point(|f| f.at < from), self.facts.partition_point(|f| f.at <= to));
        self.facts.get(from..to).unwrap_or(&[])
    }

    /// Those of one fortnight, see [`fortnight`].
    pub fn of_fortnight(&self, number: i64) -> &[Fact] {
        let first = Instant(number.saturating_mul(FORTNIGHT));
        self.between(first, first.plus(FORTNIGHT - 1))
    }

    pub fn add(&mut self, fact: Fact) {
        let key = (fact.at, fact.entry, fact.seq);
        let place = self.facts.partition_point(|f| (f.at, f.entry, f.seq) < key);
        self.facts.insert(place, fact);
    }

    /// Takes out every version of an entry and hands them back.
    pub fn take(&mut self, entry: EntryId) -> Vec<Fact> {
        let (out, kept) = std::mem::take(&mut self.facts).into_iter().partition(|f| f.entry == entry);
        self.facts = kept;
        out
    }

    /// Only what had happened by then, as known now.
    pub fn up_to(&self, then: Instant) -> Self {
        Self { facts: self.facts.iter().filter(|f| f.at <= then).cloned().collect() }
    }

    pub fn is_empty(&self) -> bool {
        self.facts.is_empty()
    }
}
