//! Everything the book holds about every unit, for whoever judges all of it at once.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{World, draft::UnitHistory, load, parts, runs::runs_in};
use crate::{
    base::{Instant, UnitName},
    rules::{Dossier, DossierKey, dossier::Subject, fact::RunFact, windows::windows},
};

/// Every dossier, every unit's days and holds, and the runs that matter for ground protection.
#[derive(Debug, Default)]
pub struct History {
    pub units: BTreeMap<UnitName, UnitHistory>,
    pub dossiers: BTreeMap<DossierKey, Dossier>,
    pub runs: BTreeMap<UnitName, Vec<RunFact>>,
}

/// Only what had happened by a moment, as known now.
pub async fn up_to(db: &mut SqliteConnection, world: &World, then: Instant) -> Result<History, sqlx::Error> {
    let mut all = whole(db, world).await?;
    all.units = units_up_to(db, world, then).await?;
    all.dossiers.values_mut().for_each(|dossier| *dossier = dossier.up_to(then));
    all.runs.values_mut().for_each(|runs| runs.retain(|run| run.started <= then));
    Ok(all)
}

/// Every unit's days, weather and holds up to a moment.
pub async fn units_up_to(
    db: &mut SqliteConnection,
    world: &World,
    then: Instant,
) -> Result<BTreeMap<UnitName, UnitHistory>, sqlx::Error> {
    let mut units = units(db).await?;
    let last = world.railway.zone.day_of(then);
    for history in units.values_mut() {
        history.days = history.days.up_to(last);
        history.weather = history.weather.up_to(last);
        history.holds.retain(|held| held.from <= then);
        history.holds.iter_mut().for_each(|held| held.until = held.until.filter(|until| *until <= then));
    }
    Ok(units)
}

async fn units(db: &mut SqliteConnection) -> Result<BTreeMap<UnitName, UnitHistory>, sqlx::Error> {
    let rows = sqlx::query("SELECT unit, days, weather, holds FROM unit_history").fetch_all(db).await?;
    rows.iter().map(|row| Ok((load::unit(row)?, load::history(row)?))).collect()
}

pub async fn whole(db: &mut SqliteConnection, world: &World) -> Result<History, sqlx::Error> {
    let mut all = History { units: units(db).await?, ..History::default() };
    all.dossiers = parts::every_dossier(db).await?;
    let of_ground = all.dossiers.iter().filter(|(key, _)| key.subject == Subject::GroundProtection);
    let spans: Vec<(&UnitName, Instant, Instant)> = of_ground
        .flat_map(|(key, dossier)| {
            let spans = windows(&key.unit, dossier, &world.roster);
            spans.into_iter().map(move |(from, to)| (&key.unit, from, to))
        })
        .collect();
    all.runs = runs_in(db, &spans).await?;
    Ok(all)
}

/// One unit's days, weather and holds.
pub async fn of_unit(db: &mut SqliteConnection, unit: &UnitName) -> Result<UnitHistory, sqlx::Error> {
    let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit = ?";
    let row = sqlx::query(sql).bind(unit.as_str()).fetch_optional(db).await?;
    row.as_ref().map(load::history).transpose().map(Option::unwrap_or_default)
}
