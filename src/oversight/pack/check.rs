//! Checking a pack: whether what is in it belongs together and was in the book that signed for it.
use std::{
    collections::{BTreeMap, BTreeSet},
    fmt,
};

use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::{
    CHECKPOINT, CONTENTS, EarlierPath, FORMAT, HOW_TO, KEY, MANIFEST, Manifest, PagePath, file_of, hashes,
    zipped,
};
use crate::book::{
    Head,
    note::{By, Checkpoint, Note, PublicKey},
    proof,
    tree::leaf_hash,
};

/// What is wrong with it, in a sentence that names it. No end mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unsound(pub String);

impl fmt::Display for Unsound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for Unsound {}

/// A pack that holds together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    pub railway: String,
    pub about: String,
    pub made_at: String,
    pub made_by: String,
    pub key: PublicKey,
    pub head: Head,
    /// Numbers of the pages in it.
    pub pages: Vec<u64>,
    /// Checkpoints that its own goes on from.
    pub earlier: Vec<Head>,
}

/// Checks the bytes of a pack. Needs no book, and no more memory than a pack can have.
///
/// # Errors
/// The first thing that is wrong.
pub fn check(zip: &[u8]) -> Result<Checked, Unsound> {
    let files = Files(zipped::unpack(zip)?);
    let key = PublicKey::parse(files.text(KEY)?).or_else(|why| no(format!("{KEY}: {why}")))?;
    files.hold_to_contents(&key)?;
    let head = signed(CHECKPOINT, files.text(CHECKPOINT)?, &key)?;
    let manifest: Manifest<'_> = serde_json::from_str(files.text(MANIFEST)?)
        .or_else(|why| no(format!("{MANIFEST} cannot be read ({why})")))?;
    if manifest.format != FORMAT {
        return no(format!("{MANIFEST} is of another format than this program knows"));
    }
    files.hold_to_tree(&manifest.pages, head)?;
    let earlier = manifest.earlier.iter().map(|earlier| goes_on(earlier, head, &key));
    Ok(Checked {
        railway: manifest.railway.to_string(),
        about: manifest.about.to_string(),
        made_at: manifest.made_at.to_string(),
        made_by: manifest.made_by.to_string(),
        head,
        pages: manifest.pages.iter().map(|page| page.seq).collect(),
        earlier: earlier.collect::<Result<_, _>>()?,
        key,
    })
}

impl Checked {
    /// Holds it against a public key that was kept elsewhere.
    pub fn hold_key(&self, kept: &PublicKey) -> Result<(), Unsound> {
        if *kept == self.key {
            return Ok(());
        }
        no(format!(
            "it is signed with another key than the one you kept: with {}, and yours is {kept}. Whoever made it does not hold that key, or the railway has a new one and can say since when",
            self.key
        ))
    }

    /// Holds it against a checkpoint that was kept elsewhere.
    pub fn hold_checkpoint(&self, kept: &str) -> Result<(), Unsound> {
        let then = signed("the checkpoint you kept", kept, &self.key)?;
        let known = std::iter::once(&self.head).chain(&self.earlier).find(|head| head.size == then.size);
        match known {
            Some(head) if head.root == then.root => Ok(()),
            Some(_) => no(format!(
                "the checkpoint you kept has another root for the first {} pages: the pack is of a book whose history was written anew, or your checkpoint is",
                then.size
            )),
            None => no(format!(
                "the pack has no path from your checkpoint of {} pages to its own of {}: have the railway run `breakerbook verify --checkpoint` with it, or ask for a pack that names it",
                then.size, self.head.size
            )),
        }
    }
}

fn no<T>(says: impl Into<String>) -> Result<T, Unsound> {
    Err(Unsound(says.into()))
}

/// The head of a checkpoint that this key has signed for its own book.
fn signed(what: &str, note: &str, key: &PublicKey) -> Result<Head, Unsound> {
    let note = by_key(what, note, key)?;
    let checkpoint = Checkpoint::read(note.text).or_else(|why| no(format!("{what}: {why}")))?;
    if checkpoint.origin != key.name() {
        return no(format!(
            "{what} is of another book ({}) than the key ({})",
            checkpoint.origin,
            key.name()
        ));
    }
    Ok(checkpoint.head)
}

