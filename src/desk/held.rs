//! Checkpoints that were kept, held against the pages as they are now: what each proves, or where the break is.
use std::collections::BTreeMap;

use crate::book::{
    Hash, Head,
    note::{By, Checkpoint, Note, PublicKey},
};

/// A checkpoint as somebody kept it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// Where it comes from, as sentences call it.
    pub named: String,
    /// The whole signed note.
    pub note: String,
}

impl Held {
    /// The size it speaks of, so that the root at that size can be looked for.
    pub fn size(&self) -> Option<u64> {
        let note = Note::read(&self.note).ok()?;
        Checkpoint::read(note.text).ok().map(|checkpoint| checkpoint.head.size)
    }
}

/// The book that they are held against.
#[derive(Debug)]
pub struct Book<'a> {
    pub origin: &'a str,
    pub keys: &'a [PublicKey],
    pub head: Head,
    /// The roots its pages make, at every size that a checkpoint speaks of.
    pub roots: &'a BTreeMap<u64, Hash>,
}

/// What they say together.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// The trees that this book goes on from, with the checkpoint's name.
    pub agree: Vec<(String, Head)>,
    /// A sentence for each break.
    pub breaks: Vec<String>,
}

enum Break {
    /// It proves nothing about this book.
    Void(String),
    Shorter {
        named: String,
        size: u64,
    },
    Other {
        named: String,
        size: u64,
    },
}

impl Book<'_> {
    pub fn hold(&self, all: &[Held]) -> Said {
        let (mut said, mut broken) = (Said::default(), Vec::new());
        for held in all {
            match self.one(held) {
                Ok(head) => said.agree.push((held.named.clone(), head)),
                Err(why) => broken.push(why),
            }
        }
        let agreed = said.agree.iter().map(|(_, head)| head.size).max().unwrap_or(0);
        let first_other = broken
            .iter()
            .filter_map(|b| if let Break::Other { size, .. } = b { Some(*size) } else { None })
            .min();
        said.breaks = broken.iter().map(|why| self.sentence(why)).collect();
        if let Some(end) = first_other {
            said.breaks.push(between(agreed, end));
        }
        said
    }

    fn one(&self, held: &Held) -> Result<Head, Break> {
        let named = &held.named;
        let void = |why: String| Break::Void(format!("{named}: {why}"));
        let note = Note::read(&held.note).map_err(|why| void(why.to_string()))?;
        let told = Checkpoint::read(note.text).map_err(|why| void(why.to_string()))?;
        if told.origin != self.origin {
            return Err(void(format!(
                "this checkpoint is of another book ({}); the one verified here is {}",
                told.origin, self.origin
            )));
        }
        let by: Vec<By> = self.keys.iter().map(|key| note.signed_by(key)).collect();
        if by.contains(&By::Wrong) {
            return Err(void(
                "the signature under this checkpoint is wrong: its text was changed after it was signed, or it was never signed with this book's key".to_owned(),
            ));
        }
        if !by.contains(&By::Yes) {
            return Err(void(format!(
                "this checkpoint is signed with a key that is not known to be this book's ({}): give the public key that was kept with it, with --key",
                note.signers()
            )));
        }
        let size = told.head.size;
        match self.roots.get(&size) {
            _ if size > self.head.size => Err(Break::Shorter { named: named.clone(), size }),
            Some(root) if *root == told.head.root => Ok(told.head),
            _ => Err(Break::Other { named: named.clone(), size }),
        }
    }

    fn sentence(&self, why: &Break) -> String {
        match why {
            Break::Void(says) => says.clone(),
            Break::Shorter { named, size } => format!(
                "{named}: the book is shorter than it was: {size} pages were signed, and there are {}. Pages {} to {} were cut off its end, or this is an older copy of the file",
                self.head.size,
                self.head.size,
                size - 1
            ),
            Break::Other { named, size } => format!(
                "{named}: the first {size} pages are not those that were signed: a page was replaced, taken out or put in, or pages were cut off and others written, and every hash after it was reckoned anew"
            ),
        }
    }
}

/// As near as checkpoints can tell where history parts: one alone says only that it was before its end.
fn between(agreed: u64, end: u64) -> String {
    let last = end.saturating_sub(1);
    if agreed == last {
        return format!("The first page that differs is page {last}: up to it, another checkpoint agrees.");
    }
    let narrower = "An older checkpoint narrows it: give each you have with a --checkpoint of its own. A copy of the file from before says it exactly";
    if agreed == 0 {
        format!("Which page differs first, a root cannot say: it is one of pages 0 to {last}. {narrower}.")
    } else {
        format!(
            "The first page that differs is one of pages {agreed} to {last}: up to there another checkpoint agrees. {narrower}."
        )
    }
}
