//! Measurements in the file, and the shop's own tables.
use sqlx::{QueryBuilder, Row, Sqlite, SqliteConnection};

use super::{Judged, Measured, Verdict, breaker};
use crate::base::{Instant, SignIn, UnitName};

type Sql<T> = Result<T, sqlx::Error>;

/// A measurement as the book has it.
#[derive(Clone, Debug)]
pub struct Kept {
    pub seq: i64,
    pub id: uuid::Uuid,
    pub unit: UnitName,
    pub repair: Option<uuid::Uuid>,
    pub at: Instant,
    pub by: SignIn,
    pub done_by: Option<String>,
    pub measured: Measured,
    pub judged: Judged,
    /// What was odd, was asked about, and was signed all the same.
    pub confirmed: Vec<String>,
}

/// Which are wanted; nothing set is all.
#[derive(Clone, Debug, Default)]
pub struct Wanted<'a> {
    pub unit: Option<&'a UnitName>,
    pub repair: Option<uuid::Uuid>,
    pub kind: Option<super::Kind>,
    /// A battery by its name, a lock by its number.
    pub subject: Option<&'a str>,
    pub id: Option<uuid::Uuid>,
    pub since: Option<Instant>,
    pub limit: Option<i64>,
}

/// The latest taken first.
pub async fn taken(db: &mut SqliteConnection, wanted: &Wanted<'_>) -> Sql<Vec<Kept>> {
    let mut query: QueryBuilder<Sqlite> =
        QueryBuilder::new("SELECT seq, id, unit, repair, taken_at, by, data FROM measurement WHERE true");
    if let Some(unit) = wanted.unit {
        query.push(" AND unit = ").push_bind(unit.as_str().to_owned());
    }
    if let Some(repair) = wanted.repair {
        query.push(" AND repair = ").push_bind(repair.to_string());
    }
    if let Some(kind) = wanted.kind {
        query.push(" AND kind = ").push_bind(kind.as_str());
    }
    if let Some(subject) = wanted.subject {
        query.push(" AND subject = ").push_bind(subject.to_owned());
    }
    if let Some(id) = wanted.id {
        query.push(" AND id = ").push_bind(id.to_string());
    }
    if let Some(since) = wanted.since {
        query.push(" AND taken_at >= ").push_bind(since.0);
    }
    query.push(" ORDER BY taken_at DESC, seq DESC LIMIT ").push_bind(wanted.limit.unwrap_or(-1));
    query.build().fetch_all(db).await?.iter().map(kept).collect()
}

#[derive(serde::Deserialize)]
struct Data {
    done_by: Option<String>,
    measured: Measured,
    judged: Judged,
    #[serde(default)]
    confirmed: Vec<String>,
}

fn kept(row: &sqlx::sqlite::SqliteRow) -> Sql<Kept> {
    let broken = |why: serde_json::Error| sqlx::Error::Decode(Box::new(why));
    let id = |text: &str| uuid::Uuid::parse_str(text).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    let data: Data = serde_json::from_str(row.try_get("data")?).map_err(broken)?;
    Ok(Kept {
        seq: row.try_get("seq")?,
        id: id(row.try_get("id")?)?,
        unit: UnitName::from(row.try_get::<&str, _>("unit")?),
        repair: row.try_get::<Option<&str>, _>("repair")?.map(id).transpose()?,
        at: Instant(row.try_get("taken_at")?),
        by: SignIn::from(row.try_get::<&str, _>("by")?),
        done_by: data.done_by,
        measured: data.measured,
        judged: data.judged,
        confirmed: data.confirmed,
    })
}

/// Since when a ground-relay test is asked for: a cutout was closed, or the relay repaired, and no test passed since.
pub async fn relay_test_asked(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Option<Instant>> {
    let sql = "SELECT max(at) FROM (SELECT closed_at AS at FROM bypass WHERE unit = ?1
            UNION ALL SELECT closed_at FROM repair WHERE unit = ?1 AND (device = 'ground_relay'
                OR device IN (SELECT device FROM bypass WHERE unit = ?1)))
        WHERE at > coalesce((SELECT max(taken_at) FROM measurement WHERE unit = ?1 AND kind = 'ground_relay' AND verdict = ?2), 0)";
    let at: Option<i64> =
        sqlx::query_scalar(sql).bind(unit.as_str()).bind(Verdict::Pass.as_str()).fetch_one(db).await?;
    Ok(at.map(Instant))
}

/// Locks and tags that were applied to a unit and of which no removal is written: their number, and who applied them.
pub async fn open_locks(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<(String, String)>> {
    let sql = "SELECT subject, data ->> '$.measured.applied_by' AS who, max(seq) FROM measurement WHERE unit = ?1 AND kind = 'lock_out'
        AND data ->> '$.measured.step' = 'applied' AND NOT EXISTS (SELECT 1 FROM measurement r WHERE r.unit = ?1
            AND r.kind = 'lock_out' AND r.subject = measurement.subject AND r.seq > measurement.seq
            AND r.data ->> '$.measured.step' = 'removed') GROUP BY subject ORDER BY subject";
    let rows = sqlx::query(sql).bind(unit.as_str()).fetch_all(db).await?;
    rows.iter().map(|row| Ok((row.try_get("subject")?, row.try_get("who")?))).collect()
}

/// A table the shop keeps by name.
pub async fn table(db: &mut SqliteConnection, name: &str) -> Sql<Option<String>> {
    sqlx::query_scalar("SELECT data FROM shop_table WHERE name = ?").bind(name).fetch_optional(db).await
}

/// The names and contents of the tables whose names begin so.
pub async fn tables(db: &mut SqliteConnection, begin: &str) -> Sql<Vec<(String, String)>> {
    let sql = "SELECT name, data FROM shop_table WHERE substr(name, 1, ?1) = ?2 ORDER BY name";
    let length = i64::try_from(begin.chars().count()).unwrap_or(0);
    let rows = sqlx::query(sql).bind(length).bind(begin).fetch_all(db).await?;
    rows.iter().map(|row| Ok((row.try_get("name")?, row.try_get("data")?))).collect()
}

/// The railway's own table for breakers at 300 %: its rows, and where they are from.
pub async fn breaker_table(db: &mut SqliteConnection) -> Sql<Option<(Vec<breaker::Row>, String)>> {
    #[derive(serde::Deserialize)]
    struct Data {
        rows: Vec<breaker::Row>,
        from: String,
    }
    let Some(data) = table(db, "breaker").await? else { return Ok(None) };
    let data: Data = serde_json::from_str(&data).map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
    Ok(Some((data.rows, data.from)))
}
