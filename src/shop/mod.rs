//! The shop's own records: repairs, and what they found.
pub mod inspections;
pub mod measurements;
pub mod records;
pub mod store;
pub mod tag;

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

use crate::base::{ClassName, Instant, SignIn, Tag, UnitName};

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

/// What repairs found, for each device of each class: cause, in small letters, and how many repairs found it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Causes(pub BTreeMap<(ClassName, Tag), BTreeMap<String, u32>>);

impl Causes {
    /// `jumper 6 of 9, chafed wire 2`: what repairs of this device found in this class, the most frequent first.
    /// `None` until two repairs found something; 'no fault found' and 'not known' count among the repairs only.
    pub fn in_words(&self, class: &ClassName, device: &Tag) -> Option<String> {
        let of = self.0.get(&(class.clone(), device.clone()))?;
        let all: u32 = of.values().sum();
        let mut found: Vec<(&str, u32)> =
            of.iter().map(|(cause, n)| (cause.as_str(), *n)).filter(|(cause, _)| is_cause(cause)).collect();
        found.sort_by_key(|(cause, n)| (std::cmp::Reverse(*n), *cause));
        if found.iter().map(|(_, n)| n).sum::<u32>() < 2 {
            return None;
        }
        let first = found.first().map(|(cause, n)| format!("{cause} {n} of {all}"));
        let more = found.iter().skip(1).take(2).map(|(cause, n)| format!("{cause} {n}"));
        Some(first.into_iter().chain(more).collect::<Vec<_>>().join(", "))
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
        assert_eq!(told(&known).as_deref(), Some("jumper 6 of 9, chafed wire 2"));
        assert_eq!(told(&[("jumper", 1), ("no fault found", 8)]), None);
        assert_eq!(told(&[("no fault found", 3), ("not known", 2)]), None);
        assert_eq!(Causes::default().in_words(&"QA6".into(), &"TC2".into()), None);
    }
}
