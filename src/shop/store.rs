//! Repairs in the file, as far as other rooms read them.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection};

use super::{Causes, Repair};
use crate::{
    base::{Instant, Tag, UnitName},
    roster::Roster,
    rules::{Bypass, service_days::Held, situation::InShop},
};

type Sql<T> = Result<T, sqlx::Error>;

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
    let sql = "SELECT min(hold.value ->> 'from') FROM unit_history, json_each(unit_history.holds) AS hold
        WHERE unit = ? AND hold.value ->> 'until' IS NULL";
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
pub async fn repair(db: &mut SqliteConnection, id: uuid::Uuid) -> Sql<Option<Repair>> {
    let sql = "SELECT data FROM repair WHERE id = ?";
    let data: Option<String> = sqlx::query_scalar(sql).bind(id.to_string()).fetch_optional(db).await?;
    data.as_ref().map(|data| read(data)).transpose()
}

/// Every repair under way, the oldest first.
pub async fn open_repairs(db: &mut SqliteConnection) -> Sql<Vec<Repair>> {
    let sql = "SELECT data FROM repair WHERE closed_at IS NULL ORDER BY opened_at, id";
    let found: Vec<String> = sqlx::query_scalar(sql).fetch_all(db).await?;
    found.iter().map(|data| read(data)).collect()
}

fn read(data: &str) -> Sql<Repair> {
    serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)))
}

/// Why a unit is kept from service, since when, by whose word.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct HoldRow {
    pub unit: String,
    pub at: i64,
    pub reason: String,
    pub by: String,
    pub words: Option<String>,
}

/// Into what it was released.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ReleaseRow {
    pub unit: String,
    pub at: i64,
    /// `into_service`, `restricted`, `dead_for_repair`.
    pub how: String,
    pub by: String,
    pub restrictions: Option<String>,
    pub checked: Option<String>,
    pub words: Option<String>,
}

impl ReleaseRow {
    /// What the crew must keep to; empty unless it is restricted.
    pub fn restricts(&self) -> Option<&str> {
        (self.how == "restricted").then(|| self.restrictions.as_deref().unwrap_or("ask the shop"))
    }

    pub fn is_dead(&self) -> bool {
        self.how == "dead_for_repair"
    }
}

/// How the shop left a unit by a moment.
#[derive(Clone, Debug, Default)]
pub struct Standing {
    /// The hold that stands, with its latest reason.
    pub held: Option<HoldRow>,
    /// Since when it has been held without a release.
    pub held_since: Option<Instant>,
    /// The latest release: what it restricts stays until the next.
    pub released: Option<ReleaseRow>,
}

/// From when to when a unit was kept from service.
pub async fn held(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<Held>> {
    let sql = "SELECT holds FROM unit_history WHERE unit = ?";
    let holds: Option<String> = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_optional(db).await?;
    let read = |text: String| serde_json::from_str(&text).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    Ok(holds.map(read).transpose()?.unwrap_or_default())
}

pub async fn standing(db: &mut SqliteConnection, unit: &UnitName, then: Instant) -> Sql<Standing> {
    let holds = held(&mut *db, unit).await?;
    let open = holds.iter().filter(|held| held.from <= then && held.until.is_none_or(|until| then < until));
    let held_since = open.map(|held| held.from).min();
    let mut of_unit = holds_of(&mut *db, unit, 1, then).await?;
    Ok(Standing {
        held: of_unit.pop().filter(|_| held_since.is_some()),
        held_since,
        released: releases_of(db, unit, 1, then).await?.pop(),
    })
}

/// The latest first.
pub async fn holds_of(
    db: &mut SqliteConnection,
    unit: &UnitName,
    most: i64,
    then: Instant,
) -> Sql<Vec<HoldRow>> {
    let sql = "SELECT unit, at, reason, by, words FROM unit_hold WHERE unit = ? AND at <= ?
        ORDER BY at DESC, seq DESC LIMIT ?";
    sqlx::query_as(sql).bind(unit.as_str()).bind(then.0).bind(most).fetch_all(db).await
}

/// The latest first.
pub async fn releases_of(
    db: &mut SqliteConnection,
    unit: &UnitName,
    most: i64,
    then: Instant,
) -> Sql<Vec<ReleaseRow>> {
    let sql =
        "SELECT unit, at, how, by, restrictions, checked, words FROM unit_release WHERE unit = ? AND at <= ?
        ORDER BY at DESC, seq DESC LIMIT ?";
    sqlx::query_as(sql).bind(unit.as_str()).bind(then.0).bind(most).fetch_all(db).await
}

/// Units that are held now, and units whose last release restricts them.
pub async fn kept_units(db: &mut SqliteConnection) -> Sql<Vec<UnitName>> {
    let sql = "SELECT unit FROM unit_history, json_each(unit_history.holds) AS hold WHERE hold.value ->> 'until' IS NULL
        UNION SELECT unit FROM unit_release r WHERE how <> 'into_service' AND NOT EXISTS (SELECT 1 FROM unit_release later
            WHERE later.unit = r.unit AND (later.at, later.seq) > (r.at, r.seq)) ORDER BY unit";
    let found: Vec<String> = sqlx::query_scalar(sql).fetch_all(db).await?;
    Ok(found.into_iter().map(UnitName::from).collect())
}

/// A cause on the shop's list, or one that came off it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct CauseRow {
    pub cause: String,
    pub listed: bool,
    pub by: String,
    pub at: i64,
}

