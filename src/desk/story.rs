//! What pictures of one unit are drawn from: its devices' occurrences and repairs, its service days, holds and wet days.
//! From outlines and the unit's one row of days: nothing that crews wrote is read.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{draft::UnitHistory, judge::clock, load, parts, world::World};
use crate::{
    base::{Instant, Tag, UnitName},
    rules::{
        dossier::Subject,
        occurrence::occurrences,
        outline::Outline,
        service_days::{Held, ServiceDays},
        weather::WeatherDays,
    },
};

/// One unit between two moments.
#[derive(Clone, Debug)]
pub struct Story {
    /// Devices of which anything is known at all, by tag.
    pub devices: BTreeMap<Tag, OfDevice>,
    pub clock: ServiceDays,
    pub weather: WeatherDays,
    pub holds: Vec<Held>,
}

/// What one device did in that time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OfDevice {
    /// Oldest first.
    pub occurrences: Vec<Instant>,
    /// Repairs of it that were closed, oldest first.
    pub mended: Vec<Instant>,
}

/// Everything of a unit from `from` until before `to`. What counts as an occurrence is the rules' matter, and rests on
/// what was known of a device before: so a device's outline is read from its beginning.
pub async fn story(
    db: &mut SqliteConnection,
    world: &World,
    unit: &UnitName,
    (from, to): (Instant, Instant),
) -> Result<Story, sqlx::Error> {
    let within = |at: &Instant| from <= *at && *at < to;
    let mut devices = BTreeMap::new();
    for (key, packed) in parts::outlines_of_units(db, &[unit.as_str()]).await? {
        let Subject::Device(tag) = key.subject else { continue };
        let outlines: Vec<Outline> = packed.outlines()?;
        let mended = outlines.iter().filter(|o| o.stands && o.repaired.is_some()).map(|o| o.at);
        let of_device = OfDevice {
            mended: mended.filter(within).collect(),
            occurrences: occurrences(&outlines).into_iter().map(|o| o.at).filter(within).collect(),
        };
        devices.insert(tag, of_device);
    }
    let history = unit_history(db, unit).await?;
    let clock = clock(world, unit, history.as_ref());
    let UnitHistory { weather, holds, .. } = history.unwrap_or_default();
    let in_time = |held: &Held| held.from < to && held.until.is_none_or(|until| until > from);
    Ok(Story { devices, clock, weather, holds: holds.into_iter().filter(in_time).collect() })
}

async fn unit_history(
    db: &mut SqliteConnection,
    unit: &UnitName,
) -> Result<Option<UnitHistory>, sqlx::Error> {
    let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit = ?";
    let row = sqlx::query(sql).bind(unit.as_str()).fetch_optional(db).await?;
    row.as_ref().map(load::history).transpose()
}
