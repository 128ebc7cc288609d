//! Values as they were typed, read against those in force.
use std::collections::BTreeMap;

use crate::{
    desk::body::Change,
    rules::{Thresholds, thresholds::SETTINGS},
};

/// What somebody would like to have.
pub(super) struct Asking {
    /// As typed, by setting.
    pub typed: BTreeMap<&'static str, String>,
    /// Values that fit and are not those in force.
    pub changes: Vec<Change>,
    /// The sentence beside a setting whose value does not fit.
    pub problems: BTreeMap<&'static str, String>,
}

impl Asking {
    /// A setting that does not stand in the form keeps its value.
    pub fn read<'a>(in_force: &Thresholds, value: impl Fn(&str) -> Option<&'a str>) -> Self {
        let mut asking = Self { typed: BTreeMap::new(), changes: Vec::new(), problems: BTreeMap::new() };
        for setting in SETTINGS {
            let Some(typed) = value(setting.name) else { continue };
            asking.typed.insert(setting.name, typed.to_owned());
            let old = in_force.get(setting.name).unwrap_or(setting.default);
            // What is no number fits no bounds.
            let new = typed.trim().parse().unwrap_or(f64::NAN);
            match setting.check(new) {
                Err(says) => drop(asking.problems.insert(setting.name, says)),
                Ok(()) if new.to_bits() == old.to_bits() => {}
                Ok(()) => {
                    asking.changes.push(Change { setting: setting.name.to_owned(), old, new });
                }
            }
        }
        asking
    }

    /// The changes, each with the old value that stood beside it when it was signed.
    pub fn as_shown<'a>(&self, value: impl Fn(&str) -> Option<&'a str>) -> Vec<Change> {
        let shown = |change: &Change| {
            let old = value(&format!("old.{}", change.setting)).and_then(|old| old.trim().parse().ok());
            Change { old: old.unwrap_or(f64::NAN), ..change.clone() }
        };
        self.changes.iter().map(shown).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_is_told_beside_its_field_and_kept() {
        for typed in ["", " ", "seven", "NaN", "inf", "-inf", "1e400", "-1", "7,5", "1e9"] {
            let asking =
                Asking::read(&Thresholds::default(), |name| (name == "burst_ratio").then_some(typed));
            assert_eq!(asking.typed["burst_ratio"], typed);
            assert!(asking.problems["burst_ratio"].contains("from 2 to 50"), "{typed:?}");
            assert!(asking.changes.is_empty(), "{typed:?}");
        }
    }

    #[test]
    fn only_what_differs_is_a_change() {
        let values = BTreeMap::from([("burst_ratio", " 6 "), ("quiet_days", "90.0"), ("no_such", "1")]);
        let asking = Asking::read(&Thresholds::default(), |name| values.get(name).copied());
        let change = Change { setting: "burst_ratio".into(), old: 4.5, new: 6.0 };
        assert_eq!((asking.changes, asking.problems.len()), (vec![change], 0));
    }
}
