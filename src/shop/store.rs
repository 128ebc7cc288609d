//! Repairs in the file, as far as other rooms read them.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection};

use super::{Causes, Repair};
use crate::{
    base::{Instant, Tag, UnitName},
    roster::Roster,
    rules::situation::InShop,
};

/// What repairs closed by a moment found, for each device of each class.
pub async fn causes(
    db: &mut SqliteConnection,
    roster: &Roster,
    then: Instant,
) -> Result<Causes, sqlx::Error> {
    let sql = "SELECT unit, device, lower(trim(data ->> 'cause')) AS cause, count(*) AS times FROM repair
        WHERE closed_at <= ? AND device IS NOT NULL GROUP BY unit, device, cause";
    let mut all = Causes::default();
    for row in sqlx::query(sql).bind(then.0).fetch_all(db).await? {
        let unit = UnitName::from(row.try_get::<&str, _>("unit")?);
        let (Some(card), Some(cause)) = (roster.unit(&unit), row.try_get::<Option<String>, _>("cause")?)
        else {
            continue;
        };
        let times = u32::try_from(row.try_get::<i64, _>("times")?).unwrap_or(0);
        let device = Tag::from(row.try_get::<&str, _>("device")?);
        let of: &mut BTreeMap<String, u32> = all.0.entry((card.class.clone(), device)).or_default();
        *of.entry(cause).or_default() += times;
    }
    Ok(all)
}

/// What the shop has open on a unit now.
pub async fn in_shop(db: &mut SqliteConnection, unit: &UnitName) -> Result<InShop, sqlx::Error> {
    let sql =
        "SELECT opened_at, device FROM repair WHERE unit = ? AND closed_at IS NULL ORDER BY opened_at, id";
    let mut repairs = Vec::new();
    for row in sqlx::query(sql).bind(unit.as_str()).fetch_all(&mut *db).await? {
        let device: Option<&str> = row.try_get("device")?;
        repairs.push((Instant(row.try_get("opened_at")?), device.map(Tag::from)));
    }
    let sql = "SELECT min(hold.value ->> 0) FROM unit_history, json_each(unit_history.holds) AS hold
        WHERE unit = ? AND hold.value ->> 1 IS NULL";
    let held: Option<i64> = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_one(db).await?;
    Ok(InShop { held: held.map(Instant), repairs })
}

/// Every repair of these units, the earliest first.
pub async fn repairs_of(db: &mut SqliteConnection, units: &[UnitName]) -> Result<Vec<Repair>, sqlx::Error> {
    let sql = "SELECT data FROM repair WHERE unit IN (SELECT value FROM json_each(?)) ORDER BY opened_at, id";
    let names = serde_json::json!(units).to_string();
    let found: Vec<String> = sqlx::query_scalar(sql).bind(names).fetch_all(db).await?;
    let read = |data: &String| serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    found.iter().map(read).collect()
}

/// Repairs opened or closed since a moment, and those still open, the latest opened first.
pub async fn repairs_since(db: &mut SqliteConnection, since: Instant) -> Result<Vec<Repair>, sqlx::Error> {
    let sql = "SELECT data FROM repair WHERE opened_at >= ?1 OR closed_at >= ?1 OR closed_at IS NULL ORDER BY opened_at DESC, id";
    let found: Vec<String> = sqlx::query_scalar(sql).bind(since.0).fetch_all(db).await?;
    let read = |data: &String| serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    found.iter().map(read).collect()
}
