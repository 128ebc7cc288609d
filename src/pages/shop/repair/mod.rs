//! Repairs: opened from what they are to answer, worked on, closed, corrected.
pub mod amend;
mod causes;
pub mod close;
pub mod open;
mod open_view;
mod proof;
pub mod show;
pub mod work;

use sqlx::SqliteConnection;
use uuid::Uuid;

use super::signing::id_of;
use crate::{
    base::{Instant, Tag, UnitName},
    desk::World,
    pages::drawn::told::named,
    shop::{
        self, Repair,
        measurements::{
            self, Verdict,
            store::{Kept, Wanted},
        },
    },
    web::{Oops, paths},
};

const NO_SUCH: &str = "The book holds no such repair: look at the unit again.";

async fn find(db: &mut SqliteConnection, id: &str) -> Result<Repair, Oops> {
    let found = match id_of(id) {
        Some(id) => shop::store::repair(db, id).await?,
        None => None,
    };
    found.ok_or_else(|| Oops::NotFound(NO_SUCH.into()))
}

/// What was measured for a repair, the first first.
async fn measured_for(db: &mut SqliteConnection, repair: Uuid) -> Result<Vec<Kept>, sqlx::Error> {
    let wanted = Wanted { repair: Some(repair), ..Wanted::default() };
    let mut all = measurements::store::taken(db, &wanted).await?;
    all.reverse();
    Ok(all)
}

/// Of what was measured the first first: those that failed, with nothing of the same kind and subject since.
fn still_fails(measured: &[Kept]) -> Vec<&Kept> {
    let same = |a: &Kept, b: &Kept| {
        (a.measured.kind(), a.measured.subject()) == (b.measured.kind(), b.measured.subject())
    };
    let last = |(place, one): &(usize, &Kept)| !measured.iter().skip(place + 1).any(|later| same(one, later));
    let fails = |one: &&Kept| one.judged.verdict == Verdict::Fail;
    measured.iter().enumerate().filter(last).map(|(_, one)| one).filter(fails).collect()
}

/// `TC2 Traction inverter 2`, `the unit itself`.
pub fn of_what(device: Option<&Tag>, unit: &UnitName, at: Instant, world: &World) -> String {
    let schedule = world.roster.schedule_at(unit, at);
    device.map_or_else(|| "the unit itself".to_owned(), |tag| named(tag, schedule))
}

/// Everything a repair is of: `TC2 Traction inverter 2, the unit itself`.
pub fn subjects(repair: &Repair, world: &World) -> String {
    let all = repair.subjects().map(|device| of_what(device.as_ref(), &repair.unit, repair.opened_at, world));
    all.collect::<Vec<_>>().join(", ")
}

/// A repair in a line: where it is, and how it stands.
#[derive(Clone, Debug)]
pub struct RepairLine {
    pub path: String,
    pub unit: String,
    pub of: String,
    pub says: String,
    /// `open`, `closed`.
    pub state: &'static str,
}

impl RepairLine {
    pub fn of(repair: &Repair, world: &World) -> Self {
        let zone = &world.railway.zone;
        let says = match (repair.closed_at, &repair.closed_by) {
            (Some(at), Some(by)) => format!(
                "{}. Closed {} by {by}.",
                capital(repair.cause.as_deref().unwrap_or(shop::NOT_KNOWN).trim_end_matches('.')),
                zone.in_words(at)
            ),
            _ => format!("Open since {}, by {}.", zone.in_words(repair.opened_at), repair.opened_by),
        };
        Self {
            path: paths::Repair(repair.id.to_string()).to_string(),
            unit: repair.unit.to_string(),
            of: subjects(repair, world),
            says,
            state: if repair.closed_at.is_some() { "closed" } else { "open" },
        }
    }
}

pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
