//! The evidence pack: one ZIP that a stranger can check with no book at hand. What is in it, how it is written, and how it is
//! checked. Nothing here touches a database or a clock.
//!
//! `pages/N.json` are the exact bytes of pages; `pack.json` has each one's path to the root of `checkpoint.txt`, a signed
//! note; `contents.txt`, another note by the same key, names every other file by its SHA-256. `*.html` are for reading.
pub mod check;
pub mod seal;
mod zipped;

use std::borrow::Cow;

use base64::{Engine as _, engine::general_purpose::STANDARD};
use serde::{Deserialize, Serialize};

use crate::book::Hash;

pub use check::{Checked, Unsound, check};
pub use seal::{Readable, Sealing, seal};

/// First line of `contents.txt`, and in `pack.json`. Another one is another format.
pub const FORMAT: &str = "breakerbook-pack/1";

const HOW_TO: &str = "HOW-TO-CHECK.txt";
const CHECKPOINT: &str = "checkpoint.txt";
const KEY: &str = "key.txt";
const MANIFEST: &str = "pack.json";
const CONTENTS: &str = "contents.txt";

/// No pack of ours is larger; a larger one is not even read.
pub const LARGEST: usize = 64_000_000;
/// Files in a pack, and bytes once unpacked.
const MOST_FILES: usize = 4_100;
const MOST_UNPACKED: u64 = 96_000_000;

/// `pack.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest<'a> {
    pub format: Cow<'a, str>,
    pub railway: Cow<'a, str>,
    /// In words.
    pub about: Cow<'a, str>,
    /// As the one who packed it says: no signature vouches for a clock.
    pub made_at: Cow<'a, str>,
    pub made_by: Cow<'a, str>,
    pub pages: Vec<PagePath>,
    pub earlier: Vec<EarlierPath<'a>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PagePath {
    pub seq: u64,
    pub path: Vec<Node>,
}

/// A checkpoint made before, and the path that shows that this one goes on from it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EarlierPath<'a> {
    pub made_at: Cow<'a, str>,
    pub note: Cow<'a, str>,
    pub path: Vec<Node>,
}

/// A hash, in base64.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Node(pub Hash);

impl Serialize for Node {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&STANDARD.encode(self.0.0))
    }
}
impl<'de> Deserialize<'de> for Node {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = Cow::<'de, str>::deserialize(from)?;
        let hash = STANDARD.decode(text.as_bytes()).ok().and_then(|bytes| Hash::from_slice(&bytes));
        hash.map(Self).ok_or_else(|| serde::de::Error::custom("not a hash in base64"))
    }
}

/// The file in which a page lies.
fn file_of(seq: u64) -> String {
    format!("pages/{seq:08}.json")
}

fn hashes(nodes: &[Node]) -> Vec<Hash> {
    nodes.iter().map(|node| node.0).collect()
}
