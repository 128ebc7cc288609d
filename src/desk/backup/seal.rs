//! What a back-up says of itself: where its book ends, when it was taken, and a digest of everything beside the pages.
use sha2::{Digest, Sha256};
use sqlx::{Row, SqliteConnection};

use super::End;
use crate::{base::Instant, book::Hash, desk::verify};

/// One row, in the back-up only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    pub end: End,
    pub taken_at: Instant,
    /// Over all of the above, and every table but the pages, which the tree is over.
    pub seal: String,
}

pub async fn write(db: &mut SqliteConnection, end: End, taken_at: Instant) -> Result<Label, sqlx::Error> {
    sqlx::query(
        "CREATE TABLE backup_label (one INTEGER PRIMARY KEY CHECK (one = 1), size INTEGER NOT NULL, root BLOB NOT NULL,
            taken_at INTEGER NOT NULL, seal TEXT NOT NULL) STRICT",
    )
    .execute(&mut *db)
    .await?;
    let label = Label { end, taken_at, seal: seal(db, end, taken_at).await? };
    sqlx::query("INSERT INTO backup_label (one, size, root, taken_at, seal) VALUES (1, ?, ?, ?, ?)")
        .bind(i64::try_from(end.size).unwrap_or(i64::MAX))
        .bind(end.root.0.as_slice())
        .bind(taken_at.0)
        .bind(&label.seal)
        .execute(db)
        .await?;
    Ok(label)
}

/// `None`: there is none, or none that can be read as one.
pub async fn read(db: &mut SqliteConnection) -> Result<Option<Label>, sqlx::Error> {
    let row = sqlx::query("SELECT size, root, taken_at, seal FROM backup_label").fetch_one(db).await?;
    let (size, root) = (row.try_get::<i64, _>(0)?, row.try_get::<Vec<u8>, _>(1)?);
    let (taken_at, seal) = (Instant(row.try_get(2)?), row.try_get(3)?);
    let end = u64::try_from(size).ok().zip(Hash::from_slice(&root)).map(|(size, root)| End { size, root });
    Ok(end.map(|end| Label { end, taken_at, seal }))
}

pub async fn drop_label(db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    sqlx::query("DROP TABLE backup_label").execute(db).await.map(drop)
}

/// The digest of every table but the pages and the label, and of how all of them are made.
pub async fn seal(db: &mut SqliteConnection, end: End, taken_at: Instant) -> Result<String, sqlx::Error> {
    let names = "SELECT name FROM main.sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
        AND name NOT IN ('page', 'backup_label') ORDER BY name";
    let mut tables: Vec<String> = sqlx::query_scalar(names).fetch_all(&mut *db).await?;
    tables.push("sqlite_schema".to_owned());
    let mut sha = Sha256::new();
    sha.update(format!("{} {} {}\n", end.size, end.root, taken_at.0));
    for table in tables {
        sha.update(format!("{table} {}\n", verify::digest(db, &table).await?));
    }
    Ok(hex::encode(sha.finalize()))
}
