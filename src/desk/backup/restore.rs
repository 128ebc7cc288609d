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
    folder::{Half, dated},
    is_of_the_disk, key_back,
    seal::{self, Label},
    told::{self, Told},
};
use crate::{
    base::{Clock, Instant},
    book,
    db::{self, OpenError, Opening, Trouble, open::private},
    desk::{checkpoint, rebuild, world},
};

/// A book that was restored.
#[derive(Clone, Debug)]
pub struct Restored {
    pub label: Label,
    /// What was there before, under its new name.
    pub replaced: Option<PathBuf>,
    /// What else somebody has to know, in sentences.
    pub says: Vec<String>,
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
    if let Some(db) = alone(to, db::open::alone(to)).await? {
        let _ = db.close().await;
    }
    let begun = clock.now();
    let label = check::check(from).await?;
    let half = Half(beside(to, &format!("{}.restoring", uuid::Uuid::new_v4())));
    let origin = grow(from, &half.0, &label).await.map_err(|why| not_grown(to, &why))?;
    let told = tale(from, &label, begun, clock.now());
    told::keep_in(&half.0, "restored", &told).await.map_err(|why| not_grown(to, &Why::from(why)))?;
    File::open(&half.0).and_then(|file| file.sync_all()).map_err(|why| not_moved(to, &why))?;
    let key = key_back::plan(from, to, &origin);
    let (replaced, seen) = put(&half.0, to, &key, &dated(clock.now())).await?;
    let unseen = (!seen).then(|| {
        "What was there could not be opened as a book, so that nobody could see whether a server still has it open: if one runs on it, stop it and start it again.".to_owned()
    });
    Ok(Restored { label, replaced, says: unseen.into_iter().chain([key.says]).collect() })
}

