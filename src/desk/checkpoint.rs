//! Signing how large the book is and what its root is: every day, and when somebody asks.
use sqlx::SqliteConnection;

use super::{Desk, world};
use crate::{
    base::SignIn,
    book::{
        Frontier, Hash, Head,
        checkpoint_store::{self, Kept},
        key::{self, NoKey},
        note::{By, Checkpoint, Note, PublicKey, SecretKey},
        store,
    },
    db::writer::Trouble,
};

/// What this book is called in its checkpoints: nothing that could be mistaken for another book's.
pub fn origin(book: uuid::Uuid) -> String {
    format!("breakerbook/{book}")
}

/// Why nothing was signed, in a sentence.
#[derive(Debug)]
pub enum NotSigned {
    NoKey(NoKey),
    /// The pages do not go on from what was signed before.
    Rewritten {
        size: u64,
    },
    Trouble(Trouble),
}

impl std::fmt::Display for NotSigned {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoKey(why) => write!(f, "nothing was signed: {why}"),
            Self::Rewritten { size } => write!(
                f,
                "nothing was signed: the first {size} pages are not those that were signed before. Keep the file as it is, run `breakerbook verify`, and compare it with a copy"
            ),
            Self::Trouble(why) => write!(f, "nothing was signed: {why}"),
        }
    }
}
impl std::error::Error for NotSigned {}
impl From<Trouble> for NotSigned {
    fn from(why: Trouble) -> Self {
        Self::Trouble(why)
    }
}
impl From<sqlx::Error> for NotSigned {
    fn from(why: sqlx::Error) -> Self {
        Self::Trouble(Trouble::from(&why))
    }
}

impl Desk {
    pub fn origin(&self) -> String {
        origin(self.world().railway.book_id)
    }

    /// The book's own key, made at the first use.
    pub fn signer(&self) -> Result<SecretKey, NotSigned> {
        key::of_book(&self.path, &self.origin()).map_err(NotSigned::NoKey)
    }

    /// Signs the book as it is and keeps what was signed. The same book is signed once: then the first one comes back.
    ///
    /// # Errors
    /// No key, pages that do not go on from the last checkpoint, or trouble with the file.
    pub async fn make_checkpoint(&self, by: Option<SignIn>) -> Result<Kept, NotSigned> {
        let key = self.signer()?;
        let mut db = self.read().await?;
        let head = head(&mut db).await?;
        self.look_back(&mut db, &key, head).await?;
        drop(db);
        let note = key.sign(&Checkpoint { origin: self.origin(), head }.text());
        let kept = Kept { size: head.size, note, made_at: self.clock().now(), by };
        let (row, vkey) = (kept.clone(), key.public().to_string());
        self.aside(move |db| Box::pin(async move { checkpoint_store::keep(db, &row, &vkey).await })).await?;
        let mut db = self.read().await?;
        let size = i64::try_from(head.size).unwrap_or(i64::MAX);
        Ok(checkpoint_store::of_size(&mut db, size).await?.unwrap_or(kept))
    }

    /// Makes one when a day of the railway began since the last one and something was written. Returns whether it did.
    pub async fn make_checkpoint_if_due(&self) -> Result<bool, NotSigned> {
        let mut db = self.read().await?;
        let last = checkpoint_store::all(&mut db, 1, 0).await?.pop();
        let size = head(&mut db).await?.size;
        drop(db);
        let zone = &self.world().railway.zone;
        let today = zone.day_of(self.clock().now());
        let kept = last.is_some_and(|last| last.size >= size || zone.day_of(last.made_at) == today);
        if !kept {
            self.make_checkpoint(None).await?;
        }
        Ok(!kept)
    }

    /// A log that signs two histories proves neither: what was signed last has to be the beginning of what is signed now.
    async fn look_back(
        &self,
        db: &mut SqliteConnection,
        key: &SecretKey,
        head: Head,
    ) -> Result<(), NotSigned> {
        let known = checkpoint_store::keys(&mut *db).await?;
        let keys: Vec<PublicKey> =
            known.iter().filter_map(|vkey| PublicKey::parse(vkey).ok()).chain([key.public()]).collect();
        let ours = |kept: &Kept| {
            let note = Note::read(&kept.note).ok()?;
            let signed = keys.iter().any(|key| note.signed_by(key) == By::Yes);
            Checkpoint::read(note.text).ok().filter(|_| signed).map(|checkpoint| checkpoint.head)
        };
        let kept = checkpoint_store::all(&mut *db, 16, 0).await?;
        let Some(last) = kept.iter().find_map(ours) else { return Ok(()) };
        let mut tree = Frontier::default();
        let mut then: Option<Hash> = (last.size == 0).then(|| tree.root());
        store::walk_leaves(&mut *db, head.size, |leaf| {
            tree.push(leaf);
            if tree.size() == last.size {
                then = Some(tree.root());
            }
        })
        .await?;
        let goes_on = then == Some(last.root) && tree.root() == head.root;
        if goes_on { Ok(()) } else { Err(NotSigned::Rewritten { size: last.size }) }
    }
}

/// How large the book is and what its root is.
pub async fn head(db: &mut SqliteConnection) -> Result<Head, sqlx::Error> {
    let (frontier, _) = world::head(db).await.map_err(|why| sqlx::Error::Decode(why.to_string().into()))?;
    Ok(Head { size: frontier.size(), root: frontier.root() })
}
