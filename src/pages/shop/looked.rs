//! What is new since somebody last looked at the board. Kept outside the book, for each person, and only when they say that they
//! looked: reading a page changes nothing, a page loaded twice loses nothing, and it holds on whichever screen they sign in.
use axum::extract::State;
use serde::Deserialize;
use sha2::{Digest as _, Sha256};

use super::pictures_store::{self as store, Looked};
use crate::{
    base::Instant,
    rules::Finding,
    web::{Answer, App, Me, Typed, paths, see},
};

/// Four bytes of a digest of a line's key. Of three thousand lines one in a million would pass for another.
pub type Print = [u8; 4];

pub fn print(key: &str) -> Print {
    let digest = Sha256::digest(key);
    digest.first_chunk::<4>().copied().unwrap_or_default()
}

/// The lines that somebody has looked at.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    pub at: Option<Instant>,
    /// Sorted.
    prints: Vec<Print>,
}

impl Seen {
    pub fn of(kept: Option<Looked>) -> Self {
        let Some(Looked { at, lines }) = kept else { return Self::default() };
        let (prints, _) = lines.as_chunks::<4>();
        Self { at: Some(at), prints: prints.to_vec() }
    }

    /// Nothing is new to somebody who never said that they looked.
    pub fn is_new(&self, finding: &Finding) -> bool {
        self.at.is_some() && self.prints.binary_search(&print(&finding.key)).is_err()
    }

    /// With more lines looked at, and without those that are no longer open.
    fn with(mut self, more: impl Iterator<Item = Print>, open: &[Print]) -> Vec<u8> {
        self.prints.extend(more);
        self.prints.retain(|print| open.binary_search(print).is_ok());
        self.prints.sort_unstable();
        self.prints.dedup();
        self.prints.concat()
    }
}

/// Prints as a form carries them: eight hexadecimal digits each.
pub fn written<'a>(keys: impl Iterator<Item = &'a str>) -> String {
    keys.map(|key| hex::encode(print(key))).collect()
}

fn read(written: &str) -> Vec<Print> {
    let bytes = hex::decode(written).unwrap_or_default();
    bytes.as_chunks::<4>().0.to_vec()
}

#[derive(Deserialize)]
pub struct LookedForm {
    /// The lines that the page showed: what came since is still new.
    #[serde(default)]
    lines: String,
    /// The board as it was narrowed down.
    #[serde(default)]
    back: String,
}

pub async fn put(State(app): State<App>, me: Me, Typed(form): Typed<LookedForm>) -> Answer {
    let (who, now) = (me.sign_in().clone(), app.now());
    let mut db = app.desk().read().await?;
    let board = app.desk().board(&mut db, now).await?;
    drop(db);
    let mut open: Vec<Print> = board.open(&Default::default()).map(|f| print(&f.key)).collect();
    open.sort_unstable();
    let keep = app.desk().aside(move |db| {
        Box::pin(async move {
            let seen = Seen::of(store::looked(db, &who).await?);
            let lines = seen.with(read(&form.lines).into_iter(), &open);
            store::put_looked(db, &who, &Looked { at: now, lines }).await?;
            Ok(form.back)
        })
    });
    let back = keep.await?;
    let board = paths::Triage.to_string();
    let ours = back == board || back.starts_with(&format!("{board}?"));
    see(&if ours { back } else { board })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_looked_at_is_kept_while_it_is_open() {
        let mut open: Vec<Print> = ["a", "b", "c"].map(print).into();
        open.sort_unstable();
        let first = Seen::default().with(read(&written(["a", "gone"].into_iter())).into_iter(), &open);
        assert_eq!(first, print("a").to_vec());
        let seen = Seen::of(Some(Looked { at: Instant(0), lines: first }));
        let both = seen.with(read(&written(["b", "a"].into_iter())).into_iter(), &open);
        assert_eq!(both.len(), 8, "each once");
        assert!(read("no digits").is_empty() && read("abc").is_empty());
    }
}
