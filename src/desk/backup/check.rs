//! Whether a back-up is whole: the file, every page's hash, the tree against what the back-up says of itself, and the
//! seal over everything else. Reads only; what it proves, it proves of this file.
use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
};

use sqlx::{Connection, SqliteConnection};

use super::{
    End, NotDone,
    seal::{self, Label},
};
use crate::{
    book::{self, Hash},
    db,
};

/// A back-up that was found whole.
#[derive(Debug)]
pub struct Whole {
    pub label: Label,
    /// The roots that its tree had at the sizes asked for, as far as it comes.
    pub roots: BTreeMap<u64, Hash>,
}

/// Checks it; every flaw is in the sentence.
pub async fn check(path: &Path) -> Result<Label, NotDone> {
    look_back(path, &BTreeSet::new()).await.map(|whole| whole.label)
}

/// Where a back-up says that its book ends; nothing is checked. `None`: it cannot be read as one.
pub async fn end_of(path: &Path) -> Option<End> {
    let mut db = db::open::untouched(path).await.ok()?;
    let label = seal::read(&mut db).await;
    let _ = db.close().await;
    label.ok().flatten().map(|label| label.end)
}

/// Checks it, and says what its root was at each of these sizes.
pub async fn look_back(path: &Path, sizes: &BTreeSet<u64>) -> Result<Whole, NotDone> {
    if !path.is_file() {
        return Err(NotDone(format!(
            "there is no back-up at {}: give the file's whole name",
            path.display()
        )));
    }
    let bad = |flaws: String| {
        NotDone(format!(
            "{} is not a whole back-up and was not used: {flaws}. Take another one; this file stays as it is",
            path.display()
        ))
    };
    let unreadable = |why: String| bad(format!("it cannot be read through ({why})"));
    let mut db = db::open::untouched(path).await.map_err(|why| unreadable(why.to_string()))?;
    let outcome = examine(&mut db, path, sizes).await;
    let _ = db.close().await;
    match outcome {
        Ok(Ok(whole)) => Ok(whole),
        Ok(Err(Found::Flaws(flaws))) => Err(bad(flaws.join("; "))),
        Ok(Err(Found::Newer)) => {
            Err(NotDone(db::OpenError::NewerThanProgram(path.display().to_string()).to_string()))
        }
        Err(why) => Err(unreadable(why.to_string())),
    }
}

enum Found {
    Newer,
    Flaws(Vec<String>),
}

async fn examine(
    db: &mut SqliteConnection,
    path: &Path,
    sizes: &BTreeSet<u64>,
) -> Result<Result<Whole, Found>, sqlx::Error> {
    if db::migrate::is_newer(db).await? {
        return Ok(Err(Found::Newer));
    }
    let mut flaws: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check(5)").fetch_all(&mut *db).await?;
    flaws.retain(|line| line != "ok");
    if let Some(flaw) = shorter(db, path).await? {
        flaws.push(flaw);
    }
    let label = match seal::read(db).await {
        Ok(Some(label)) => label,
        Ok(None) | Err(sqlx::Error::RowNotFound) => {
            return Ok(Err(none(flaws, "what it says of itself is damaged")));
        }
        Err(why) => {
            return Ok(Err(none(flaws, &format!("it says nothing of itself as a back-up does ({why})"))));
        }
    };
    let book::store::Rehashed { frontier, flaws: of_pages, roots, .. } = book::store::rehash(db, sizes).await;
    flaws.extend(of_pages.iter().take(5).map(ToString::to_string));
    if (frontier.size(), frontier.root()) != (label.end.size, label.end.root) {
        flaws.push(format!(
            "its pages make {} with root {}, and it was taken of {} with root {}",
            frontier.size(),
            frontier.root(),
            label.end.size,
            label.end.root
        ));
    }
    if seal::seal(db, label.end, label.taken_at).await? != label.seal {
        flaws.push("what stands beside the pages is not what was copied".to_owned());
    }
    Ok(if flaws.is_empty() { Ok(Whole { label, roots }) } else { Err(Found::Flaws(flaws)) })
}

fn none(mut flaws: Vec<String>, says: &str) -> Found {
    flaws.push(says.to_owned());
    Found::Flaws(flaws)
}

/// Where only what nobody reads was cut off.
async fn shorter(db: &mut SqliteConnection, path: &Path) -> Result<Option<String>, sqlx::Error> {
    let pages: i64 = sqlx::query_scalar("PRAGMA page_count").fetch_one(&mut *db).await?;
    let bytes: i64 = sqlx::query_scalar("PRAGMA page_size").fetch_one(db).await?;
    let whole = u64::try_from(pages.saturating_mul(bytes)).unwrap_or(u64::MAX);
    let there = std::fs::metadata(path).map_err(sqlx::Error::Io)?.len();
    Ok((there != whole).then(|| format!("it has {there} bytes and should have {whole}")))
}
