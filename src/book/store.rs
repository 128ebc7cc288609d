//! The pages in the file.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::SqliteConnection;

use super::{
    Envelope,
    tree::{Frontier, Hash, leaf_hash},
};
use crate::base::Instant;

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

/// What hashing every page again brought to light.
#[derive(Debug, Default)]
pub struct Rehashed {
    /// The tree that the pages make.
    pub frontier: Frontier,
    pub flaws: Vec<Flaw>,
    /// The roots that the tree had at the sizes asked for, as far as it comes.
    pub roots: BTreeMap<u64, Hash>,
    /// Pages recorded before the one in front of them: the first few.
    pub set_back: Vec<SetBack>,
    /// How many there are of them.
    pub set_back_in_all: u64,
    /// The page that should come next.
    next: i64,
    recorded_at: Option<Instant>,
}

/// The clock was behind what the book already held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetBack {
    pub seq: i64,
    pub recorded_at: Instant,
    pub before_it: Instant,
}

const MOST_TOLD: usize = 3;

/// Hashes every page again: the tree they make, its roots at `sizes`, and everything that is wrong or odd.
pub async fn rehash(db: &mut SqliteConnection, sizes: &BTreeSet<u64>) -> Rehashed {
    let mut tree = Rehashed::default();
    tree.note_root(sizes);
    // From the least number there is: a page that hides before the first is one that nobody filed.
    let mut from = Some(i64::MIN);
    while let Some(least) = from {
        from = match raw_pages_from(&mut *db, least).await {
            Ok(pages) => {
                let last = pages.last().map(|page| page.seq);
                for page in &pages {
                    tree.take(page);
                    tree.note_root(sizes);
                }
                last.and_then(|seq| seq.checked_add(1))
            }
            Err(why) => {
                tree.flaws.push(Flaw::Unreadable { after: tree.next, why: why.to_string() });
                None
            }
        };
    }
    tree
}

async fn raw_pages_from(db: &mut SqliteConnection, least: i64) -> Result<Vec<RawPage>, sqlx::Error> {
    let sql = "SELECT seq, CAST(blob AS BLOB) AS blob, CAST(leaf AS BLOB) AS leaf FROM page WHERE seq >= ? ORDER BY seq LIMIT 512";
    sqlx::query_as(sql).bind(least).fetch_all(db).await
}

impl Rehashed {
    fn take(&mut self, page: &RawPage) {
        if page.seq < 0 {
            return self.flaws.push(Flaw::BeforeFirst(page.seq));
        }
        if page.seq != self.next {
            self.flaws.push(Flaw::Gap { missing: self.next, found: page.seq });
        }
        let blob = page.blob.as_deref().unwrap_or_default();
        let leaf = leaf_hash(blob);
        if page.leaf.as_deref().and_then(Hash::from_slice) != Some(leaf) {
            self.flaws.push(Flaw::Changed(page.seq));
        }
        self.frontier.push(leaf);
        self.next = page.seq.saturating_add(1);
        self.look_at_the_clock(page.seq, blob);
    }

    fn note_root(&mut self, sizes: &BTreeSet<u64>) {
        if sizes.contains(&self.frontier.size()) {
            self.roots.insert(self.frontier.size(), self.frontier.root());
        }
    }

    fn look_at_the_clock(&mut self, seq: i64, blob: &[u8]) {
        let envelope = std::str::from_utf8(blob).ok().and_then(|text| Envelope::read(text).ok());
        let Some(recorded_at) = envelope.map(|envelope| envelope.recorded_at.at) else { return };
        if let Some(before_it) = self.recorded_at.filter(|before| recorded_at < *before) {
            self.set_back_in_all += 1;
            if self.set_back.len() < MOST_TOLD {
                self.set_back.push(SetBack { seq, recorded_at, before_it });
            }
        }
        self.recorded_at = Some(recorded_at);
    }
}

/// Walks the leaves of the first `size` pages, in order, as they are kept: whether a page's bytes still make its leaf,
/// [`rehash`] says. Returns how many there were.
pub async fn walk_leaves(
    db: &mut SqliteConnection,
    size: u64,
    mut see: impl FnMut(Hash),
) -> Result<u64, sqlx::Error> {
    const AT_ONCE: i64 = 8_192;
    let (mut next, end) = (0, i64::try_from(size).unwrap_or(i64::MAX));
    while next < end {
        let sql = "SELECT leaf FROM page WHERE seq >= ? AND seq < ? ORDER BY seq LIMIT ?";
        let leaves: Vec<Vec<u8>> =
            sqlx::query_scalar(sql).bind(next).bind(end).bind(AT_ONCE).fetch_all(&mut *db).await?;
        if leaves.is_empty() {
            break;
        }
        for leaf in &leaves {
            see(Hash::from_slice(leaf).ok_or_else(|| sqlx::Error::Decode("a leaf has 32 bytes".into()))?);
            next += 1;
        }
    }
    Ok(u64::try_from(next).unwrap_or(0))
}
