//! The folder that back-ups lie in: their names, one at a time, what is left of broken ones, and pruning.
use std::{
    fs::{self, File, OpenOptions, TryLockError},
    io,
    path::{Path, PathBuf},
};

use super::NotDone;
use crate::base::{Instant, instant::DAY};

const END: &str = ".backup";

/// A folder that only this program's back-up is putting something into. The lock goes with its process, however that ends.
pub struct Folder {
    path: PathBuf,
    /// The book's file name without its extension, and what tells its book from another of the same name.
    prefix: String,
    _lock: File,
}

impl Folder {
    /// Takes the folder. It is not made: a disk that is not mounted would be filled up under its name.
    pub fn take(path: &Path, db: &Path) -> Result<Self, NotDone> {
        if !path.is_dir() {
            return Err(NotDone(format!(
                "there is no folder {}: make it, or mount the disk that it is on, and start the back-up again",
                path.display()
            )));
        }
        let lock =
            File::create(path.join(".breakerbook-backups.lock")).map_err(|why| unwritable(path, &why))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(NotDone(format!(
                    "another back-up into {} is under way: wait until it has ended, and start this one again if it is still wanted",
                    path.display()
                )));
            }
            Err(TryLockError::Error(why)) => return Err(unwritable(path, &why)),
        }
        let stem = db.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        Ok(Self { path: path.to_owned(), prefix: stem, _lock: lock })
    }

    /// Takes away what is left of back-ups that were killed: whoever holds the folder is the only one at work.
    pub fn sweep(&self) {
        let names = names(&self.path);
        let halves = names.iter().filter(|name| name.starts_with(HALF) && name.contains(HALF_END));
        halves.for_each(|name| drop(fs::remove_file(self.path.join(name))));
    }

    /// A file that is no back-up yet: another name, hidden, for its owner alone (it holds hashes of passwords).
    pub fn half(&self) -> Result<Half, NotDone> {
        let half = Half(self.path.join(format!("{HALF}{}{HALF_END}", uuid::Uuid::new_v4())));
        private(&half.0).map_err(|why| unwritable(&self.path, &why))?;
        Ok(half)
    }

    /// Gives a whole back-up its name, once it is on the disk. `book` is the print of the book's first page.
    pub fn name(&mut self, half: &Half, book: &str, at: Instant) -> Result<PathBuf, NotDone> {
        self.prefix = format!("{}.{book}.", self.prefix);
        let to = self.path.join(format!("{}{}{END}", self.prefix, dated(at)));
        if to.exists() {
            return Err(NotDone(format!(
                "{} is there already and stays as it is: wait a second and start again",
                to.display()
            )));
        }
        let named = File::open(&half.0)
            .and_then(|file| file.sync_all())
            .and_then(|()| fs::rename(&half.0, &to))
            .and_then(|()| File::open(&self.path)?.sync_all());
        named.map_err(|why| unwritable(&self.path, &why))?;
        Ok(to)
    }

    /// Removes this book's back-ups from before `keep_days` days; never `newest`, which was just found good.
    pub fn prune(&self, newest: &Path, keep_days: u32, now: Instant) -> Vec<PathBuf> {
        let before = now.minus(i64::from(keep_days).saturating_mul(DAY));
        let old = |name: &String| {
            let at = name.strip_prefix(&self.prefix).and_then(|rest| rest.strip_suffix(END)).and_then(moment);
            at.is_some_and(|at| at < before)
        };
        let paths = names(&self.path).into_iter().filter(old).map(|name| self.path.join(name));
        paths.filter(|path| path != newest && fs::remove_file(path).is_ok()).collect()
    }
}

const HALF: &str = ".breakerbook-";
const HALF_END: &str = ".half";

/// A half-made file: gone when it is dropped, unless it was given its name.
pub struct Half(pub PathBuf);

impl Drop for Half {
    fn drop(&mut self) {
        for end in ["", "-journal", "-wal", "-shm"] {
            let _ = fs::remove_file(format!("{}{end}", self.0.display()));
        }
    }
}

/// A new file that only its owner may read.
pub fn private(path: &Path) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop)
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

fn unwritable(path: &Path, why: &io::Error) -> NotDone {
    NotDone(format!(
        "the folder {} cannot be written to ({why}): mend that or give another folder. Nothing was kept of this back-up, and earlier ones are as they were",
        path.display()
    ))
}

/// `2026-11-26T030007Z`: the moment in UTC, as a name that every file system takes.
pub fn dated(at: Instant) -> String {
    Instant(at.0 - at.0.rem_euclid(1_000_000)).to_z().replace(':', "")
}

fn moment(text: &str) -> Option<Instant> {
    let (day, time) = text.split_once('T')?;
    let (hour, rest) = (time.get(..2)?, time.get(2..)?);
    let at = Instant::parse(&format!("{day}T{hour}:{}:{}", rest.get(..2)?, rest.get(2..)?))?;
    (dated(at) == text).then_some(at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_says_when_and_nothing_else_is_taken_for_one() {
        let at = Instant::parse("2026-11-26T03:00:07.25Z").unwrap();
        assert_eq!(dated(at), "2026-11-26T030007Z");
        assert_eq!(moment("2026-11-26T030007Z"), Instant::parse("2026-11-26T03:00:07Z"));
        for other in
            ["", "2026-11-26", "2026-11-26T030007", "2026-11-26T030007Z.half", "T", "2026-11-26T03\u{e4}07Z"]
        {
            assert_eq!(moment(other), None, "{other}");
        }
    }
}
