//! One thing that happened, as somebody wrote it down.
use serde::{Serialize, Serializer};

pub use super::vocabulary::AtHow;
use super::{
    kinds::What,
    vocabulary::{Signs, Throttle, Weather},
};
use crate::base::{EntryId, Instant, SignIn, Stamp, Tag};

/// When it happened, or when somebody found it so on taking over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    At(Stamp),
    Found(Stamp),
}

impl When {
    pub fn stamp(self) -> Stamp {
        match self {
            Self::At(stamp) | Self::Found(stamp) => stamp,
        }
    }
    pub fn at(self) -> Instant {
        self.stamp().at
    }
    pub fn is_found(self) -> bool {
        matches!(self, Self::Found(_))
    }
}

/// Serialises to the contract's JSON, field order as in `domain.md`, nothing for what was not stated.
/// `reports::reading` reads it back; the two are held together by a round-trip property.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    pub id: EntryId,
    /// `at` / `found_at`; for a bypass `opened_at` / `found_open_at`.
    pub when: When,
    pub at_how: AtHow,
    pub place: Option<String>,
    pub throttle: Option<Throttle>,
    pub speed_mph: Option<f64>,
    pub load_a: Option<f64>,
    pub load_klbf: Option<f64>,
    pub weather: Option<Weather>,
    pub signs: Option<Signs>,
    pub what: What,
    pub note: Option<String>,
}

/// A person named in an entry.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Who {
    /// By sign-in name.
    Person(SignIn),
    /// Somebody without one, in the writer's words.
    Named(String),
    NotKnown,
}

impl Who {
    pub fn person(&self) -> Option<&SignIn> {
        match self {
            Self::Person(sign_in) => Some(sign_in),
            _ => None,
        }
    }
    /// As a reader sees it: the sign-in name, the words, or `not known`.
    pub fn in_words(&self) -> &str {
        match self {
            Self::Person(sign_in) => sign_in.as_str(),
            Self::Named(name) => name,
            Self::NotKnown => "not known",
        }
    }
}

/// A device named in an entry: on the schedule, or by the words on its plate.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum DeviceRef {
    Tag(Tag),
    NotListed(String),
}

impl DeviceRef {
    pub fn tag(&self) -> Option<&Tag> {
        match self {
            Self::Tag(tag) => Some(tag),
            Self::NotListed(_) => None,
        }
    }
    pub fn in_words(&self) -> &str {
        match self {
            Self::Tag(tag) => tag.as_str(),
            Self::NotListed(legend) => legend,
        }
    }
}

/// A seal: its number as text, or what was seen instead.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Seal {
    Number(String),
    Word(super::vocabulary::SealWord),
}

impl Seal {
    pub fn in_words(&self) -> &str {
        match self {
            Self::Number(number) => number,
            Self::Word(word) => word.as_str(),
        }
    }
}

impl Serialize for Seal {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.in_words())
    }
}

impl Serialize for Who {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Person(sign_in) => to.serialize_str(sign_in.as_str()),
            Self::Named(name) => one_field(to, "name", name),
            Self::NotKnown => to.serialize_str("not_known"),
        }
    }
}

impl Serialize for DeviceRef {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Tag(tag) => to.serialize_str(tag.as_str()),
            Self::NotListed(legend) => one_field(to, "not_listed", legend),
        }
    }
}

fn one_field<S: Serializer>(to: S, key: &'static str, value: &str) -> Result<S::Ok, S::Error> {
    use serde::ser::SerializeMap;
    let mut map = to.serialize_map(Some(1))?;
    map.serialize_entry(key, value)?;
    map.end()
}

impl Serialize for Entry {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeMap;
        let mut map = to.serialize_map(None)?;
        map.serialize_entry("id", &self.id)?;
        map.serialize_entry("kind", self.what.kind().as_str())?;
        let (at, found) = self.what.kind().time_fields();
        map.serialize_entry(if self.when.is_found() { found } else { at }, &self.when.stamp())?;
        map.serialize_entry("at_how", &self.at_how)?;
        macro_rules! stated {
            ($($field:ident)*) => {$(
                if let Some(value) = &self.$field { map.serialize_entry(stringify!($field), value)?; }
            )*};
        }
        stated!(place throttle speed_mph load_a load_klbf weather signs);
        self.what.serialize_into(&mut map)?;
        stated!(note);
        map.end()
    }
}
