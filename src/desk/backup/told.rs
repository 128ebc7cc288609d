//! What became of back-ups, kept in the book's file beside the book: the last good one, the last that failed, and where this
//! file was restored from.
use std::path::Path;

use sqlx::{Connection, Row, SqliteConnection};

use super::{NotDone, Taken};
use crate::{
    base::Instant,
    db::{self, Opening},
};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    pub at: Instant,
    pub took_ms: i64,
    pub file: String,
    pub bytes: u64,
    pub size: u64,
    pub root: String,
    /// Of a failure: what to do. Of a good one: what somebody has to look at.
    pub says: String,
}

impl Told {
    /// Of nothing but a moment.
    pub fn at(at: Instant) -> Self {
        let none = String::new;
        Self { at, took_ms: 0, file: none(), bytes: 0, size: 0, root: none(), says: none() }
    }
}

/// What is kept, for the page.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    pub good: Option<Told>,
    pub failed: Option<Told>,
    pub restored: Option<Told>,
}

/// An outcome as it is kept. `at` is when it ended.
pub fn of(outcome: &Result<Taken, NotDone>, at: Instant, begun: Instant) -> (&'static str, Told) {
    let took_ms = at.since(begun) / 1_000;
    match outcome {
        Ok(taken) => (
            "good",
            Told {
                at,
                took_ms,
                file: taken.path.display().to_string(),
                bytes: taken.bytes,
                size: taken.end.size,
                root: taken.end.root.to_string(),
                says: taken.says.join(" "),
            },
        ),
        Err(why) => ("failed", Told { took_ms, says: why.0.clone(), ..Told::at(at) }),
    }
}

pub async fn keep(db: &mut SqliteConnection, what: &str, told: &Told) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT OR REPLACE INTO backup_told (what, at, took_ms, file, bytes, size, root, says) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(what)
    .bind(told.at.0)
    .bind(told.took_ms)
    .bind(&told.file)
    .bind(i64::try_from(told.bytes).unwrap_or(i64::MAX))
    .bind(i64::try_from(told.size).unwrap_or(i64::MAX))
    .bind(&told.root)
    .bind(&told.says)
    .execute(db)
    .await
    .map(drop)
}

/// The same from beside a server, which may be writing: waits its turn.
pub async fn keep_in(path: &Path, what: &str, told: &Told) -> Result<(), db::OpenError> {
    let mut db = db::open::writer(path, &Opening::default()).await?;
    keep(&mut db, what, told).await?;
    db.close().await?;
    Ok(())
}

pub async fn kept(db: &mut SqliteConnection) -> Result<Kept, sqlx::Error> {
    let sql = "SELECT what, at, took_ms, file, bytes, size, root, says FROM backup_told";
    let mut kept = Kept::default();
    for row in sqlx::query(sql).fetch_all(db).await? {
        let told = Told {
            at: Instant(row.try_get(1)?),
            took_ms: row.try_get(2)?,
            file: row.try_get(3)?,
            bytes: u64::try_from(row.try_get::<i64, _>(4)?).unwrap_or(0),
            size: u64::try_from(row.try_get::<i64, _>(5)?).unwrap_or(0),
            root: row.try_get(6)?,
            says: row.try_get(7)?,
        };
        match row.try_get(0)? {
            "good" => kept.good = Some(told),
            "failed" => kept.failed = Some(told),
            _ => kept.restored = Some(told),
        }
    }
    Ok(kept)
}
