//! The pages that belong to one bypass, one unit or a span of days, each with its path to a signed root: what an evidence
//! pack is made of.
use std::collections::BTreeSet;

use sqlx::SqliteConnection;

use super::{
    Desk,
    checkpoint::{NotSigned, head},
    evidence_pages as pages,
};
use crate::{
    base::{Day, EntryId, Instant, UnitName, Zone},
    book::{
        Envelope, Hash, Head,
        checkpoint_store::{self, Kept},
        note::{By, Checkpoint, Note, PublicKey, SecretKey},
        proof::{self, Nodes},
        store,
        tree::leaf_hash,
    },
    db::writer::Trouble,
};

/// What a pack is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum About {
    Bypass(EntryId),
    /// Everything about it, or what was recorded on these days.
    Unit(UnitName, Option<Days>),
    Days(Days),
}

/// From the first to the last, both with it, in the railway's zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Days {
    pub from: Day,
    pub to: Day,
}

impl Days {
    /// From its first moment up to, not with, the first one after it.
    fn span(self, zone: &Zone) -> (Instant, Instant) {
        (zone.start_of(self.from), zone.start_of(self.to.plus(1)))
    }
}

/// A page and the hashes that lead from it to the root.
#[derive(Clone, Debug)]
pub struct Proved {
    pub seq: u64,
    pub blob: String,
    pub path: Vec<Hash>,
}

/// A checkpoint that was made before, and the hashes that show that the book goes on from it.
#[derive(Clone, Debug)]
pub struct Earlier {
    pub kept: Kept,
    pub path: Vec<Hash>,
}

#[derive(Debug)]
pub struct Evidence {
    pub head: Head,
    /// Signed over `head`.
    pub note: String,
    pub key: SecretKey,
    pub pages: Vec<Proved>,
    pub earlier: Vec<Earlier>,
}

/// Somebody has to read them, and a server to carry them.
pub const MOST_PAGES: usize = 4_000;
pub const MOST_BYTES: usize = 16_000_000;
/// Of the checkpoints since its first page: whoever kept one of those days can hold the pack against theirs.
const MOST_EARLIER: i64 = 60;

/// Why there is no pack, in a sentence.
#[derive(Debug)]
pub enum NoPack {
    NotThere(String),
    TooLarge(String),
    NotSigned(NotSigned),
    Damaged(u64),
    Trouble(Trouble),
}

impl std::fmt::Display for NoPack {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotThere(says) | Self::TooLarge(says) => f.write_str(says),
            Self::NotSigned(why) => write!(f, "{why}"),
            Self::Damaged(seq) => write!(
                f,
                "Page {seq} does not lead to the root of the book: nothing was packed. Keep the file as it is and run `breakerbook verify`."
            ),
            Self::Trouble(why) => write!(f, "{why}"),
        }
    }
}
impl std::error::Error for NoPack {}
impl From<sqlx::Error> for NoPack {
    fn from(why: sqlx::Error) -> Self {
        Self::Trouble(Trouble::from(&why))
    }
}
impl From<Trouble> for NoPack {
    fn from(why: Trouble) -> Self {
        Self::Trouble(why)
    }
}
impl From<NotSigned> for NoPack {
    fn from(why: NotSigned) -> Self {
        Self::NotSigned(why)
    }
}

impl Desk {
    /// Gathers what there is about something. The root is signed here and now; nothing is written.
    ///
    /// # Errors
    /// Nothing there, more than a pack holds, no key, or pages that do not lead to the root.
    pub async fn evidence(&self, about: &About) -> Result<Evidence, NoPack> {
        let key = self.signer()?;
        let world = self.world();
        let mut db = self.read().await?;
        let mut tx = sqlx::Connection::begin(&mut *db).await?;
        let head = head(&mut tx).await?;
        let zone = &world.railway.zone;
        let (seqs, days) = match about {
            About::Bypass(id) => (pages::of_bypass(&mut tx, *id).await?, None),
            About::Unit(unit, days) => (pages::of_unit(&mut tx, unit).await?, *days),
            About::Days(days) => (pages::of_span(&mut tx, days.span(zone)).await?, None),
        };
        let mut pages = load(&mut tx, &seqs, days.map(|days| days.span(zone))).await?;
        let kept =
            checkpoint_store::first_beyond(&mut tx, i64::try_from(first(&pages)).unwrap_or(0), MOST_EARLIER)
                .await?;
        let mut earlier = signed_before(kept, &key.public(), head);
        prove(&mut tx, head, &mut pages, &mut earlier).await?;
        let note = key.sign(&Checkpoint { origin: self.origin(), head }.text());
        Ok(Evidence {
            head,
            note,
            key,
            pages,
            earlier: earlier.into_iter().map(|(earlier, _)| earlier).collect(),
        })
    }
}

