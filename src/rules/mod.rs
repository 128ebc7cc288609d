//! What the book says back. Pure over slices: no I/O, no clock, no awaiting. Only the desk calls in here to
//! keep findings, and pages to phrase answers.
pub mod answer_words;
pub mod authority;
pub mod burst;
pub mod bypass;
pub mod case;
pub mod chunk;
pub mod class_wide;
pub mod coincident;
pub mod cranking;
pub mod dossier;
pub mod earlier;
pub mod expiring;
pub mod explained;
pub mod fact;
pub mod figures;
pub mod finding;
pub mod forecast;
pub mod fuse;
pub mod ground;
pub mod ground_open;
#[cfg(test)]
mod how_long;
pub mod joined;
pub mod judge;
pub mod monthly;
pub mod occurrence;
pub mod often;
pub mod outline;
pub mod pair;
#[cfg(test)]
mod properties;
pub mod proving;
pub mod quiet;
pub mod reclosed;
pub mod register;
pub mod reported;
pub mod reset_answer;
pub mod rests;
pub mod returned;
pub mod routing;
pub mod running;
#[cfg(test)]
pub mod sample;
pub mod seal;
pub mod service_days;
pub mod shared_cause;
pub mod shared_chance;
pub mod shared_words;
pub mod situation;
pub mod start_answer;
pub mod start_events;
pub mod starting;
pub mod state;
pub mod statistics;
pub mod store;
pub mod test_first;
pub mod thresholds;
pub mod together;
pub mod watch;
pub mod weather;
pub mod wet;
pub mod windows;
pub mod worsening;

use crate::{base::Zone, people::People, roster::Roster};

pub use dossier::{Dossier, DossierKey};
pub use fact::{Fact, Told};
pub use figures::ClassFigures;
pub use finding::{Finding, Rule};
pub use forecast::{Forecast, forecast};
pub use judge::{Beside, Judgement, judge};
pub use register::Bypass;
pub use thresholds::Thresholds;

/// What judging needs besides the facts: who may what, which unit has which devices, normal rates.
#[derive(Clone, Copy, Debug)]
pub struct Ground<'a> {
    pub roster: &'a Roster,
    pub people: &'a People,
    pub zone: &'a Zone,
    pub figures: Option<&'a ClassFigures>,
    pub thresholds: &'a Thresholds,
}
