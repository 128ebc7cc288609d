//! The watch list, looked up when it is asked for: nothing of it is kept.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{judge::clock, load, parts, world::World};
use crate::{
    base::{Instant, Tag, UnitName, instant::DAY},
    rules::{
        dossier::Subject,
        occurrence::occurrences,
        outline::outlines,
        service_days::ServiceDays,
        watch::{Watched, looks_back, watched},
    },
};

const UNITS_AT_ONCE: i64 = 64;

#[derive(Clone, Debug, PartialEq)]
pub struct WatchLine {
    pub unit: UnitName,
    pub device: Tag,
    pub watched: Watched,
}

/// Devices with as many occurrences within as many service days as the watch list asks for; most occurrences first.
pub async fn watch_list(
    db: &mut SqliteConnection,
    world: &World,
    now: Instant,
) -> Result<Vec<WatchLine>, sqlx::Error> {
    let since = now.minus(looks_back(&world.thresholds) * DAY);
    let today = world.railway.zone.day_of(now);
    let (mut lines, mut after) = (Vec::new(), String::new());
    loop {
        let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit > ? ORDER BY unit LIMIT ?";
        let rows = sqlx::query(sql).bind(&after).bind(UNITS_AT_ONCE).fetch_all(&mut *db).await?;
        let mut units = Vec::with_capacity(rows.len());
        for row in &rows {
            units.push((load::unit(row)?, load::history(row)?));
        }
        let Some((last, _)) = units.last() else { break };
        after = last.as_str().to_owned();
        let names: Vec<&str> = units.iter().map(|(unit, _)| unit.as_str()).collect();
        let dossiers = parts::dossiers_of_units(db, &names).await?;
        let clocks = units.iter().map(|(unit, history)| (unit, clock(world, unit, Some(history))));
        let clocks: BTreeMap<&UnitName, ServiceDays> = clocks.collect();
        for (key, dossier) in &dossiers {
            let (Subject::Device(device), Some(clock)) = (&key.subject, clocks.get(&key.unit)) else {
                continue;
            };
            let occurrences = occurrences(&outlines(dossier.between(since, now)));
            let zone = &world.railway.zone;
            if let Some(watched) = watched(&occurrences, clock, zone, today, &world.thresholds) {
                lines.push(WatchLine { unit: key.unit.clone(), device: device.clone(), watched });
            }
        }
    }
    lines.sort_by(|a, b| {
        (b.watched.occurrences, b.watched.last).cmp(&(a.watched.occurrences, a.watched.last))
    });
    Ok(lines)
}
