//! The demo railway: people, units, schedules and a seeded year of history, all of our own invention.
//! Nothing in here writes to a file or a book; the command files what these functions hand out through the desk.
mod bypasses;
mod days;
mod dice;
mod entries;
mod fleet;
mod form;
pub mod history;
mod inspected;
mod measured;
mod shop;
pub mod small;
mod stories;
mod troubles;
mod year;

pub use history::{Act, Event, history};
pub use stories::{STORIES, Story};

use crate::base::{Instant, Zone};

pub const RAILWAY: &str = "Quarrow Hill & Bay Railway";
pub const MARK: &str = "QHB";
pub const ZONE: &str = "America/Chicago";
/// The seed of the demo as shipped.
pub const SEED: u64 = 20_417;

const PEOPLE: &str = include_str!("people.csv");
const UNITS: &str = include_str!("units.csv");
const SCHEDULES: &str = include_str!("schedules.csv");
const CHECKS: &str = include_str!("checks.csv");
const AUTHORISATIONS: &str = include_str!("authorisations.csv");
const TROUBLES: &str = include_str!("troubles.csv");

/// The import files, each with its header line, in the columns of the interchange contract.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Csvs {
    pub people: String,
    pub schedules: String,
    pub checks: String,
    pub units: String,
    pub authorisations: String,
}

/// Role, sign-in name and password of those the command prints. Nobody else of the sixty gets a password.
pub const SIGN_INS: &[(&str, &str, &str)] = &[
    ("crew", "n.okafor", "copper lantern under slate"),
    ("crew", "i.trelfa", "seven gulls on a gantry"),
    ("shop", "r.dunmore", "warm kettle beside the lathe"),
    ("shop", "a.lind", "quiet meter long cable"),
    ("supervisor", "m.ruiz", "brass button green ledger"),
    ("supervisor", "h.vance", "paper harbour winter coat"),
    ("administrator", "c.ibsenius", "thirteen drawers one key"),
];

/// The import files of a demo whose history ends at `ends`. Authorisations run out relative to that day, so
/// that the one that ended and the one about to end are true whenever somebody tries the program.
pub fn files(ends: Instant, zone: &Zone) -> Csvs {
    Csvs {
        people: PEOPLE.to_owned(),
        schedules: SCHEDULES.to_owned(),
        checks: CHECKS.to_owned(),
        units: UNITS.to_owned(),
        authorisations: dated(AUTHORISATIONS, ends, zone),
    }
}

/// Turns cells like `D-20` and `D+38` into dates, counted from the day of `ends`.
fn dated(csv: &str, ends: Instant, zone: &Zone) -> String {
    let today = zone.day_of(ends);
    let cell = |cell: &str| match cell.strip_prefix('D').and_then(|days| days.parse::<i32>().ok()) {
        Some(days) => today.plus(days).to_string(),
        None => cell.to_owned(),
    };
    csv.lines().map(|line| line.split(',').map(cell).collect::<Vec<_>>().join(",") + "\n").collect()
}

#[cfg(test)]
mod judged;
#[cfg(test)]
mod tests;