/// What the restored book tells of where it came from.
fn tale(from: &Path, label: &Label, begun: Instant, now: Instant) -> Told {
    Told {
        took_ms: now.since(begun) / 1_000,
        file: from.display().to_string(),
        bytes: fs::metadata(from).map(|file| file.len()).unwrap_or(0),
        size: label.end.size,
        root: label.end.root.to_string(),
        ..Told::at(now)
    }
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

/// A book of the same pages at `to`, as this program has its tables. What it is called in its checkpoints.
async fn grow(from: &Path, to: &Path, label: &Label) -> Result<String, Why> {
    private(to)?;
    fs::copy(from, to)?;
    #[cfg(unix)]
    fs::set_permissions(to, std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    let mut db = db::open::writer(to, &Opening { max_pages: None, throwaway: true }).await?;
    // What is made a book is this copy, and what was checked lies elsewhere: the pages are read through once more below.
    if seal::seal(&mut db, label.end, label.taken_at).await? != label.seal {
        return Err(Why::Other("while it was copied something beside its pages changed".into()));
    }
    seal::drop_label(&mut db).await?;
    db::migrate::bring_up(&mut db, to).await?;
    rebuild::if_shape_changed(&mut db).await?;
    let book::store::Rehashed { frontier, flaws, .. } = book::store::rehash(&mut db, &BTreeSet::new()).await;
    let head: Option<Vec<u8>> = sqlx::query_scalar("SELECT root FROM head").fetch_optional(&mut db).await?;
    let same = flaws.is_empty()
        && (frontier.size(), frontier.root()) == (label.end.size, label.end.root)
        && head.as_deref() == Some(label.end.root.0.as_slice());
    let opened = world::opened(&mut db).await.map_err(|why| Why::Other(why.to_string()))?;
    db.close().await?;
    same.then(|| checkpoint::origin(opened.book_id))
        .ok_or_else(|| Why::Other("the book that grew does not end where the back-up's does".into()))
}

/// Puts the new file in the old one's place. What was there, also a log that a killed server left, is kept: beside another
/// book it would be taken for that one's. Whether it could be seen that nobody had it open.
async fn put(
    new: &Path,
    to: &Path,
    key: &key_back::Plan,
    at: &str,
) -> Result<(Option<PathBuf>, bool), NotDone> {
    let was_there = to.exists();
    let alone = alone(to, db::open::alone_in_one_file(to)).await?;
    let kept = beside(to, &format!("replaced-{at}"));
    as_owned(new, to).map_err(|why| not_moved(to, &why))?;
    // Gone again, unless it was given its name.
    let new_key = Half(beside(to, &format!("{}.restoring.key", uuid::Uuid::new_v4())));
    if let Some(secret) = &key.comes {
        book::key::keep(&new_key.0, secret).map_err(|why| not_moved(to, &why))?;
        as_owned(&new_key.0, to).map_err(|why| not_moved(to, &why))?;
    }
    let ends = ["", "-wal", "-shm", "-journal"];
    let ends = ends.iter().chain(key.leaves.then_some(&".key")).filter(|end| with(to, end).exists());
    let mut moves: Vec<_> = ends.map(|end| (with(to, end), with(&kept, end))).collect();
    let any = !moves.is_empty();
    moves.extend(key.comes.is_some().then(|| (new_key.0.clone(), book::key::beside(to))));
    moves.push((new.to_owned(), to.to_owned()));
    rename_all(&moves).map_err(|why| not_moved(to, &why))?;
    File::open(folder_of(to)).and_then(|folder| folder.sync_all()).map_err(|why| not_confirmed(to, &why))?;
    let seen = alone.is_some() || !was_there;
    if let Some(db) = alone {
        let _ = db.close().await;
    }
    Ok((any.then_some(kept), seen))
}

/// One after the other, over nothing that is there; when one cannot be, those before it go back.
fn rename_all(moves: &[(PathBuf, PathBuf)]) -> io::Result<()> {
    for (done, (was, is)) in moves.iter().enumerate() {
        let there = || io::Error::other(format!("{} is there already", is.display()));
        let moved = if is.exists() { Err(there()) } else { fs::rename(was, is) };
        if let Err(why) = moved {
            moves.iter().take(done).rev().for_each(|(was, is)| drop(fs::rename(is, was)));
            return Err(why);
        }
    }
    Ok(())
}

/// For whoever owned what was there: a restored book that the server may not read would be no book to it.
fn as_owned(new: &Path, like: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if let Ok(was) = fs::metadata(like) {
        use std::os::unix::fs::{MetadataExt as _, chown};
        let now = fs::metadata(new)?;
        if (was.uid(), was.gid()) != (now.uid(), now.gid()) {
            chown(new, Some(was.uid()), Some(was.gid())).map_err(|why| {
                io::Error::other(format!(
                    "it cannot be given to the user who owns what is there, {why}: start the restoring as that user"
                ))
            })?;
        }
    }
    Ok(())
}

/// The book with nobody in it, held so; `None` when there is none, or nothing that can be opened as one.
async fn alone(
    path: &Path,
    opened: impl Future<Output = Result<SqliteConnection, sqlx::Error>>,
) -> Result<Option<SqliteConnection>, NotDone> {
    if !path.exists() {
        return Ok(None);
    }
    match opened.await {
        Ok(db) => Ok(Some(db)),
        Err(why) if Trouble::from(&why) == Trouble::Locked => Err(NotDone(format!(
            "{} is open in another program, which may be a server: stop that, and start the restoring again. Nothing was changed",
            path.display()
        ))),
        // A file so damaged that it is no database is a reason to restore; it is kept as it is.
        Err(why) if db::open::is_no_database(&why) => Ok(None),
        Err(why) => Err(NotDone(format!(
            "{} cannot be opened or written to ({why}): start the restoring as the user that serves the book. Nothing was changed",
            path.display()
        ))),
    }
}

fn not_grown(to: &Path, why: &Why) -> NotDone {
    use io::ErrorKind::{FileTooLarge, QuotaExceeded, StorageFull};
    let full = |why: &dyn std::fmt::Display| {
        format!(
            "there is no room beside {} or the disk fails ({why}): a restored book needs some three times the room of its back-up for a while. Nothing was changed",
            to.display()
        )
    };
    NotDone(match why {
        Why::Opening(OpenError::Database(why)) if is_of_the_disk(why) => full(why),
        Why::Io(why) if matches!(why.kind(), StorageFull | QuotaExceeded | FileTooLarge) => full(why),
        Why::Io(why) => format!(
            "the back-up could not be copied to beside {} ({why}): mend that, or give another name after --db. Nothing was changed",
            to.display()
        ),
        Why::Opening(why) => format!("the back-up could not be made a book, and nothing was changed: {why}"),
        Why::Other(why) => {
            format!("the back-up could not be made a book, and nothing was changed: {why}. Take another one")
        }
    })
}

fn not_moved(to: &Path, why: &io::Error) -> NotDone {
    NotDone(format!(
        "the restored book could not be put at {} ({why}), and what was there was left or put back: mend that, and restore again. Should nothing be there now, what was there lies beside it under a name with 'replaced-'",
        to.display()
    ))
}

fn not_confirmed(to: &Path, why: &io::Error) -> NotDone {
    NotDone(format!(
        "the restored book was put at {}, and its disk did not confirm that ({why}): look after the disk, and whether `breakerbook verify` finds the book whole, before it is served",
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_put_there_leaves_everything_where_it_was() {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        for name in ["book", "book-wal", "new"] {
            fs::write(at(name), name).unwrap();
        }
        let moves = |last: &str| {
            vec![
                (at("book"), at("kept")),
                (at("book-wal"), at("kept-wal")),
                (at("new"), at("book")),
                (at("none"), at(last)),
            ]
        };
        rename_all(&moves("gone")).unwrap_err();
        for name in ["book", "book-wal", "new"] {
            assert_eq!(fs::read_to_string(at(name)).unwrap(), name);
        }
        // Nothing is overwritten: what was kept a moment ago stays.
        fs::write(at("kept-wal"), "of another day").unwrap();
        let why = rename_all(&moves("gone")).unwrap_err().to_string();
        assert!(why.contains("kept-wal is there already"), "{why}");
        assert_eq!(fs::read_to_string(at("book")).unwrap(), "book");
        assert_eq!(fs::read_to_string(at("kept-wal")).unwrap(), "of another day");
    }
}