fn by_key<'a>(what: &str, note: &'a str, key: &PublicKey) -> Result<Note<'a>, Unsound> {
    let note = Note::read(note).or_else(|why| no(format!("{what}: {why}")))?;
    match note.signed_by(key) {
        By::Yes => Ok(note),
        By::Wrong => no(format!("the signature under {what} is wrong: it was changed after it was signed")),
        By::Not => {
            no(format!("{what} is signed with another key ({}) than the one in {KEY}", note.signers()))
        }
    }
}

fn goes_on(earlier: &EarlierPath<'_>, now: Head, key: &PublicKey) -> Result<Head, Unsound> {
    let what = format!("the earlier checkpoint of {}", earlier.made_at);
    let then = signed(&what, &earlier.note, key)?;
    if proof::goes_on(then, now, &hashes(&earlier.path)) {
        Ok(then)
    } else {
        no(format!("{what} is not the beginning of the book in {CHECKPOINT}: its path does not lead there"))
    }
}

struct Files(BTreeMap<String, Vec<u8>>);

/// The least that a page has to say for itself.
#[derive(Deserialize)]
struct Numbered {
    seq: u64,
}

impl Files {
    fn bytes(&self, name: &str) -> Result<&[u8], Unsound> {
        self.0.get(name).map_or_else(|| no(format!("{name} is missing")), |bytes| Ok(bytes.as_slice()))
    }

    fn text(&self, name: &str) -> Result<&str, Unsound> {
        std::str::from_utf8(self.bytes(name)?).or_else(|_| no(format!("{name} is no text")))
    }

    /// Every file is the one that was signed for, none is missing and none was put in.
    fn hold_to_contents(&self, key: &PublicKey) -> Result<(), Unsound> {
        let note = by_key(CONTENTS, self.text(CONTENTS)?, key)?;
        let mut lines = note.text.lines();
        if lines.next() != Some(FORMAT) || lines.next() != Some(key.name()) {
            return no(format!("{CONTENTS} is of another format, or of another book than the key"));
        }
        let mut named = BTreeSet::from([CONTENTS]);
        for line in lines {
            let Some((digest, name)) = line.split_once("  ") else {
                return no(format!("a line of {CONTENTS} is none"));
            };
            if hex::encode(Sha256::digest(self.bytes(name)?)) != digest {
                return no(format!("{name} is not the file that was signed for: it was changed"));
            }
            named.insert(name);
        }
        if let Some(name) = self.0.keys().find(|name| !named.contains(name.as_str())) {
            return no(format!("{name} was put in: it was not signed for"));
        }
        [HOW_TO, CHECKPOINT, KEY, MANIFEST]
            .iter()
            .find(|name| !named.contains(**name))
            .map_or(Ok(()), |name| no(format!("{name} is not among what was signed for")))
    }

    /// Every page was in the tree, under its own number.
    fn hold_to_tree(&self, pages: &[PagePath], head: Head) -> Result<(), Unsound> {
        let mut proved = BTreeSet::new();
        for page in pages {
            let name = file_of(page.seq);
            let bytes = self.bytes(&name)?;
            let root = proof::root_by(leaf_hash(bytes), page.seq, head.size, &hashes(&page.path));
            if root != Some(head.root) {
                return no(format!(
                    "{name} was not page {} of the book of {} pages that was signed: its bytes or its path were changed",
                    page.seq, head.size
                ));
            }
            let told: Numbered =
                serde_json::from_slice(bytes).or_else(|why| no(format!("{name} is no page ({why})")))?;
            if told.seq != page.seq || !proved.insert(name.clone()) {
                return no(format!("{name} calls itself page {}, or is there twice", told.seq));
            }
        }
        match self.0.keys().find(|name| name.starts_with("pages/") && !proved.contains(*name)) {
            Some(name) => no(format!("for {name} there is no path to the root")),
            None if pages.is_empty() => no("there is no page of the book in it"),
            None => Ok(()),
        }
    }
}
