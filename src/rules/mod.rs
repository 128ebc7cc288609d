//! What the book says back. Pure over slices: no I/O, no clock, no awaiting. Only the desk calls in here to
//! keep findings, and pages to phrase answers.
pub mod authority;
pub mod burst;
pub mod bypass;
pub mod case;
pub mod dossier;
pub mod fact;
pub mod figures;
pub mod finding;
pub mod fuse;
pub mod ground;
pub mod ground_open;
pub mod judge;
pub mod occurrence;
#[cfg(test)]
mod properties;
pub mod quiet;
pub mod reclosed;
pub mod register;
pub mod reported;
pub mod reset_answer;
pub mod routing;
pub mod running;
#[cfg(test)]
pub mod sample;
pub mod seal;
pub mod service_days;
pub mod state;
pub mod statistics;
pub mod store;
pub mod windows;

use crate::{base::Zone, people::People, roster::Roster};

pub use dossier::{Dossier, DossierKey};
pub use fact::{Fact, Told};
pub use figures::ClassFigures;
pub use finding::{Finding, Rule};
pub use judge::{Judgement, judge};
pub use register::Bypass;

/// What judging needs besides the facts: who may what, which unit has which devices, normal rates.
#[derive(Clone, Copy, Debug)]
pub struct Ground<'a> {
    pub roster: &'a Roster,
    pub people: &'a People,
    pub zone: &'a Zone,
    pub figures: Option<&'a ClassFigures>,
}
