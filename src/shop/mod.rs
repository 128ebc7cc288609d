//! The shop's own records: repairs, and what they found.
pub mod against;
pub mod inspections;
pub mod measurements;
pub mod records;
pub mod store;
pub mod tag;

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

use crate::base::{ClassName, EntryId, Instant, SignIn, Tag, UnitName};

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
    /// What else of the unit it is of; `None` in the list is the unit itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<Option<Tag>>,
    /// Those of them that were replaced.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also_new: Vec<Tag>,
    /// The entries it is to answer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub entries: Vec<EntryId>,
    /// What it was opened for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
    /// What its closing said before it was corrected, the first version first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub before: Vec<Before>,
    /// The page that closed it, by whose number the rules know it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_seq: Option<u64>,
    /// The last page that told of it.
    #[serde(default)]
    pub last_seq: u64,
}

/// Work done on a repair, under the password of whoever did it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    pub id: uuid::Uuid,
    pub by: SignIn,
    pub at: Instant,
    pub words: String,
    pub parts: Option<String>,
}

/// A version of a closing that was corrected later, and who corrected it, when and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Before {
    pub amendment: uuid::Uuid,
    pub by: SignIn,
    pub at: Instant,
    pub reason: String,
    pub cause: Option<String>,
    pub words: Option<String>,
    pub parts: Option<String>,
    pub new_life: bool,
}

impl Repair {
    /// Everything it is of: a device, or the unit itself.
    pub fn subjects(&self) -> impl Iterator<Item = &Option<Tag>> {
        std::iter::once(&self.device).chain(&self.also)
    }

    /// Whether a repair of what this one is of would answer the same.
    pub fn is_of(&self, device: Option<&Tag>) -> bool {
        self.subjects().any(|of| of.as_ref() == device)
    }

    /// Found in shop: nobody had written of it.
    pub fn found_in_shop(&self) -> bool {
        self.findings.is_empty() && self.entries.is_empty()
    }

    /// Whether the part in there is another than before.
    pub fn replaced(&self, device: &Tag) -> bool {
        if self.device.as_ref() == Some(device) { self.new_life } else { self.also_new.contains(device) }
    }
}

/// What can always be chosen as a cause.
pub const NO_FAULT_FOUND: &str = "no fault found";
pub const NOT_KNOWN: &str = "not known";

/// What the shop writes for a cause it did not find.
pub fn is_no_fault_found(cause: &str) -> bool {
    cause.trim().eq_ignore_ascii_case(NO_FAULT_FOUND)
}

/// One cause, however it was typed.
pub fn cause_key(cause: &str) -> String {
    cause.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// What repairs found, for each device of each class: cause, in small letters, and how many repairs found it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Causes(pub BTreeMap<(ClassName, Tag), BTreeMap<String, u32>>);

impl Causes {
    /// What repairs of this device found in this class, and how many of them, the most frequent first.
    pub fn of(&self, class: &ClassName, device: &Tag) -> Vec<(&str, u32)> {
        let of = self.0.get(&(class.clone(), device.clone())).into_iter().flatten();
        let mut found: Vec<(&str, u32)> =
            of.map(|(cause, n)| (cause.as_str(), *n)).filter(|(cause, _)| is_cause(cause)).collect();
        found.sort_by_key(|(cause, n)| (std::cmp::Reverse(*n), *cause));
        found
    }

    /// `jumper (6 of 9); chafed wire (2)`: what repairs of this device found in this class, the most frequent first. A
    /// cause in the shop's words may have commas of its own.
    /// `None` until two repairs found something; 'no fault found' and 'not known' count among the repairs only.
    pub fn in_words(&self, class: &ClassName, device: &Tag) -> Option<String> {
        let of = self.0.get(&(class.clone(), device.clone()))?;
        let all: u32 = of.values().sum();
        let found = self.of(class, device);
        if found.iter().map(|(_, n)| n).sum::<u32>() < 2 {
            return None;
        }
        let first = found.first().map(|(cause, n)| format!("{cause} ({n} of {all})"));
        let more = found.iter().skip(1).take(2).map(|(cause, n)| format!("{cause} ({n})"));
        Some(first.into_iter().chain(more).collect::<Vec<_>>().join("; "))
    }
}

fn is_cause(cause: &str) -> bool {
    !matches!(cause, "" | "no fault found" | "not known" | "not_known")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_frequent_cause_comes_first_among_all_repairs() {
        let told = |causes: &[(&str, u32)]| {
            let of = causes.iter().map(|(cause, n)| ((*cause).to_owned(), *n)).collect();
            Causes([(("QA6".into(), "TC2".into()), of)].into()).in_words(&"QA6".into(), &"TC2".into())
        };
        let known = [("jumper", 6), ("chafed wire", 2), ("no fault found", 1)];
        assert_eq!(told(&known).as_deref(), Some("jumper (6 of 9); chafed wire (2)"));
        assert_eq!(told(&[("jumper", 1), ("no fault found", 8)]), None);
        assert_eq!(told(&[("no fault found", 3), ("not known", 2)]), None);
        assert_eq!(Causes::default().in_words(&"QA6".into(), &"TC2".into()), None);
    }
}
