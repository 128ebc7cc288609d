//! The projections, thrown away and reckoned anew from the book by the very code that keeps them.
use std::sync::Arc;

use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

use super::{
    body::Body,
    draft::{Draft, Page},
    world::World,
};
use crate::{
    book::{self, Envelope, Frontier, Heading, tree},
    db::OpenError,
};

/// The projections' tables, as text: changing it rebuilds every book at its next start.
pub const PROJECTIONS: &str = include_str!("projections.sql");

/// Pages worked in at once.
const PAGES_AT_ONCE: i64 = 256;

/// The names of the projections' tables, in the order of the text.
pub fn tables() -> impl Iterator<Item = &'static str> {
    PROJECTIONS.split("CREATE TABLE ").skip(1).filter_map(|rest| rest.split([' ', '(']).next())
}

fn shape() -> String {
    hex::encode(Sha256::digest(PROJECTIONS.as_bytes()))
}

/// Rebuilds when the file's projections were made from another text than this program's.
pub async fn if_shape_changed(db: &mut SqliteConnection) -> Result<(), OpenError> {
    sqlx::query("CREATE TABLE IF NOT EXISTS shape (one INTEGER PRIMARY KEY CHECK (one = 1), hash TEXT NOT NULL) STRICT")
        .execute(&mut *db)
        .await?;
    let kept: Option<String> = sqlx::query_scalar("SELECT hash FROM shape").fetch_optional(&mut *db).await?;
    if kept.as_deref() != Some(shape().as_str()) {
        rebuild(db).await?;
    }
    Ok(())
}

/// Rebuilds everything in one transaction; returns how many pages were worked in.
pub async fn rebuild(db: &mut SqliteConnection) -> Result<u64, sqlx::Error> {
    let mut tx = db.begin_with("BEGIN IMMEDIATE").await?;
    for table in tables() {
        sqlx::raw_sql(AssertSqlSafe(format!("DROP TABLE IF EXISTS {table}"))).execute(&mut *tx).await?;
    }
    sqlx::raw_sql(PROJECTIONS).execute(&mut *tx).await?;
    let pages = refill(&mut tx).await?;
    sqlx::query(
        "INSERT INTO shape (one, hash) VALUES (1, ?) ON CONFLICT (one) DO UPDATE SET hash = excluded.hash",
    )
    .bind(shape())
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(pages)
}

/// Works every page into empty projections, then judges once.
async fn refill(db: &mut SqliteConnection) -> Result<u64, sqlx::Error> {
    let mut frontier = Frontier::default();
    let mut world: Option<Arc<World>> = None;
    loop {
        let from = i64::try_from(frontier.size()).unwrap_or(i64::MAX);
        let stored = book::store::pages_from(&mut *db, from, PAGES_AT_ONCE).await?;
        if stored.is_empty() {
            break;
        }
        let mut pages = Vec::with_capacity(stored.len());
        for page in &stored {
            let (heading, body) =
                read_page(page.seq, &page.blob).map_err(|why| damaged_page(page.seq, &why))?;
            if world.is_none()
                && let Body::BookOpened(opened) = &body
            {
                world = Some(Arc::new(World::new(opened).map_err(|why| damaged_page(0, &why))?));
            }
            pages.push((tree::leaf_hash(page.blob.as_bytes()), heading, as_page(body)));
        }
        let Some(known) = world.take() else { return Err(damaged_page(0, "it does not open a book")) };
        let mut draft = Draft::on(known, frontier);
        draft.load_for(db, &pages.iter().map(|(_, _, page)| page).collect::<Vec<_>>()).await?;
        for (leaf, heading, page) in &pages {
            draft.refile(*leaf, heading, &page.body);
        }
        draft.rows.script()?.run(db).await?;
        draft.keep_unjudged(db).await?;
        (world, frontier) = (Some(draft.world), draft.frontier);
    }
    let Some(world) = world else { return Ok(0) };
    let mut draft = Draft::on(world, frontier);
    draft.again.everything = true;
    draft.judge_again(db).await?;
    draft.head()?.run(db).await?;
    Ok(draft.frontier.size())
}

fn as_page(body: Body) -> Page {
    Page { author: None, channel: book::Channel::Console, on_behalf_of: None, happened_at: None, body }
}

fn damaged_page(seq: i64, why: &str) -> sqlx::Error {
    sqlx::Error::Decode(format!("page {seq} is not one that this program can work in: {why}").into())
}

/// A stored page, read; the error says what does not fit.
pub fn read_page(seq: i64, blob: &str) -> Result<(Heading, Body), String> {
    let envelope = Envelope::read(blob).map_err(|why| why.to_string())?;
    if envelope.v > book::page::VERSION {
        return Err(format!("it was written by a newer program (version {})", envelope.v));
    }
    if i64::try_from(envelope.seq) != Ok(seq) {
        return Err(format!("it says of itself that it is page {}", envelope.seq));
    }
    Ok((envelope.heading(), Body::read(&envelope.kind, envelope.body)?))
}
