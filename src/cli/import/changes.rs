//! What an import changes of what the book has, for whoever runs it to see before it is relied on.
use std::collections::HashMap;

use crate::{
    base::{SignIn, text},
    desk::{
        World,
        keep_people::{KeptName, PersonWanted},
    },
    roster::{Schedule, UnitCard},
};

/// How many rows are known and differ, and what of it somebody should read twice.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    pub changed: usize,
    pub lines: Vec<String>,
}

impl Changes {
    /// Each change of a role, for a slip in a list must not make a supervisor unseen.
    pub fn of_people(wanted: &[PersonWanted], names: &HashMap<SignIn, KeptName>, world: &World) -> Self {
        let mut changes = Self::default();
        for row in wanted {
            let Some(known) = world.people.person(&row.sign_in) else { continue };
            let same_name =
                names.get(&row.sign_in).is_some_and(|k| k.name == row.name && k.craft == row.craft);
            if known.role != row.role {
                changes.lines.push(format!("{}: role from {} to {}", row.sign_in, known.role, row.role));
            }
            if !known.active {
                changes.lines.push(format!("{}: had left, is let in again", row.sign_in));
            }
            changes.changed += usize::from(known.role != row.role || !known.active || !same_name);
        }
        changes
    }

    pub fn of_units(cards: &[UnitCard], world: &World) -> Self {
        let differs = |card: &&UnitCard| world.roster.unit(&card.unit).is_some_and(|known| known != *card);
        Self { changed: cards.iter().filter(differs).count(), lines: Vec::new() }
    }

    pub fn of_schedules(schedules: &[Schedule], world: &World) -> Self {
        let differs = |wanted: &&Schedule| {
            let known = world.roster.classes.get(&wanted.class).and_then(|class| class.latest());
            known.is_some_and(|known| !known.same_content(wanted))
        };
        let changed: Vec<_> = schedules.iter().filter(differs).collect();
        let line = |s: &&Schedule| format!("class {}: a new version of its schedule", s.class);
        Self { changed: changed.len(), lines: changed.iter().map(line).collect() }
    }

    /// Ready to print; nothing where nothing changed.
    pub fn says(self) -> Vec<String> {
        if self.changed == 0 {
            return Vec::new();
        }
        let many = text::count(self.changed as u64, "row changes", "rows change");
        let mut says = self.lines;
        says.push(format!("{many} what the book had; counted as new below"));
        says
    }
}
