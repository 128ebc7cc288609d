//! A unit as people type it into a filter: `412`, `0412`, `qhb-412`, as the Units page takes it.
use crate::{base::UnitName, desk::World};

/// What was typed, read: the unit, and what is to be said beside the field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NamedUnit {
    pub unit: Option<UnitName>,
    pub says: Option<String>,
}

const HOW: &str = "Give mark and road number, as in QHB 412, or the road number alone.";

/// Nothing typed is no unit and no sentence. A well-formed name that the roster lacks is taken all the same: the
/// book may hold entries about it.
pub fn unit(typed: &str, world: &World) -> NamedUnit {
    let typed = typed.trim();
    if typed.is_empty() {
        return NamedUnit::default();
    }
    if let Some(unit) = UnitName::tidy(typed) {
        let unknown = world.roster.unit(&unit).is_none();
        let says = unknown.then(|| format!("{unit} is not on the roster."));
        return NamedUnit { unit: Some(unit), says };
    }
    let numbered = with_number(typed, world);
    match numbered.as_slice() {
        [] => NamedUnit { unit: None, says: Some(format!("No unit of the roster is that. {HOW}")) },
        [one] => NamedUnit { unit: Some((*one).clone()), says: None },
        several => {
            let names: Vec<_> = several.iter().map(|unit| unit.as_str()).collect();
            let says = format!("Several have that number: {}. Give the mark too.", names.join(", "));
            NamedUnit { unit: None, says: Some(says) }
        }
    }
}

/// Units of the roster with exactly this road number, whatever their mark.
fn with_number<'w>(typed: &str, world: &'w World) -> Vec<&'w UnitName> {
    let number = typed.trim_start_matches('0').to_ascii_uppercase();
    let same = |unit: &&UnitName| unit.as_str().split_once(' ').is_some_and(|(_, road)| road == number);
    world.roster.units.keys().filter(same).collect()
}
