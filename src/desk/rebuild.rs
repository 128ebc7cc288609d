//! The projections, thrown away and reckoned anew from the book by the very code that keeps them.
use std::{collections::BTreeSet, sync::Arc};

use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

use super::{
    body::Body,
    cabinet::Cabinet,
    cores::on_every_core,
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
const PAGES_AT_ONCE: i64 = 512;

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
    sqlx::raw_sql(AssertSqlSafe(statements(false))).execute(&mut *tx).await?;
    let (world, frontier) = refill(&mut tx).await?;
    // Sorted once, instead of a page of each index changed for every row.
    sqlx::raw_sql(AssertSqlSafe(statements(true))).execute(&mut *tx).await?;
    if let Some(world) = world {
        judge_all(&mut tx, world, &frontier).await?;
    }
    sqlx::query(
        "INSERT INTO shape (one, hash) VALUES (1, ?) ON CONFLICT (one) DO UPDATE SET hash = excluded.hash",
    )
    .bind(shape())
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(frontier.size())
}

/// The statements of the text that make indexes for readers, or all the others.
fn statements(indexes: bool) -> String {
    let is_index = |statement: &&str| {
        let code = statement.lines().find(|line| !line.trim().is_empty() && !line.starts_with("--"));
        code.is_some_and(|code| code.starts_with("CREATE INDEX")) == indexes
    };
    PROJECTIONS.split_inclusive(";\n").filter(is_index).collect()
}

/// Works every page into empty projections, and judges nothing yet.
async fn refill(db: &mut SqliteConnection) -> Result<(Option<Arc<World>>, Frontier), sqlx::Error> {
    let (mut world, mut frontier): (Option<Arc<World>>, _) = (None, Frontier::default());
    let (mut cabinet, mut changed_units) = (Cabinet::default(), BTreeSet::new());
    loop {
        let from = i64::try_from(frontier.size()).unwrap_or(i64::MAX);
        let pages = read_pages(&mut *db, from, &mut world).await?;
        let Some(known) = world.take() else {
            return if pages.is_empty() {
                Ok((None, frontier))
            } else {
                Err(damaged_page(0, "it does not open a book"))
            };
        };
        let mut draft = Draft::on(known, frontier);
        (draft.cabinet, draft.changed_units, draft.unjudged) = (cabinet, changed_units, true);
        draft.load_for(db, &pages.iter().map(|(_, _, page)| page).collect::<Vec<_>>()).await?;
        for (leaf, heading, page) in &pages {
            draft.refile(*leaf, heading, &page.body);
        }
        draft.check_loaded()?;
        draft.rows.script()?.run(&mut *db).await?;
        draft.put_back();
        if draft.cabinet.is_full() || pages.is_empty() {
            draft.write_unjudged(db).await?;
        }
        (cabinet, changed_units) = (draft.cabinet, draft.changed_units);
        (world, frontier) = (Some(draft.world), draft.frontier);
        if pages.is_empty() {
            return Ok((world, frontier));
        }
    }
}

/// A page in the book and what was read in it.
type Reading = (book::Hash, Heading, Page);

/// Some pages, read; `world` begins with page 0.
async fn read_pages(
    db: &mut SqliteConnection,
    from: i64,
    world: &mut Option<Arc<World>>,
) -> Result<Vec<Reading>, sqlx::Error> {
    let stored = book::store::pages_from(db, from, PAGES_AT_ONCE).await?;
    let mut pages: Vec<_> = stored.iter().map(|page| (page, None)).collect();
    on_every_core(&mut pages, |some| some.iter_mut().for_each(|(page, read)| *read = Some(reading(page))));
    let pages: Vec<Reading> = pages.into_iter().filter_map(|(_, read)| read).collect::<Result<_, _>>()?;
    if let (None, Some((_, _, Page { body: Body::BookOpened(opened), .. }))) = (&world, pages.first()) {
        *world = Some(Arc::new(World::new(opened).map_err(|why| damaged_page(0, &why))?));
    }
    Ok(pages)
}

fn reading(page: &book::store::StoredPage) -> Result<Reading, sqlx::Error> {
    let (heading, body) = read_page(page.seq, &page.blob).map_err(|why| damaged_page(page.seq, &why))?;
    Ok((tree::leaf_hash(page.blob.as_bytes()), heading, as_page(body)))
}

async fn judge_all(
    db: &mut SqliteConnection,
    world: Arc<World>,
    frontier: &Frontier,
) -> Result<(), sqlx::Error> {
    let mut draft = Draft::on(world, frontier.clone());
    draft.again.everything = true;
    draft.judge_again(db).await?;
    draft.head()?.run(db).await
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
