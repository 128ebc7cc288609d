//! The copying: pages in small portions, each a short read of its own, so that the book's log can be folded in meanwhile.
use std::{path::Path, time::Duration};

use sqlx::{AssertSqlSafe, Connection, Row, SqliteConnection};

use super::{
    End, LEFT_OUT, Pace,
    seal::{self, Label},
};
use crate::{
    base::Instant,
    book::Hash,
    db,
    desk::{checkpoint, world},
};

/// Pages in a portion: some megabytes, on the disk before the next is read.
const PORTION: i64 = 1_024;

/// Why a copy was not made.
pub enum Why {
    /// The book's tables are not this program's.
    OtherProgram,
    /// It has no end: nothing was ever begun in it.
    NoBook,
    /// What its first page says cannot be read.
    FirstPage(String),
    Opening(db::OpenError),
    Sql(sqlx::Error),
}
impl From<sqlx::Error> for Why {
    fn from(why: sqlx::Error) -> Self {
        Self::Sql(why)
    }
}
impl From<db::OpenError> for Why {
    fn from(why: db::OpenError) -> Self {
        Self::Opening(why)
    }
}

/// What was copied.
pub struct Copied {
    pub label: Label,
    /// Of the book's first page, for the back-up's name.
    pub print: String,
    /// What the book is called in its checkpoints.
    pub origin: String,
}

/// Copies the book at `from` into the empty file at `to`.
pub async fn copy(from: &Path, to: &Path, now: Instant, pace: Pace) -> Result<Copied, Why> {
    let mut db = db::open::copy(to).await?;
    db::migrate::bring_up(&mut db, to).await?;
    // Read only: no statement here changes anything in `book`.
    sqlx::query("ATTACH DATABASE ? AS book").bind(from.display().to_string()).execute(&mut db).await?;
    if !same_tables(&mut db).await? {
        return Err(Why::OtherProgram);
    }
    let copied = portions(&mut db, pace).await?;
    let end = the_rest(&mut db, copied).await?.ok_or(Why::NoBook)?;
    sqlx::raw_sql("DETACH DATABASE book").execute(&mut db).await?;
    let print = print_of(&mut db).await?;
    let opened = world::opened(&mut db).await.map_err(|why| Why::FirstPage(why.to_string()))?;
    let label = seal::write(&mut db, end, now).await?;
    db.close().await?;
    Ok(Copied { label, print, origin: checkpoint::origin(opened.book_id) })
}

/// The print of the first page of the book that is open on `db`.
pub async fn print_of(db: &mut SqliteConnection) -> Result<String, sqlx::Error> {
    let first: Vec<u8> = sqlx::query_scalar("SELECT leaf FROM main.page WHERE seq = 0").fetch_one(db).await?;
    Ok(print(&first))
}

/// Enough of a first page's hash to tell one book from another.
fn print(leaf: &[u8]) -> String {
    hex::encode(leaf).chars().take(8).collect()
}

async fn same_tables(db: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    let sql =
        "SELECT (SELECT count(*) FROM main._sqlx_migrations) = (SELECT count(*) FROM book._sqlx_migrations)
        AND NOT EXISTS (SELECT version, checksum FROM main._sqlx_migrations
                        EXCEPT SELECT version, checksum FROM book._sqlx_migrations)";
    sqlx::query_scalar(sql).fetch_one(db).await
}

/// All pages but the last few; how many.
async fn portions(db: &mut SqliteConnection, pace: Pace) -> Result<i64, sqlx::Error> {
    let mut copied = 0;
    loop {
        let size: Option<i64> =
            sqlx::query_scalar("SELECT size FROM book.head").fetch_optional(&mut *db).await?;
        if copied + PORTION >= size.unwrap_or(0) {
            return Ok(copied);
        }
        let begun = std::time::Instant::now();
        pages(db, copied, copied + PORTION).await?;
        copied += PORTION;
        pace.rest(begun.elapsed()).await;
    }
}

async fn pages(db: &mut SqliteConnection, from: i64, to: i64) -> Result<(), sqlx::Error> {
    let sql = "INSERT INTO main.page (seq, blob, leaf)
        SELECT seq, blob, leaf FROM book.page WHERE seq >= ? AND seq < ? ORDER BY seq";
    sqlx::query(sql).bind(from).bind(to).execute(db).await.map(drop)
}

/// The last pages, what stands beside them and where the book ends, all of one moment.
async fn the_rest(db: &mut SqliteConnection, copied: i64) -> Result<Option<End>, sqlx::Error> {
    let mut tx = db.begin().await?;
    pages(&mut tx, copied, i64::MAX).await?;
    let names = "SELECT name FROM main.sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
        AND name NOT IN ('page', '_sqlx_migrations') ORDER BY name";
    let mut tables: Vec<String> = sqlx::query_scalar(names).fetch_all(&mut *tx).await?;
    tables.retain(|table| !LEFT_OUT.contains(&table.as_str()));
    for table in &tables {
        let sql = format!("INSERT INTO main.{table} SELECT * FROM book.{table}");
        sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await?;
    }
    let head = sqlx::query("SELECT size, root FROM book.head").fetch_optional(&mut *tx).await?;
    tx.commit().await?;
    let Some(head) = head else { return Ok(None) };
    let (size, root) = (head.try_get::<i64, _>(0)?, head.try_get::<Vec<u8>, _>(1)?);
    Ok(u64::try_from(size).ok().zip(Hash::from_slice(&root)).map(|(size, root)| End { size, root }))
}

impl Pace {
    async fn rest(self, after: Duration) {
        if self == Self::BesideFiling {
            // As long as it worked: whoever files has the disk and the core for half of the time at least.
            tokio::time::sleep(after).await;
        }
    }
}
