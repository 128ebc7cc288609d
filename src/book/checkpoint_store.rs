//! Checkpoints in the file, and the public keys to check them with. The secret key is never here.
use sqlx::{Row, SqliteConnection};

use crate::base::{Instant, SignIn};

type Sql<T> = Result<T, sqlx::Error>;

/// One that was signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    pub size: u64,
    /// The whole signed note.
    pub note: String,
    pub made_at: Instant,
    /// `None`: by the clock, or from the console.
    pub by: Option<SignIn>,
}

/// Keeps a checkpoint and its key, unless they are there.
pub async fn keep(db: &mut SqliteConnection, kept: &Kept, vkey: &str) -> Sql<()> {
    sqlx::query("INSERT INTO checkpoint_key (vkey, made_at) VALUES (?, ?) ON CONFLICT DO NOTHING")
        .bind(vkey)
        .bind(kept.made_at.0)
        .execute(&mut *db)
        .await?;
    sqlx::query(
        "INSERT INTO checkpoint (size, note, made_at, by) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(i64::try_from(kept.size).unwrap_or(i64::MAX))
    .bind(&kept.note)
    .bind(kept.made_at.0)
    .bind(kept.by.as_ref().map(SignIn::as_str))
    .execute(db)
    .await?;
    Ok(())
}

const COLUMNS: &str = "SELECT size, note, made_at, by FROM checkpoint";

/// The latest first, of the largest book first.
pub async fn all(db: &mut SqliteConnection, limit: i64, after: i64) -> Sql<Vec<Kept>> {
    let sql = format!("{COLUMNS} ORDER BY size DESC, made_at DESC, note LIMIT ? OFFSET ?");
    let rows = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(limit).bind(after).fetch_all(db).await?;
    rows.iter().map(kept).collect()
}

pub async fn count(db: &mut SqliteConnection) -> Sql<i64> {
    sqlx::query_scalar("SELECT count(*) FROM checkpoint").fetch_one(db).await
}

pub async fn of_size(db: &mut SqliteConnection, size: i64) -> Sql<Option<Kept>> {
    let sql = format!("{COLUMNS} WHERE size = ? ORDER BY made_at DESC, note LIMIT 1");
    let row = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(size).fetch_optional(db).await?;
    row.as_ref().map(kept).transpose()
}

/// The first ones that were made of a book larger than `size`, in their order.
pub async fn first_beyond(db: &mut SqliteConnection, size: i64, limit: i64) -> Sql<Vec<Kept>> {
    let sql = format!("{COLUMNS} WHERE size > ? ORDER BY size, made_at, note LIMIT ?");
    let rows = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(size).bind(limit).fetch_all(db).await?;
    rows.iter().map(kept).collect()
}

/// Public keys, the oldest first.
pub async fn keys(db: &mut SqliteConnection) -> Sql<Vec<String>> {
    sqlx::query_scalar("SELECT vkey FROM checkpoint_key ORDER BY made_at, vkey").fetch_all(db).await
}

fn kept(row: &sqlx::sqlite::SqliteRow) -> Sql<Kept> {
    Ok(Kept {
        size: u64::try_from(row.try_get::<i64, _>("size")?).unwrap_or(0),
        note: row.try_get("note")?,
        made_at: Instant(row.try_get("made_at")?),
        by: row.try_get::<Option<String>, _>("by")?.map(SignIn::from),
    })
}

/// What verifying last found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    pub asked_at: Instant,
    pub asked_by: SignIn,
    pub ended_at: Instant,
    pub clean: bool,
    /// A line for each thing found; of a clean book its size and root.
    pub says: String,
}

pub async fn keep_check(db: &mut SqliteConnection, checked: &Checked) -> Sql<()> {
    sqlx::query("INSERT OR REPLACE INTO book_check (one, asked_at, asked_by, ended_at, clean, says) VALUES (1, ?, ?, ?, ?, ?)")
        .bind(checked.asked_at.0)
        .bind(checked.asked_by.as_str())
        .bind(checked.ended_at.0)
        .bind(checked.clean)
        .bind(&checked.says)
        .execute(db)
        .await?;
    Ok(())
}

pub async fn last_check(db: &mut SqliteConnection) -> Sql<Option<Checked>> {
    let sql = "SELECT asked_at, asked_by, ended_at, clean, says FROM book_check";
    let Some(row) = sqlx::query(sql).fetch_optional(db).await? else { return Ok(None) };
    Ok(Some(Checked {
        asked_at: Instant(row.try_get("asked_at")?),
        asked_by: SignIn::from(row.try_get::<String, _>("asked_by")?),
        ended_at: Instant(row.try_get("ended_at")?),
        clean: row.try_get("clean")?,
        says: row.try_get("says")?,
    }))
}
