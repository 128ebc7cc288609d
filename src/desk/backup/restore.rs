//! The way back: a back-up becomes a book, with every projection reckoned anew from its pages.
use std::{
    collections::BTreeSet,
    fs::{self, File},
    io,
    path::{Path, PathBuf},
};

use sqlx::{Connection, SqliteConnection};

use super::{
    NotDone, check,
    folder::{Half, dated, private},
    is_of_the_disk,
    seal::{self, Label},
    told::{self, Told},
};
use crate::{
    base::Clock,
    book,
    db::{self, OpenError, Opening, Trouble},
    desk::rebuild,
};

/// A book that was restored.
#[derive(Clone, Debug)]
pub struct Restored {
    pub label: Label,
    /// What was there before, under its new name.
    pub replaced: Option<PathBuf>,
}

/// Checks the back-up at `from`, makes a book of it beside `to`, checks that, and only then puts it there. A book that is
/// there stays, or with `replace` is kept under another name.
pub async fn restore(from: &Path, to: &Path, replace: bool, clock: &Clock) -> Result<Restored, NotDone> {
    if to.exists() && !replace {
        return Err(NotDone(format!(
            "{} is already there and stays as it is: give another name after --db, or --replace to put the back-up in its place (what is there now is then kept under another name)",
            to.display()
        )));
    }
    // Asked before the long work, and again when it counts.
    drop(alone(to).await?);
    let begun = clock.now();
    let label = check::check(from).await?;
    let half = Half(beside(to, &format!("{}.restoring", uuid::Uuid::new_v4())));
    grow(from, &half.0, &label).await.map_err(|why| not_grown(to, &why))?;
    let root = label.end.root.to_string();
    let told = Told {
        took_ms: clock.now().since(begun) / 1_000,
        file: from.display().to_string(),
        bytes: fs::metadata(from).map(|file| file.len()).unwrap_or(0),
        size: label.end.size,
        root,
        ..Told::at(clock.now())
    };
    told::keep_in(&half.0, "restored", &told).await.map_err(|why| not_grown(to, &Why::from(why)))?;
    File::open(&half.0).and_then(|file| file.sync_all()).map_err(|why| not_moved(to, &why))?;
    let replaced = put(&half.0, to, &dated(clock.now())).await?;
    Ok(Restored { label, replaced })
}

enum Why {
    Opening(OpenError),
    Io(io::Error),
    /// What grew is not what the back-up said.
    Other(String),
}
impl From<OpenError> for Why {
    fn from(why: OpenError) -> Self {
        Self::Opening(why)
    }
}
impl From<sqlx::Error> for Why {
    fn from(why: sqlx::Error) -> Self {
        Self::Opening(OpenError::Database(why))
    }
}
impl From<io::Error> for Why {
    fn from(why: io::Error) -> Self {
        Self::Io(why)
    }
}

/// A book of the same pages at `to`, as this program has its tables.
async fn grow(from: &Path, to: &Path, label: &Label) -> Result<(), Why> {
    private(to)?;
    fs::copy(from, to)?;
    #[cfg(unix)]
    fs::set_permissions(to, std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    let mut db = db::open::writer(to, &Opening { max_pages: None, throwaway: true }).await?;
    seal::drop_label(&mut db).await?;
    db::migrate::bring_up(&mut db, to).await?;
    rebuild::if_shape_changed(&mut db).await?;
    let book::store::Rehashed { frontier, flaws, .. } = book::store::rehash(&mut db, &BTreeSet::new()).await;
    let head: Option<Vec<u8>> = sqlx::query_scalar("SELECT root FROM head").fetch_optional(&mut db).await?;
    let same = flaws.is_empty()
        && (frontier.size(), frontier.root()) == (label.end.size, label.end.root)
        && head.as_deref() == Some(label.end.root.0.as_slice());
    db.close().await?;
    same.then_some(())
        .ok_or_else(|| Why::Other("the book that grew does not end where the back-up's does".into()))
}

/// Puts the new file in the old one's place. What was there, also a log that a killed server left, is kept: beside another
/// book it would be taken for that one's.
async fn put(new: &Path, to: &Path, at: &str) -> Result<Option<PathBuf>, NotDone> {
    let alone = alone(to).await?;
    let kept = beside(to, &format!("replaced-{at}"));
    let moved = || -> io::Result<bool> {
        let mut any = false;
        for end in ["", "-wal", "-shm", "-journal"] {
            let (was, is) = (with(to, end), with(&kept, end));
            if was.exists() {
                if is.exists() {
                    return Err(io::Error::other(format!("{} is there already", is.display())));
                }
                fs::rename(was, is)?;
                any = true;
            }
        }
        fs::rename(new, to)?;
        File::open(folder_of(to))?.sync_all()?;
        Ok(any)
    };
    let any = moved().map_err(|why| not_moved(to, &why))?;
    if let Some(db) = alone {
        let _ = db.close().await;
    }
    Ok(any.then_some(kept))
}

/// The book with nobody in it, held so; `None` when there is none, or nothing that can be opened as one.
async fn alone(path: &Path) -> Result<Option<SqliteConnection>, NotDone> {
    if !path.exists() {
        return Ok(None);
    }
    match db::open::alone(path).await {
        Ok(db) => Ok(Some(db)),
        Err(why) if Trouble::from(&why) == Trouble::Locked => Err(NotDone(format!(
            "{} is open in another program, which may be a server: stop that, and start the restoring again. Nothing was changed",
            path.display()
        ))),
        Err(why) if Trouble::from(&why) == Trouble::ReadOnly => Err(NotDone(format!(
            "{} cannot be written to ({why}): start the restoring as the user that serves the book. Nothing was changed",
            path.display()
        ))),
        // A file so damaged that it cannot be opened is a reason to restore; it is kept as it is.
        Err(_) => Ok(None),
    }
}

fn not_grown(to: &Path, why: &Why) -> NotDone {
    let full = |why: &dyn std::fmt::Display| {
        format!(
            "there is no room beside {} or the disk fails ({why}): a restored book needs some three times the room of its back-up for a while. Nothing was changed",
            to.display()
        )
    };
    NotDone(match why {
        Why::Opening(OpenError::Database(why)) if is_of_the_disk(why) => full(why),
        Why::Io(why) => full(why),
        Why::Opening(why) => format!("the back-up could not be made a book, and nothing was changed: {why}"),
        Why::Other(why) => {
            format!("the back-up could not be made a book, and nothing was changed: {why}. Take another one")
        }
    })
}

fn not_moved(to: &Path, why: &io::Error) -> NotDone {
    NotDone(format!(
        "the restored book could not be put at {} ({why}). If nothing is there now, what was there lies beside it under a name with 'replaced-': move that back, or restore again",
        to.display()
    ))
}

fn beside(path: &Path, end: &str) -> PathBuf {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    path.with_file_name(format!("{name}.{end}"))
}

fn with(path: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}{end}", path.display()))
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned()
}
