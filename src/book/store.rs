//! The pages in the file.
use sqlx::SqliteConnection;

use super::tree::{Frontier, Hash, leaf_hash};

/// One stored page.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct StoredPage {
    pub seq: i64,
    pub blob: String,
    pub leaf: Vec<u8>,
}

/// Up to `limit` pages from `from` on, in order.
pub async fn pages_from(
    db: &mut SqliteConnection,
    from: i64,
    limit: i64,
) -> Result<Vec<StoredPage>, sqlx::Error> {
    sqlx::query_as("SELECT seq, blob, leaf FROM page WHERE seq >= ? ORDER BY seq LIMIT ?")
        .bind(from)
        .bind(limit)
        .fetch_all(db)
        .await
}

pub async fn page(db: &mut SqliteConnection, seq: i64) -> Result<Option<StoredPage>, sqlx::Error> {
    sqlx::query_as("SELECT seq, blob, leaf FROM page WHERE seq = ?").bind(seq).fetch_optional(db).await
}

/// How many pages the book has.
pub async fn count(db: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT count(*) FROM page").fetch_one(db).await
}

/// What is wrong with the pages themselves, in a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// The bytes of this page are not those that were filed.
    Changed(i64),
    /// A page is missing; the next one found is given.
    Gap { missing: i64, found: i64 },
    /// The database could not even be read here.
    Unreadable { after: i64, why: String },
}

impl std::fmt::Display for Flaw {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Changed(seq) => write!(f, "page {seq}: its bytes are not the ones that were filed"),
            Self::Gap { missing, found } => {
                write!(f, "page {missing} is missing; the next one is page {found}")
            }
            Self::Unreadable { after, why } => write!(f, "the pages from {after} on cannot be read ({why})"),
        }
    }
}

/// Hashes every page again. Returns the tree they make and everything that is wrong.
pub async fn rehash(db: &mut SqliteConnection) -> (Frontier, Vec<Flaw>) {
    let mut frontier = Frontier::default();
    let mut flaws = Vec::new();
    let mut next = 0;
    loop {
        let pages = match pages_from(&mut *db, next, 512).await {
            Ok(pages) if pages.is_empty() => break,
            Ok(pages) => pages,
            Err(why) => {
                flaws.push(Flaw::Unreadable { after: next, why: why.to_string() });
                break;
            }
        };
        for page in pages {
            if page.seq != next {
                flaws.push(Flaw::Gap { missing: next, found: page.seq });
            }
            let leaf = leaf_hash(page.blob.as_bytes());
            if Hash::from_slice(&page.leaf) != Some(leaf) {
                flaws.push(Flaw::Changed(page.seq));
            }
            frontier.push(leaf);
            next = page.seq + 1;
        }
    }
    (frontier, flaws)
}
