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

/// A page as bytes: a damaged one may not be text any more.
#[derive(sqlx::FromRow)]
struct RawPage {
    seq: i64,
    blob: Option<Vec<u8>>,
    leaf: Option<Vec<u8>>,
}

/// What is wrong with the pages themselves, in a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// The bytes of this page are not those that were filed.
    Changed(i64),
    /// A page is missing; the next one found is given.
    Gap { missing: i64, found: i64 },
    /// A page before the first.
    BeforeFirst(i64),
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
            Self::BeforeFirst(seq) => {
                write!(f, "page {seq}: there is no page before page 0; somebody put this one in")
            }
            Self::Unreadable { after, why } => write!(f, "the pages from {after} on cannot be read ({why})"),
        }
    }
}

/// Hashes every page again. Returns the tree they make and everything that is wrong.
pub async fn rehash(db: &mut SqliteConnection) -> (Frontier, Vec<Flaw>) {
    let mut tree = Rehash::default();
    // From the least number there is: a page that hides before the first is one that nobody filed.
    let mut from = Some(i64::MIN);
    while let Some(least) = from {
        from = match raw_pages_from(&mut *db, least).await {
            Ok(pages) => {
                let last = pages.last().map(|page| page.seq);
                pages.iter().for_each(|page| tree.take(page));
                last.and_then(|seq| seq.checked_add(1))
            }
            Err(why) => {
                tree.flaws.push(Flaw::Unreadable { after: tree.next, why: why.to_string() });
                None
            }
        };
    }
    (tree.frontier, tree.flaws)
}

async fn raw_pages_from(db: &mut SqliteConnection, least: i64) -> Result<Vec<RawPage>, sqlx::Error> {
    let sql = "SELECT seq, CAST(blob AS BLOB) AS blob, CAST(leaf AS BLOB) AS leaf FROM page WHERE seq >= ? ORDER BY seq LIMIT 512";
    sqlx::query_as(sql).bind(least).fetch_all(db).await
}

#[derive(Default)]
struct Rehash {
    frontier: Frontier,
    flaws: Vec<Flaw>,
    /// The page that should come next.
    next: i64,
}

impl Rehash {
    fn take(&mut self, page: &RawPage) {
        if page.seq < 0 {
            return self.flaws.push(Flaw::BeforeFirst(page.seq));
        }
        if page.seq != self.next {
            self.flaws.push(Flaw::Gap { missing: self.next, found: page.seq });
        }
        let leaf = leaf_hash(page.blob.as_deref().unwrap_or_default());
        if page.leaf.as_deref().and_then(Hash::from_slice) != Some(leaf) {
            self.flaws.push(Flaw::Changed(page.seq));
        }
        self.frontier.push(leaf);
        self.next = page.seq.saturating_add(1);
    }
}
