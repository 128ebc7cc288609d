//! Inspections in the file.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use super::{InspectionDone, InspectionKind, PERIODIC_DAYS};
use crate::base::{ClassName, Day, Instant, SignIn, UnitName, Zone};

type Sql<T> = Result<T, sqlx::Error>;

/// An inspection with its page and its inspector.
#[derive(Clone, Debug)]
pub struct Kept {
    pub seq: i64,
    pub by: SignIn,
    pub done: InspectionDone,
}

/// A unit's inspections, the latest first.
pub async fn of_unit(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<Kept>> {
    let sql = "SELECT seq, by, data FROM inspection WHERE unit = ? ORDER BY done_at DESC, seq DESC";
    sqlx::query(sql).bind(unit.as_str()).fetch_all(db).await?.iter().map(kept).collect()
}

/// Every inspection since a moment, the latest first.
pub async fn since(db: &mut SqliteConnection, since: Instant) -> Sql<Vec<Kept>> {
    let sql = "SELECT seq, by, data FROM inspection WHERE done_at >= ? ORDER BY done_at DESC, seq DESC";
    sqlx::query(sql).bind(since.0).fetch_all(db).await?.iter().map(kept).collect()
}

fn kept(row: &sqlx::sqlite::SqliteRow) -> Sql<Kept> {
    let data: &str = row.try_get("data")?;
    let done = serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
    Ok(Kept { seq: row.try_get("seq")?, by: SignIn::from(row.try_get::<&str, _>("by")?), done })
}

/// When each kind that is counted from the last one was last done, on each unit of which any is written. It goes from unit
/// to unit by the index, so that many inspections cost no more than few.
pub async fn last_done(db: &mut SqliteConnection) -> Sql<BTreeMap<(UnitName, InspectionKind), Instant>> {
    let sql = "WITH RECURSIVE written(unit) AS (SELECT min(unit) FROM inspection UNION ALL
            SELECT (SELECT min(unit) FROM inspection WHERE unit > written.unit) FROM written WHERE written.unit IS NOT NULL)
        SELECT unit, counted.value AS kind,
            (SELECT max(done_at) FROM inspection i WHERE i.unit = written.unit AND i.kind = counted.value) AS at
        FROM written, json_each(?) counted WHERE unit IS NOT NULL AND at IS NOT NULL";
    let counted = InspectionKind::ALL.iter().filter(|kind| **kind != InspectionKind::Daily);
    let counted: Vec<&str> = counted.map(|kind| kind.as_str()).collect();
    let mut all = BTreeMap::new();
    for row in sqlx::query(sql).bind(serde_json::json!(counted).to_string()).fetch_all(db).await? {
        if let Some(kind) = InspectionKind::parse(row.try_get("kind")?) {
            let unit = UnitName::from(row.try_get::<&str, _>("unit")?);
            all.insert((unit, kind), Instant(row.try_get("at")?));
        }
    }
    Ok(all)
}

/// Which classes and units go by another interval.
#[derive(Clone, Debug, Default)]
pub struct Intervals {
    classes: BTreeMap<String, i32>,
    units: BTreeMap<String, i32>,
}

impl Intervals {
    /// The unit's own, else its class's, else 92.
    pub fn of(&self, unit: &UnitName, class: Option<&ClassName>) -> i32 {
        let of_class = || class.and_then(|class| self.classes.get(class.as_str()));
        self.units.get(unit.as_str()).or_else(of_class).copied().unwrap_or(PERIODIC_DAYS)
    }
}

pub async fn intervals(db: &mut SqliteConnection) -> Sql<Intervals> {
    let mut all = Intervals::default();
    for row in sqlx::query("SELECT what, name, days FROM inspection_interval").fetch_all(db).await? {
        let (what, name, days): (&str, String, i32) =
            (row.try_get("what")?, row.try_get("name")?, row.try_get("days")?);
        let list = if what == "unit" { &mut all.units } else { &mut all.classes };
        list.insert(name, days);
    }
    Ok(all)
}

/// The days since a moment on which somebody reported a run of a unit, and those with a daily inspection.
pub async fn daily(
    db: &mut SqliteConnection,
    unit: &UnitName,
    since: Instant,
    zone: &Zone,
) -> Sql<(BTreeSet<Day>, BTreeSet<Day>)> {
    let sql = "SELECT occasion, started AS at FROM report WHERE unit = ?1 AND started >= ?2 AND occasion IN ('run', 'daily_inspection')
        UNION ALL SELECT kind, done_at FROM inspection WHERE unit = ?1 AND done_at >= ?2";
    let (mut used, mut inspected) = (BTreeSet::new(), BTreeSet::new());
    for row in sqlx::query(sql).bind(unit.as_str()).bind(since.0).fetch_all(db).await? {
        let day = zone.day_of(Instant(row.try_get("at")?));
        let list = if row.try_get::<&str, _>("occasion")? == "run" { &mut used } else { &mut inspected };
        list.insert(day);
    }
    Ok((used, inspected))
}