/// The first page that is not the one that opens the book.
fn first(pages: &[Proved]) -> u64 {
    pages.iter().map(|page| page.seq).find(|seq| *seq > 0).unwrap_or(0)
}

/// The pages by their numbers, and page 0, which says whose book it is.
async fn load(
    db: &mut SqliteConnection,
    seqs: &BTreeSet<i64>,
    span: Option<(Instant, Instant)>,
) -> Result<Vec<Proved>, NoPack> {
    if seqs.is_empty() {
        return Err(NoPack::NotThere(NOTHING.to_owned()));
    }
    let (mut pages, mut bytes) = (Vec::new(), 0);
    for seq in std::iter::once(0).chain(seqs.iter().copied().filter(|seq| *seq > 0)) {
        let page = store::page(&mut *db, seq).await?;
        let damaged = NoPack::Damaged(u64::try_from(seq).unwrap_or(0));
        let Some(page) = page else { return Err(damaged) };
        let Ok(envelope) = Envelope::read(&page.blob) else { return Err(damaged) };
        let at = envelope.recorded_at.at;
        if seq > 0 && span.is_some_and(|(from, to)| at < from || at >= to) {
            continue;
        }
        bytes += page.blob.len();
        if pages.len() >= MOST_PAGES || bytes > MOST_BYTES {
            return Err(NoPack::TooLarge(too_many(seqs.len())));
        }
        pages.push(Proved { seq: envelope.seq, blob: page.blob, path: Vec::new() });
    }
    if pages.len() < 2 && !seqs.contains(&0) {
        return Err(NoPack::NotThere(NOTHING.to_owned()));
    }
    Ok(pages)
}

const NOTHING: &str = "The book holds nothing about that: look at the unit's name and the days again.";

fn too_many(found: usize) -> String {
    format!(
        "There are {found} pages about it, and a pack holds at most {MOST_PAGES} with {} MB between them: ask for fewer days, and make several packs.",
        MOST_BYTES / 1_000_000
    )
}

/// Those of our key, of trees that are not larger than this one.
fn signed_before(kept: Vec<Kept>, key: &PublicKey, now: Head) -> Vec<(Earlier, Head)> {
    let ours = |kept: Kept| {
        let note = Note::read(&kept.note).ok().filter(|note| note.signed_by(key) == By::Yes)?;
        let then = Checkpoint::read(note.text).ok()?.head;
        (then.size <= now.size).then_some((Earlier { kept, path: Vec::new() }, then))
    };
    kept.into_iter().filter_map(ours).collect()
}

/// One walk over the leaves gives every path.
async fn prove(
    db: &mut SqliteConnection,
    head: Head,
    pages: &mut [Proved],
    earlier: &mut [(Earlier, Head)],
) -> Result<(), NoPack> {
    let mut nodes = Nodes::default();
    pages.iter().for_each(|page| nodes.want(&proof::inclusion(page.seq, head.size)));
    earlier.iter().for_each(|(_, then)| nodes.want(&proof::consistency(then.size, head.size)));
    store::walk_leaves(db, head.size, |leaf| nodes.push(leaf)).await?;
    for page in pages {
        let path = nodes.path(&proof::inclusion(page.seq, head.size)).unwrap_or_default();
        if proof::root_by(leaf_hash(page.blob.as_bytes()), page.seq, head.size, &path) != Some(head.root) {
            return Err(NoPack::Damaged(page.seq));
        }
        page.path = path;
    }
    for (earlier, then) in earlier {
        earlier.path = nodes.path(&proof::consistency(then.size, head.size)).unwrap_or_default();
        if !proof::goes_on(*then, head, &earlier.path) {
            return Err(NoPack::NotSigned(NotSigned::Rewritten { size: then.size }));
        }
    }
    Ok(())
}
