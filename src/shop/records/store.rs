//! A unit's records in the file, put together from every table that has any.
use sqlx::{Row, SqliteConnection};

use super::{Record, What};
use crate::base::{Instant, UnitName};

/// From when on, up to when, how many and after how many.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub from: Instant,
    pub to: Instant,
    pub limit: i64,
    pub after: i64,
}

const ALL: &str = "
    SELECT seq, started AS at, recorded_at, author AS by, 'report' AS what,
        json_object('occasion', occasion, 'final', is_final, 'symbol', symbol, 'from', run_from, 'to', run_to, 'entries', entries,
            'remarks', remarks, 'signed_at', signed_at, 'sha256', sha256, 'root', root) AS data, NULL AS before
        FROM report WHERE unit = ?1 AND started >= ?2 AND started < ?3
    UNION ALL SELECT seq, at, recorded_at, author, 'entry', detail, NULL FROM entry WHERE unit = ?1 AND at >= ?2 AND at < ?3
    UNION ALL SELECT a.seq, a.at, NULL, a.author, 'amendment', json_object('entry', a.entry, 'reason', a.reason, 'now', a.replacement), a.before
        FROM amendment a JOIN entry e ON e.id = a.entry WHERE e.unit = ?1 AND e.at >= ?2 AND e.at < ?3
    UNION ALL SELECT s.seq, s.at, NULL, s.author, 'statement', json_object('entry', s.entry, 'words', s.words), NULL
        FROM statement s JOIN entry e ON e.id = s.entry WHERE e.unit = ?1 AND e.at >= ?2 AND e.at < ?3
    UNION ALL SELECT seq, at, NULL, by, 'handover_read', '{}', NULL FROM handover_read WHERE unit = ?1 AND at >= ?2 AND at < ?3
    UNION ALL SELECT -1, opened_at, NULL, opened_by, 'repair_opened', data, NULL FROM repair WHERE unit = ?1 AND opened_at >= ?2 AND opened_at < ?3
    UNION ALL SELECT -1, closed_at, NULL, closed_by, 'repair_closed', data, NULL FROM repair WHERE unit = ?1 AND closed_at >= ?2 AND closed_at < ?3
    UNION ALL SELECT seq, taken_at, NULL, by, 'measurement', data, NULL FROM measurement WHERE unit = ?1 AND taken_at >= ?2 AND taken_at < ?3
    UNION ALL SELECT seq, done_at, NULL, by, 'inspection', data, NULL FROM inspection WHERE unit = ?1 AND done_at >= ?2 AND done_at < ?3
    UNION ALL SELECT -1, h.value ->> 'from', NULL, '', 'held', '{}', NULL FROM unit_history, json_each(unit_history.holds) h
        WHERE unit = ?1 AND h.value ->> 'from' >= ?2 AND h.value ->> 'from' < ?3
    UNION ALL SELECT -1, h.value ->> 'until', NULL, '', 'released', '{}', NULL FROM unit_history, json_each(unit_history.holds) h
        WHERE unit = ?1 AND h.value ->> 'until' >= ?2 AND h.value ->> 'until' < ?3";

/// How many there are in the span.
pub async fn count(db: &mut SqliteConnection, unit: &UnitName, span: Span) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM ({ALL})")))
        .bind(unit.as_str())
        .bind(span.from.0)
        .bind(span.to.0)
        .fetch_one(db)
        .await
}

/// The latest first.
pub async fn of_unit(
    db: &mut SqliteConnection,
    unit: &UnitName,
    span: Span,
) -> Result<Vec<Record>, sqlx::Error> {
    let sql = format!("SELECT * FROM ({ALL}) ORDER BY at DESC, seq DESC, what, data LIMIT ?4 OFFSET ?5");
    let rows = sqlx::query(sqlx::AssertSqlSafe(sql))
        .bind(unit.as_str())
        .bind(span.from.0)
        .bind(span.to.0)
        .bind(span.limit)
        .bind(span.after)
        .fetch_all(db)
        .await?;
    let read = |row: &sqlx::sqlite::SqliteRow| {
        Ok(Record {
            seq: row.try_get("seq")?,
            at: Instant(row.try_get("at")?),
            recorded_at: row.try_get::<Option<i64>, _>("recorded_at")?.map(Instant),
            by: row.try_get::<Option<String>, _>("by")?.unwrap_or_default(),
            what: What::parse(row.try_get("what")?).unwrap_or(What::Entry),
            data: row.try_get("data")?,
            before: row.try_get("before")?,
        })
    };
    rows.iter().map(read).collect()
}
