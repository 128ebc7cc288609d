//! Taking a back-up of a book, served or not.
use std::path::{Path, PathBuf};

use super::{
    End, NotDone, check,
    copy::{self, Why},
    folder::Folder,
    is_of_the_disk,
};
use crate::base::Clock;

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
    /// Older ones that were removed.
    pub removed: Vec<PathBuf>,
}

/// Copies the book at `db`, checks the copy, gives it its dated name in `to`, and only then removes what is older than
/// `keep_days`. Whatever fails leaves earlier back-ups as they were.
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
    let mut folder = Folder::take(to, db)?;
    folder.sweep();
    let half = folder.half()?;
    let now = clock.now();
    let (label, book) = copy::copy(db, &half.0, now, pace).await.map_err(|why| says(db, to, why))?;
    let found = check::check(&half.0).await.map_err(|why| not_whole(db, &why.0))?;
    if found != label {
        return Err(not_whole(db, "it says something else of itself than was written in it"));
    }
    let bytes = std::fs::metadata(&half.0).map(|file| file.len()).unwrap_or(0);
    let path = folder.name(&half, &book, now)?;
    let removed = keep_days.map(|days| folder.prune(&path, days, now)).unwrap_or_default();
    Ok(Taken { path, end: label.end, bytes, removed })
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
        Why::Sql(why) | Why::Opening(crate::db::OpenError::Database(why)) if is_of_the_disk(&why) => format!(
            "there is no room in {to} or the disk fails ({why}): make room there, or give another folder. Nothing was kept of this back-up, and earlier ones are as they were"
        ),
        Why::Sql(why) => format!(
            "{db} could not be copied page by page ({why}), and nothing was kept of this back-up; earlier ones are as they were. Look at the book with `breakerbook verify --db {db}`"
        ),
        Why::Opening(why) => why.to_string(),
    })
}