/// By the alphabet.
pub async fn listed_causes(db: &mut SqliteConnection) -> Sql<Vec<CauseRow>> {
    sqlx::query_as("SELECT cause, listed, by, at FROM cause ORDER BY key").fetch_all(db).await
}

/// A line of the board set aside, by whom, until when and why.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct AsideRow {
    pub rule: String,
    pub unit: String,
    pub device: Option<String>,
    pub by: String,
    pub at: i64,
    pub until: i64,
    pub reason: String,
}

/// The last word about each line: those that are set aside at a moment, the first to come back first.
pub async fn asides(db: &mut SqliteConnection, then: Instant) -> Sql<Vec<AsideRow>> {
    let sql = "SELECT rule, unit, device, by, at, until, reason FROM set_aside AS said WHERE at <= ?1 AND until > ?1
        AND NOT EXISTS (SELECT 1 FROM set_aside later WHERE later.rule = said.rule AND later.unit = said.unit
            AND later.device IS said.device AND later.at <= ?1 AND later.seq > said.seq) ORDER BY until, seq";
    sqlx::query_as(sql).bind(then.0).fetch_all(db).await
}

/// How many pages the book has.
pub async fn size(db: &mut SqliteConnection) -> Sql<u64> {
    let size: i64 = sqlx::query_scalar("SELECT size FROM head").fetch_one(db).await?;
    Ok(u64::try_from(size).unwrap_or(0))
}

/// The openings of a unit that nothing in the book closes.
pub async fn open_bypasses(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<Bypass>> {
    let sql = "SELECT data FROM bypass WHERE unit = ? AND closed_at IS NULL AND NOT data ->> 'withdrawn' ORDER BY begins";
    let found: Vec<String> = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_all(db).await?;
    let read = |data: &String| serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    found.iter().map(read).collect()
}

/// For each unit of a JSON list the last page that told of it: a report, an amendment, the shop.
pub const TOLD_ABOUT: &str = "SELECT u.value AS unit, max(
        coalesce((SELECT max(seq) FROM report WHERE unit = u.value), 0),
        coalesce((SELECT max(a.seq) FROM amendment a CROSS JOIN report r ON r.id = a.report WHERE r.unit = u.value), 0),
        coalesce((SELECT max(seq) FROM unit_hold WHERE unit = u.value), 0),
        coalesce((SELECT max(seq) FROM unit_release WHERE unit = u.value), 0),
        coalesce((SELECT max(data ->> 'last_seq') FROM repair WHERE unit = u.value), 0)) AS seq
    FROM json_each(?) u";

pub async fn last_about(db: &mut SqliteConnection, unit: &UnitName) -> Sql<u64> {
    let names = serde_json::json!([unit]).to_string();
    let row = sqlx::query(TOLD_ABOUT).bind(names).fetch_one(db).await?;
    Ok(u64::try_from(row.try_get::<i64, _>("seq")?).unwrap_or(0))
}

/// The page each of some entries was last told on: its report's, or its latest amendment's.
pub async fn pages_of(db: &mut SqliteConnection, entries: &[String]) -> Sql<BTreeMap<String, u64>> {
    let sql =
        "SELECT e.id, max(e.seq, coalesce((SELECT max(seq) FROM amendment a WHERE a.entry = e.id), 0)) AS seq
        FROM entry e WHERE e.id IN (SELECT value FROM json_each(?))";
    let ids = serde_json::json!(entries).to_string();
    let rows = sqlx::query(sql).bind(ids).fetch_all(db).await?;
    rows.iter()
        .map(|row| Ok((row.try_get("id")?, u64::try_from(row.try_get::<i64, _>("seq")?).unwrap_or(0))))
        .collect()
}

/// An amendment of an entry, or a statement beside one.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Amended {
    pub entry: String,
    pub by: String,
    pub at: i64,
    pub words: String,
    pub withdrawn: bool,
    pub is_statement: bool,
}

/// What was corrected of a unit's entries, and what was said to them, the latest first.
pub async fn amended_of(db: &mut SqliteConnection, unit: &UnitName, most: i64) -> Sql<Vec<Amended>> {
    let sql = "SELECT a.entry, a.author AS by, a.at, a.reason AS words, a.replacement IS NULL AS withdrawn,
            0 AS is_statement, a.seq AS seq FROM amendment a CROSS JOIN entry e ON e.id = a.entry WHERE e.unit = ?1
        UNION ALL SELECT s.entry, s.author, s.at, s.words, 0, 1, s.seq FROM statement s CROSS JOIN entry e ON e.id = s.entry
            WHERE e.unit = ?1 ORDER BY seq DESC LIMIT ?2";
    sqlx::query_as(sql).bind(unit.as_str()).bind(most).fetch_all(db).await
}
