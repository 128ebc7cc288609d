//! What the shop's pictures and its board ask of the file beside the rules' histories: each question is about some units and
//! a stretch of time, and answered by an index.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use crate::{
    base::{Instant, SignIn, Tag, UnitName},
    shop::Repair,
};

type Sql<T> = Result<T, sqlx::Error>;

/// Repairs of a unit that were under way at any time between two moments, the earliest first.
pub async fn repairs_between(
    db: &mut SqliteConnection,
    unit: &UnitName,
    (from, to): (Instant, Instant),
) -> Sql<Vec<Repair>> {
    let sql =
        "SELECT data FROM repair WHERE unit = ? AND opened_at < ? AND (closed_at IS NULL OR closed_at >= ?)
        ORDER BY opened_at, id";
    let found: Vec<String> =
        sqlx::query_scalar(sql).bind(unit.as_str()).bind(to.0).bind(from.0).fetch_all(db).await?;
    let read = |data: &String| serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    found.iter().map(read).collect()
}

/// A cutout that stood open: nothing of who opened it, which is the register's.
pub struct Opening {
    pub device: Tag,
    pub from: Instant,
    pub to: Option<Instant>,
}

pub async fn openings_between(
    db: &mut SqliteConnection,
    unit: &UnitName,
    (from, to): (Instant, Instant),
) -> Sql<Vec<Opening>> {
    let sql = "SELECT device, begins, closed_at FROM bypass WHERE unit = ? AND begins < ?
        AND (closed_at IS NULL OR closed_at >= ?) AND NOT coalesce(data ->> 'withdrawn', 0) ORDER BY begins, id";
    let rows = sqlx::query(sql).bind(unit.as_str()).bind(to.0).bind(from.0).fetch_all(db).await?;
    let opening = |row: &sqlx::sqlite::SqliteRow| {
        let closed_at: Option<i64> = row.try_get("closed_at")?;
        let device = Tag::from(row.try_get::<&str, _>("device")?);
        Ok(Opening { device, from: Instant(row.try_get("begins")?), to: closed_at.map(Instant) })
    };
    rows.iter().map(opening).collect()
}

/// Volts read at one start.
pub struct Volts {
    pub at: Instant,
    pub rest: Option<f64>,
    /// While the electric motors alone cranked, at the first attempt, as `rules::cranking` counts them.
    pub cranking: Option<f64>,
}

/// The latest starts between two moments of which anybody wrote volts, oldest first. They come as one text, a line for each:
/// a hundred rows through the connection take longer than finding them.
pub async fn starts_between(
    db: &mut SqliteConnection,
    unit: &UnitName,
    (from, to): (Instant, Instant),
    limit: i64,
) -> Sql<Vec<Volts>> {
    let sql = "SELECT group_concat(at || ' ' || coalesce(rest, '') || ' ' || coalesce(cranking, ''), char(10)) FROM (
        SELECT at, CAST(detail ->> 'battery_rest_v' AS REAL) AS rest,
            CASE WHEN coalesce(detail ->> 'attempt', 1) <= 1 AND NOT found
                AND coalesce(detail ->> 'motors', 'electric') IN ('electric', 'not_known')
                THEN CAST(detail ->> 'battery_cranking_v' AS REAL) END AS cranking
        FROM entry WHERE unit = ? AND at >= ? AND at < ? AND kind = 'engine_start' AND NOT withdrawn
            AND (rest IS NOT NULL OR cranking IS NOT NULL)
        ORDER BY at DESC LIMIT ?)";
    let query = sqlx::query_scalar(sql).bind(unit.as_str()).bind(from.0).bind(to.0).bind(limit);
    let lines: Option<String> = query.fetch_one(db).await?;
    let sane = |volts: &str| volts.parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0);
    let read = |line: &str| {
        let mut cells = line.split(' ');
        let at = Instant(cells.next()?.parse().ok()?);
        Some(Volts { at, rest: cells.next().and_then(sane), cranking: cells.next().and_then(sane) })
    };
    let mut all: Vec<Volts> = lines.iter().flat_map(|text| text.lines()).filter_map(read).collect();
    all.sort_by_key(|start| start.at);
    Ok(all)
}

/// Where a unit was last written of, and whether the shop has it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Whereabouts {
    /// Where its last run went to, and when that report was signed.
    pub last: Option<(String, Instant)>,
    /// Kept from service since then.
    pub held: Option<Instant>,
}

pub async fn whereabouts(
    db: &mut SqliteConnection,
    units: &BTreeSet<UnitName>,
) -> Sql<BTreeMap<UnitName, Whereabouts>> {
    let sql = "SELECT c.value AS unit, r.run_to, coalesce(r.ended, r.signed_at) AS at,
            (SELECT min(hold.value ->> 'from') FROM unit_history h, json_each(h.holds) AS hold
                WHERE h.unit = c.value AND hold.value ->> 'until' IS NULL) AS held
        FROM json_each(?) c LEFT JOIN report r ON r.seq = (SELECT l.seq FROM report l WHERE l.unit = c.value
            ORDER BY l.started DESC, l.seq DESC LIMIT 1)";
    let rows = sqlx::query(sql).bind(serde_json::json!(units).to_string()).fetch_all(db).await?;
    let read = |row: &sqlx::sqlite::SqliteRow| {
        let to: Option<String> = row.try_get("run_to")?;
        let at: Option<i64> = row.try_get("at")?;
        let held: Option<i64> = row.try_get("held")?;
        let there = Whereabouts { last: to.zip(at.map(Instant)), held: held.map(Instant) };
        Ok((UnitName::from(row.try_get::<&str, _>("unit")?), there))
    };
    rows.iter().map(read).collect()
}

/// What somebody had before them when they last said that they had looked at the board: when, and the lines' prints.
#[derive(Clone, Debug)]
pub struct Looked {
    pub at: Instant,
    pub lines: Vec<u8>,
}

pub async fn looked(db: &mut SqliteConnection, who: &SignIn) -> Sql<Option<Looked>> {
    let sql = "SELECT at, lines FROM board_looked WHERE sign_in = ?";
    let row = sqlx::query(sql).bind(who.as_str()).fetch_optional(db).await?;
    row.map(|row| Ok(Looked { at: Instant(row.try_get("at")?), lines: row.try_get("lines")? })).transpose()
}

pub async fn put_looked(db: &mut SqliteConnection, who: &SignIn, looked: &Looked) -> Sql<()> {
    let sql = "INSERT INTO board_looked (sign_in, at, lines) VALUES (?, ?, ?)
        ON CONFLICT (sign_in) DO UPDATE SET at = excluded.at, lines = excluded.lines";
    sqlx::query(sql).bind(who.as_str()).bind(looked.at.0).bind(&looked.lines).execute(db).await?;
    Ok(())
}
