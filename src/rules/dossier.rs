//! Everything the rules need to know about one subject, in one row: a device on a unit, a unit's ground
//! protection, the unit itself, or what operated together on it. The same set of facts gives the same dossier in whatever order they came.
use serde::{Deserialize, Serialize};

use super::fact::Fact;
use crate::base::{EntryId, Instant, Tag, UnitName};

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

/// Where a fact stands in its dossier.
pub type Place = (Instant, EntryId, u64);

impl Fact {
    pub fn place(&self) -> Place {
        (self.at, self.entry, self.seq)
    }
}

/// One entry in so many ends a part.
const PER_PART_BITS: u32 = 4;

/// Whether a part of a dossier ends with this entry. Dossiers are kept in parts, so that a report does not have years of
/// a device read and written again; and where one ends is a matter of the entry alone, so that the same facts lie
/// in the same parts in whatever order they came. Never with an act of the shop, whose number tells when it came.
pub fn ends_part(entry: EntryId) -> bool {
    ends(entry, PER_PART_BITS)
}

/// The same for parts of 2 to the power of `bits` facts.
pub fn ends(entry: EntryId, bits: u32) -> bool {
    let (high, low) = entry.0.as_u64_pair();
    // The multiplier of Fibonacci hashing (Knuth, The Art of Computer Programming 3, 6.4): ids may be counted numbers.
    high != 0 && (high ^ low).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> (64 - bits) == 0
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Dossier {
    /// Sorted by (at, entry, seq), so that arrival order leaves no trace.
    facts: Vec<Fact>,
}

impl Dossier {
    pub fn of(mut facts: Vec<Fact>) -> Self {
        facts.sort_by_key(Fact::place);
        Self { facts }
    }

    pub fn facts(&self) -> &[Fact] {
        &self.facts
    }

    /// Facts that are later than all of these.
    pub fn append(&mut self, later: Self) {
        self.facts.extend(later.facts);
    }

    /// Parts of before these facts, of which a late one may still belong among them.
    pub fn put_before(&mut self, earlier: impl IntoIterator<Item = Vec<Fact>>) {
        let earlier: Vec<Vec<Fact>> = earlier.into_iter().collect();
        let count = earlier.iter().map(Vec::len).sum::<usize>() + self.facts.len();
        let later = std::mem::replace(&mut self.facts, Vec::with_capacity(count + 1));
        earlier.into_iter().for_each(|part| self.facts.extend(part));
        let sorted = self.facts.last().map(Fact::place) <= later.first().map(Fact::place);
        self.facts.extend(later);
        if !sorted {
            self.facts.sort_by_key(Fact::place);
        }
    }

    /// Those that happened between two moments, both included.
    pub fn between(&self, from: Instant, to: Instant) -> &[Fact] {
        let (from, to) =
            (self.facts.partition_point(|f| f.at < from), self.facts.partition_point(|f| f.at <= to));
        self.facts.get(from..to).unwrap_or(&[])
    }

    /// The parts in which it is kept, see [`ends_part`]; the last may be one that has not ended.
    pub fn parts(&self) -> impl DoubleEndedIterator<Item = &[Fact]> {
        self.facts.split_inclusive(|fact| ends_part(fact.entry))
    }

    /// How many facts stand before a place.
    pub fn before(&self, place: Place) -> usize {
        self.facts.partition_point(|fact| fact.place() < place)
    }

    pub fn add(&mut self, fact: Fact) {
        self.facts.insert(self.before(fact.place()), fact);
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
