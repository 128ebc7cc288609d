//! Whether the book is what was filed, and the projections what the book says. Reads only.
use std::{collections::BTreeSet, path::Path};

use sqlx::{AssertSqlSafe, Connection, Row, SqliteConnection};

use super::{
    checkpoint,
    held::{Book, Held},
    rebuild, world,
};
use crate::{
    book::{
        self, Frontier, Hash, Head,
        checkpoint_store::{self, Kept},
        note::PublicKey,
        proof::{self, Nodes},
        store::{Rehashed, SetBack},
    },
    db::{self, OpenError, Opening, scratch::Scratch},
};

/// How the file for the rebuild is opened.
const THROWAWAY: Opening = Opening { max_pages: None, throwaway: true };

/// What verifying found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Everything agrees; tree size and root are for holding against a receipt kept elsewhere.
    Clean {
        size: u64,
        root: Hash,
        /// What is to be said besides: checkpoints that it goes on from, a clock that was set back.
        notes: Vec<String>,
    },
    /// What is wrong, a sentence each.
    Flawed(Vec<String>),
}

/// What was kept elsewhere, to hold a book against.
#[derive(Clone, Debug, Default)]
pub struct Elsewhere {
    pub checkpoints: Vec<Held>,
    /// Public keys that are the book's, whatever its own file says.
    pub keys: Vec<PublicKey>,
}

/// Verifies the book at `path`: pages, tree, tables' shape, the checkpoints in the file, and every projection against a
/// fresh rebuild.
pub async fn verify(path: &Path) -> Result<Verdict, OpenError> {
    verify_against(path, &Elsewhere::default()).await
}

/// The same, and against checkpoints that were kept elsewhere.
pub async fn verify_against(path: &Path, elsewhere: &Elsewhere) -> Result<Verdict, OpenError> {
    if !path.exists() {
        return Err(OpenError::NoSuchFile(path.display().to_string()));
    }
    let readers = db::open::readers(path, 1).await?;
    let mut connection = readers.acquire().await?;
    let scratch = Scratch::new("verify");
    let outcome = examine(&mut connection, scratch.path(), elsewhere).await;
    drop(connection);
    readers.close().await;
    Ok(outcome.unwrap_or_else(|why| Verdict::Flawed(vec![format!("the file cannot be read through: {why}")])))
}

/// Everything is looked at whatever else is wrong: one flaw must not hide the next.
async fn examine(
    db: &mut SqliteConnection,
    scratch: &Path,
    elsewhere: &Elsewhere,
) -> Result<Verdict, sqlx::Error> {
    let mut flaws = integrity(db).await.unwrap_or_else(|why| vec![unreadable("the file", &why)]);
    let fresh = fresh_book(scratch).await.map_err(|why| sqlx::Error::Decode(why.to_string().into()))?;
    fresh.close().await?;
    sqlx::query("ATTACH DATABASE ? AS fresh").bind(scratch.display().to_string()).execute(&mut *db).await?;
    flaws.extend(shape(db).await.unwrap_or_else(|why| vec![unreadable("the list of tables", &why)]));
    sqlx::raw_sql("DETACH DATABASE fresh").execute(&mut *db).await?;

    // One snapshot for all of it: a server may go on writing meanwhile.
    let mut tx = db.begin().await?;
    let all = in_file(&mut tx, elsewhere).await;
    let sizes: BTreeSet<u64> = all.checkpoints.iter().filter_map(Held::size).collect();
    let pages = book::store::rehash(&mut tx, &sizes).await;
    let (pages_whole, frontier) = (pages.flaws.is_empty(), &pages.frontier);
    flaws.extend(pages.flaws.iter().map(ToString::to_string));
    flaws.extend(head(&mut tx, frontier).await.unwrap_or_else(|why| Some(unreadable("head", &why))));
    let (breaks, mut notes) = hold(&mut tx, &all, &pages).await?;
    flaws.extend(breaks);
    if pages_whole {
        flaws.extend(projections(&mut tx, scratch).await?);
    }
    tx.rollback().await?;
    if flaws.is_empty() {
        notes.extend(clock(&pages));
        Ok(Verdict::Clean { size: frontier.size(), root: frontier.root(), notes })
    } else {
        Ok(Verdict::Flawed(flaws))
    }
}

