//! Taking a back-up of a book, served or not.
use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};

use super::{
    End, NotDone, check,
    copy::{self, Copied, Why},
    folder::{self, Folder, Lying, Names},
    is_of_the_disk,
};
use crate::{
    base::{Clock, Instant},
    book::{Hash, key},
};

/// How much of the machine it may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// Rests as long as it works.
    BesideFiling,
    /// As fast as it goes.
    Alone,
}

/// A back-up that is whole, on the disk and under its name.
#[derive(Clone, Debug)]
pub struct Taken {
    pub path: PathBuf,
    pub end: End,
    pub bytes: u64,
    /// Where the key that checkpoints are signed with went along, if there is one.
    pub key: Option<PathBuf>,
    /// Older ones that were removed.
    pub removed: Vec<PathBuf>,
    /// What somebody has to look at, in sentences.
    pub says: Vec<String>,
}

/// Copies the book at `db`, checks the copy, gives it its dated name in `to`, and only then removes what is older than
/// `keep_days` and has nothing that the new one has not. Whatever fails leaves earlier back-ups as they were.
pub async fn take(
    db: &Path,
    to: &Path,
    keep_days: Option<u32>,
    pace: Pace,
    clock: &Clock,
) -> Result<Taken, NotDone> {
    if !db.is_file() {
        return Err(NotDone(crate::db::OpenError::NoSuchFile(db.display().to_string()).to_string()));
    }
    let folder = Folder::take(to)?;
    folder.sweep();
    let half = folder.half()?;
    let now = clock.now();
    let Copied { label, print, origin } =
        copy::copy(db, &half.0, now, pace).await.map_err(|why| says(db, to, why))?;
    let names = Names::new(db, &print);
    let earlier = Earlier::there(&names, to, keep_days, now).await;
    let found = check::look_back(&half.0, &earlier.sizes()).await.map_err(|why| not_whole(db, &why.0))?;
    if found.label != label {
        return Err(not_whole(db, "it says something else of itself than was written in it"));
    }
    let bytes = std::fs::metadata(&half.0).map(|file| file.len()).unwrap_or(0);
    let (secret, key_says) = secret(db, &origin);
    let path = folder.name(&half, &names, now, secret.as_deref())?;
    let (removed, stays) = earlier.prune(&found.roots);
    let key = secret.map(|_| key::beside(&path));
    Ok(Taken { path, end: label.end, bytes, key, removed, says: key_says.into_iter().chain(stays).collect() })
}

/// The book's key, to lie beside the back-up as it lies beside the book; and why not, where it cannot be had. A book that
/// signed nothing yet has none.
fn secret(db: &Path, origin: &str) -> (Option<String>, Option<String>) {
    match key::read(&key::beside(db), origin) {
        Ok(secret) => (secret.map(|secret| secret.reveal()), None),
        Err(why) => {
            (None, Some(format!("The key that checkpoints are signed with did not go along: {why}.")))
        }
    }
}

/// This book's earlier back-ups that have to be looked into: those that are old, and the latest.
struct Earlier {
    aged: Vec<Lying>,
    ends: Vec<(Lying, Option<End>)>,
}

impl Earlier {
    async fn there(names: &Names, folder: &Path, keep_days: Option<u32>, now: Instant) -> Self {
        let lying = names.lying(folder);
        let aged = keep_days.map(|days| folder::aged(&lying, days, now)).unwrap_or_default();
        let mut ends = Vec::new();
        for one in lying.first().into_iter().chain(&aged) {
            ends.push((one.clone(), check::end_of(&one.path).await));
        }
        Self { aged, ends }
    }

    fn sizes(&self) -> BTreeSet<u64> {
        self.ends.iter().filter_map(|(_, end)| end.map(|end| end.size)).collect()
    }

    /// Removes the aged ones whose pages are the first ones of the new one's, unchanged. The others stay: nobody but a person
    /// can say whether what they alone have is wanted.
    fn prune(self, roots: &BTreeMap<u64, Hash>) -> (Vec<PathBuf>, Vec<String>) {
        let has = |end: &Option<End>| end.is_some_and(|end| roots.get(&end.size) == Some(&end.root));
        let (inside, apart): (Vec<_>, Vec<_>) = self.ends.into_iter().partition(|(_, end)| has(end));
        let old = inside.into_iter().map(|(one, _)| one).filter(|one| self.aged.contains(one));
        let removed = old.filter(folder::remove).map(|one| one.path).collect();
        (removed, apart.iter().map(|(one, end)| apart_from(&one.path, end.is_some())).collect())
    }
}

fn apart_from(path: &Path, readable: bool) -> String {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    if readable {
        format!(
            "{name} has pages that this book has not, and is not removed: if no earlier day was ever restored, find out why with `breakerbook verify`. Once you are sure that nobody wants what it has, remove it by hand."
        )
    } else {
        format!(
            "{name} cannot be read as a back-up, and is not removed: look whether its disk fails, and remove it by hand."
        )
    }
}

fn not_whole(db: &Path, why: &str) -> NotDone {
    NotDone(format!(
        "the copy was found not to be what the book says, and was thrown away; earlier back-ups are as they were. Look at the book with `breakerbook verify --db {}` before anything else. What was found: {why}",
        db.display()
    ))
}

fn says(db: &Path, to: &Path, why: Why) -> NotDone {
    let (db, to) = (db.display(), to.display());
    NotDone(match why {
        Why::OtherProgram => format!(
            "{db} has the tables of another version of breakerbook, and nothing was copied: take the back-up with the version that serves it, or start this one on it once"
        ),
        Why::NoBook => format!(
            "in {db} no book was ever begun, so there is nothing to back up: look at the name after --db"
        ),
        Why::FirstPage(why) => format!(
            "the first page of {db} is not one that begins a book ({why}), and nothing was kept of this back-up; earlier ones are as they were. Look at the book with `breakerbook verify --db {db}`"
        ),
        Why::Sql(why) | Why::Opening(crate::db::OpenError::Database(why)) if is_of_the_disk(&why) => format!(
            "there is no room in {to} or the disk fails ({why}): make room there, or give another folder. Nothing was kept of this back-up, and earlier ones are as they were"
        ),
        Why::Sql(why) => format!(
            "{db} could not be copied page by page ({why}), and nothing was kept of this back-up; earlier ones are as they were. Look at the book with `breakerbook verify --db {db}`"
        ),
        Why::Opening(why) => why.to_string(),
    })
}
