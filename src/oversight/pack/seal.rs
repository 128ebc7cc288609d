//! Writing a pack.
use std::{
    borrow::Cow,
    fmt::Write as _,
    io::{Cursor, Write as _},
};

use sha2::{Digest, Sha256};
use zip::{CompressionMethod, ZipWriter, write::SimpleFileOptions};

use super::{
    CHECKPOINT, CONTENTS, EarlierPath, FORMAT, HOW_TO, KEY, MANIFEST, Manifest, Node, PagePath, file_of,
};
use crate::book::{Hash, note::SecretKey};

/// How a stranger checks it, the program in Python with it.
pub const HOW_TO_CHECK: &str = include_str!("how_to_check.txt");

/// A page for reading: file name and contents.
#[derive(Clone, Debug)]
pub struct Readable {
    pub name: &'static str,
    pub contents: String,
}

/// Everything that goes into a pack.
#[derive(Debug)]
pub struct Sealing<'a> {
    pub railway: &'a str,
    pub about: &'a str,
    pub made_at: &'a str,
    pub made_by: &'a str,
    /// The signed checkpoint that the paths lead to.
    pub checkpoint: &'a str,
    /// Number, exact bytes, path.
    pub pages: Vec<(u64, &'a str, &'a [Hash])>,
    /// When it was made, the signed note, path.
    pub earlier: Vec<(String, &'a str, &'a [Hash])>,
    pub readable: &'a [Readable],
}

/// The ZIP's bytes.
///
/// # Errors
/// Only where a file of it is over 4 GB, which none is.
pub fn seal(sealing: &Sealing<'_>, key: &SecretKey) -> Result<Vec<u8>, zip::result::ZipError> {
    let manifest = serde_json::to_string_pretty(&manifest(sealing)).map_err(std::io::Error::other)?;
    let vkey = format!("{}\n", key.public());
    let fixed = [
        (HOW_TO, HOW_TO_CHECK),
        (CHECKPOINT, sealing.checkpoint),
        (KEY, vkey.as_str()),
        (MANIFEST, manifest.as_str()),
    ];
    let fixed = fixed.into_iter().map(|(name, text)| (Cow::Borrowed(name), text));
    let readable = sealing.readable.iter().map(|file| (Cow::Borrowed(file.name), file.contents.as_str()));
    let pages = sealing.pages.iter().map(|(seq, blob, _)| (Cow::Owned(file_of(*seq)), *blob));
    let files: Vec<(Cow<'_, str>, &str)> = fixed.chain(readable).chain(pages).collect();
    let contents = key.sign(&contents(key.public().name(), &files));
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    for (name, text) in
        files.iter().map(|(name, text)| (name.as_ref(), *text)).chain([(CONTENTS, contents.as_str())])
    {
        zip.start_file(name, options)?;
        zip.write_all(text.as_bytes())?;
    }
    Ok(zip.finish()?.into_inner())
}

fn manifest<'a>(sealing: &'a Sealing<'a>) -> Manifest<'a> {
    let nodes = |path: &[Hash]| path.iter().map(|hash| Node(*hash)).collect();
    let page = |(seq, _, path): &(u64, &str, &[Hash])| PagePath { seq: *seq, path: nodes(path) };
    let earlier = |(made_at, note, path): &'a (String, &str, &[Hash])| EarlierPath {
        made_at: made_at.into(),
        note: (*note).into(),
        path: nodes(path),
    };
    Manifest {
        format: FORMAT.into(),
        railway: sealing.railway.into(),
        about: sealing.about.into(),
        made_at: sealing.made_at.into(),
        made_by: sealing.made_by.into(),
        pages: sealing.pages.iter().map(page).collect(),
        earlier: sealing.earlier.iter().map(earlier).collect(),
    }
}

/// What is signed of the pack itself. Its second line is no number, so nobody can take it for a checkpoint.
fn contents(origin: &str, files: &[(Cow<'_, str>, &str)]) -> String {
    let mut text = format!("{FORMAT}\n{origin}\n");
    for (name, contents) in files {
        let _ = writeln!(text, "{}  {name}", hex::encode(Sha256::digest(contents.as_bytes())));
    }
    text
}