/// With what the file itself keeps: whoever rewrote it may have forgotten that.
async fn in_file(db: &mut SqliteConnection, elsewhere: &Elsewhere) -> Elsewhere {
    let mut all = elsewhere.clone();
    // Where these tables cannot be read, their shape is a flaw already.
    let kept = checkpoint_store::all(db, -1, 0).await.unwrap_or_default();
    let named = |kept: Kept| Held {
        named: format!("the checkpoint of {} in the file itself", kept.made_at),
        note: kept.note,
    };
    all.checkpoints.extend(kept.into_iter().map(named));
    let keys = checkpoint_store::keys(db).await.unwrap_or_default();
    all.keys.extend(keys.iter().filter_map(|vkey| PublicKey::parse(vkey).ok()));
    all
}

/// Holds checkpoints against the pages: the breaks, and what each of those kept elsewhere proves.
async fn hold(
    db: &mut SqliteConnection,
    all: &Elsewhere,
    pages: &Rehashed,
) -> Result<(Vec<String>, Vec<String>), sqlx::Error> {
    let origin = match world::opened(&mut *db).await {
        Ok(opened) => checkpoint::origin(opened.book_id),
        // Without its first page the book has no name of its own, and its pages are flawed already.
        Err(_) => String::new(),
    };
    let now = Head { size: pages.frontier.size(), root: pages.frontier.root() };
    let book = Book { origin: &origin, keys: &all.keys, head: now, roots: &pages.roots };
    let said = book.hold(&all.checkpoints);
    let mut notes = Vec::new();
    for (named, then) in said.agree.iter().filter(|(named, _)| !named.ends_with("in the file itself")) {
        let path = proof::consistency(then.size, now.size);
        let mut nodes = Nodes::default();
        nodes.want(&path);
        book::store::walk_leaves(&mut *db, now.size, |leaf| nodes.push(leaf)).await?;
        let path = nodes.path(&path).unwrap_or_default();
        if !proof::goes_on(*then, now, &path) {
            notes.push(format!("{named}: the roots agree, and yet no path leads from one to the other"));
            continue;
        }
        notes.push(format!(
            "{named}: this book goes on from it. Its {} pages are the first {} of these {}, unchanged; so says a consistency proof of {} hashes",
            then.size, then.size, now.size, path.len()
        ));
    }
    Ok((said.breaks, notes))
}

/// A clock that ran behind what the book held changes no page, and is no flaw; a reader of times has to know it.
fn clock(pages: &Rehashed) -> Option<String> {
    let each =
        |back: &SetBack| format!("page {} at {}, after {}", back.seq, back.recorded_at, back.before_it);
    let told: Vec<String> = pages.set_back.iter().map(each).collect();
    let n = pages.set_back_in_all;
    (n > 0).then(|| {
        format!(
            "the clock of the machine was set back, or had been ahead: {} recorded earlier than the page in front of it ({}{}). The order of the pages is that in which they were written",
            crate::base::text::count(n, "page is", "pages are"),
            told.join("; "),
            if n > told.len() as u64 { "; and more" } else { "" }
        )
    })
}

fn unreadable(what: &str, why: &sqlx::Error) -> String {
    format!("{what}: this cannot be read through ({why})")
}

async fn integrity(db: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    let says: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check(20)").fetch_all(db).await?;
    Ok(says
        .into_iter()
        .filter(|line| line != "ok")
        .map(|line| format!("the file is damaged: {line}"))
        .collect())
}

/// A new book without pages, with this program's tables.
async fn fresh_book(at: &Path) -> Result<SqliteConnection, OpenError> {
    db::open::create(at).await?;
    let mut fresh = db::open::writer(at, &THROWAWAY).await?;
    db::migrate::migrate(&mut fresh, at).await?;
    rebuild::if_shape_changed(&mut fresh).await?;
    Ok(fresh)
}

/// Tables, indexes and triggers must be this program's own, the migrations the ones it knows.
async fn shape(db: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    let schema = "SELECT coalesce(name, '') FROM (
            SELECT type, name, tbl_name, sql FROM main.sqlite_schema EXCEPT SELECT type, name, tbl_name, sql FROM fresh.sqlite_schema)
        UNION SELECT coalesce(name, '') FROM (
            SELECT type, name, tbl_name, sql FROM fresh.sqlite_schema EXCEPT SELECT type, name, tbl_name, sql FROM main.sqlite_schema)";
    let other: Vec<String> = sqlx::query_scalar(schema).fetch_all(&mut *db).await?;
    let mut flaws: Vec<String> = other
        .into_iter()
        .map(|name| format!("{name}: this table, index or trigger is not as this program makes it"))
        .collect();
    let migrations = both_ways("version, checksum, success", "_sqlx_migrations");
    if sqlx::query_scalar::<_, i64>(AssertSqlSafe(migrations)).fetch_one(&mut *db).await? > 0 {
        flaws.push("the list of migrations is not this program's".to_owned());
    }
    let shapes = both_ways("hash", "shape");
    if sqlx::query_scalar::<_, i64>(AssertSqlSafe(shapes)).fetch_one(&mut *db).await? > 0 {
        flaws.push("shape: the projections were made by another program: start this one once, or run `breakerbook rebuild`".to_owned());
    }
    Ok(flaws)
}

/// How many rows of a table the book and a new one do not share.
fn both_ways(columns: &str, table: &str) -> String {
    let less = |a: &str, b: &str| {
        format!("SELECT * FROM (SELECT {columns} FROM {a}.{table} EXCEPT SELECT {columns} FROM {b}.{table})")
    };
    format!("SELECT count(*) FROM ({} UNION ALL {})", less("main", "fresh"), less("fresh", "main"))
}

/// The kept head against the pages' own tree.
async fn head(db: &mut SqliteConnection, frontier: &Frontier) -> Result<Option<String>, sqlx::Error> {
    let row = sqlx::query("SELECT size, root, frontier FROM head").fetch_optional(db).await?;
    let Some(row) = row else { return Ok(Some("head: it is not said where the book ends".to_owned())) };
    let size: i64 = row.try_get("size")?;
    let root: Vec<u8> = row.try_get("root")?;
    let edge: Vec<u8> = row.try_get("frontier")?;
    let agrees = u64::try_from(size).ok() == Some(frontier.size())
        && Hash::from_slice(&root) == Some(frontier.root())
        && edge == frontier.to_bytes();
    Ok((!agrees).then(|| {
        format!(
            "head: it says {size} pages with root {}; the pages make {} with root {}",
            hex::encode(root),
            frontier.size(),
            frontier.root()
        )
    }))
}

/// Every projection against a rebuild of the same pages in a file of its own.
async fn projections(db: &mut SqliteConnection, scratch: &Path) -> Result<Vec<String>, sqlx::Error> {
    let mut fresh = db::open::writer(scratch, &THROWAWAY)
        .await
        .map_err(|why| sqlx::Error::Decode(why.to_string().into()))?;
    copy_pages(db, &mut fresh).await?;
    let rebuilt = rebuild::rebuild(&mut fresh).await;
    if let Err(why) = rebuilt {
        return Ok(vec![format!("the pages cannot be worked in: {why}")]);
    }
    let mut flaws = Vec::new();
    for table in rebuild::tables() {
        let kept = digest(db, table).await;
        let right = digest(&mut fresh, table).await?;
        match kept {
            Ok(kept) if kept == right => {}
            Ok(_) => flaws.push(format!(
                "{table}: this projection is not what the book says; `breakerbook rebuild` mends it"
            )),
            Err(why) => flaws.push(format!(
                "{table}: this projection cannot be read ({why}); `breakerbook rebuild` mends it"
            )),
        }
    }
    fresh.close().await?;
    Ok(flaws)
}

async fn copy_pages(from: &mut SqliteConnection, to: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    let mut next = 0;
    loop {
        let pages = book::store::pages_from(&mut *from, next, 512).await?;
        let Some(last) = pages.last() else { return Ok(()) };
        next = last.seq + 1;
        let mut rows = super::tables::PageRow::table();
        for page in pages {
            let seq = u64::try_from(page.seq).unwrap_or(0);
            rows.add(&super::tables::PageRow { seq, blob: page.blob, leaf: hex::encode(page.leaf) });
        }
        rows.flush(to).await?;
    }
}

/// All rows of a table, in an order of their own, as one hash.
pub async fn digest(db: &mut SqliteConnection, table: &str) -> Result<String, sqlx::Error> {
    use futures_util::TryStreamExt;
    use sha2::{Digest, Sha256};
    let columns: Vec<String> =
        sqlx::query_scalar("SELECT name FROM pragma_table_info(?)").bind(table).fetch_all(&mut *db).await?;
    // `quote` reads a text only up to its first zero byte, and what is no UTF-8 could not be fetched: texts go as hex.
    let cell = |c: &String| format!("CASE typeof({c}) WHEN 'text' THEN 't' || hex({c}) ELSE quote({c}) END");
    let list = columns.iter().map(cell).collect::<Vec<_>>().join(" || ',' || ");
    let sql = format!("SELECT {list} AS line FROM main.{table} ORDER BY line");
    let mut sha = Sha256::new();
    let mut lines = sqlx::query_scalar::<_, String>(AssertSqlSafe(sql)).fetch(db);
    while let Some(line) = lines.try_next().await? {
        sha.update(line.as_bytes());
        sha.update(b"\n");
    }
    Ok(hex::encode(sha.finalize()))
}
