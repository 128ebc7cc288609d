//! The folder that back-ups lie in: their names, one at a time, what is left of broken ones, and pruning.
use std::{
    fs::{self, File, TryLockError},
    io,
    path::{Path, PathBuf},
};

use super::NotDone;
use crate::{
    base::{Instant, instant::DAY},
    book::key,
    db::open::private,
};

const END: &str = ".backup";

/// A folder that only this program's back-up is putting something into. The lock goes with its process, however that ends.
pub struct Folder {
    path: PathBuf,
    _lock: File,
}

/// One that has a back-up's name. Whether it is one, only reading it through can say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lying {
    pub path: PathBuf,
    pub at: Instant,
}

impl Folder {
    /// Takes the folder. It is not made: a disk that is not mounted would be filled up under its name.
    pub fn take(path: &Path) -> Result<Self, NotDone> {
        if !path.is_dir() {
            return Err(NotDone(format!(
                "there is no folder {}: make it, or mount the disk that it is on, and start the back-up again",
                path.display()
            )));
        }
        let lock =
            File::create(path.join(".breakerbook-backups.lock")).map_err(|why| unwritable(path, &why))?;
        match lock.try_lock() {
            Ok(()) => Ok(Self { path: path.to_owned(), _lock: lock }),
            Err(TryLockError::WouldBlock) => Err(NotDone(format!(
                "another back-up into {} is under way: wait until it has ended, and start this one again if it is still wanted",
                path.display()
            ))),
            Err(TryLockError::Error(why)) => Err(unwritable(path, &why)),
        }
    }

    /// Takes away what is left of back-ups that were killed: whoever holds the folder is the only one at work.
    pub fn sweep(&self) {
        let names = names(&self.path);
        let halves = names.iter().filter(|name| name.starts_with(HALF) && name.contains(HALF_END));
        halves.for_each(|name| drop(fs::remove_file(self.path.join(name))));
    }

    /// A file that is no back-up yet: another name, hidden, for its owner alone (it holds hashes of passwords).
    pub fn half(&self) -> Result<Half, NotDone> {
        let half = self.no_half_yet();
        private(&half.0).map_err(|why| unwritable(&self.path, &why))?;
        Ok(half)
    }

    fn no_half_yet(&self) -> Half {
        Half(self.path.join(format!("{HALF}{}{HALF_END}", uuid::Uuid::new_v4())))
    }

    /// Gives a whole back-up its name, once it is on the disk; the key has its own before that, so that no back-up that
    /// is listed is without.
    pub fn name(
        &self,
        half: &Half,
        names: &Names,
        at: Instant,
        secret: Option<&str>,
    ) -> Result<PathBuf, NotDone> {
        let to = self.path.join(names.of(at));
        if to.exists() {
            return Err(NotDone(format!(
                "{} is there already and stays as it is: wait a second and start again",
                to.display()
            )));
        }
        let named = || -> io::Result<()> {
            File::open(&half.0)?.sync_all()?;
            if let Some(secret) = secret {
                let new = self.no_half_yet();
                key::keep(&new.0, secret)?;
                fs::rename(&new.0, key::beside(&to))?;
            }
            fs::rename(&half.0, &to)?;
            File::open(&self.path)?.sync_all()
        };
        named().map(|()| to.clone()).map_err(|why| {
            if !to.exists() {
                let _ = fs::remove_file(key::beside(&to));
            }
            unwritable(&self.path, &why)
        })
    }
}

/// What a book's back-ups are called: its file's name without the extension, and a print of its first page, so that two books
/// of one name do not prune each other.
pub struct Names(String);

impl Names {
    pub fn new(db: &Path, print: &str) -> Self {
        let stem = db.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        Self(format!("{stem}.{print}."))
    }

    fn of(&self, at: Instant) -> String {
        format!("{}{}{END}", self.0, dated(at))
    }

    /// Those of this book that lie there, the latest first.
    pub fn lying(&self, folder: &Path) -> Vec<Lying> {
        let at = |name: &str| name.strip_prefix(&self.0)?.strip_suffix(END).and_then(moment);
        let one = |name: String| at(&name).map(|at| Lying { path: folder.join(name), at });
        let mut all: Vec<Lying> = names(folder).into_iter().filter_map(one).collect();
        all.sort_by_key(|one| std::cmp::Reverse(one.at));
        all
    }
}

/// One that lies there, for a list.
#[derive(Clone, Debug)]
pub struct Found {
    pub name: String,
    pub at: Instant,
    pub bytes: u64,
    /// Whether the key that checkpoints are signed with lies beside it.
    pub with_key: bool,
}

impl Names {
    /// The same with what the folder says of each; `None` where there is no folder.
    pub fn found(&self, folder: &Path) -> Option<Vec<Found>> {
        let one = |lying: Lying| Found {
            name: lying.path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
            at: lying.at,
            bytes: fs::metadata(&lying.path).map(|file| file.len()).unwrap_or(0),
            with_key: key::beside(&lying.path).is_file(),
        };
        folder.is_dir().then(|| self.lying(folder).into_iter().map(one).collect())
    }
}

/// Those from before `keep_days` days. The latest of them all is never among them: beside the new one another stays,
/// whatever a clock that runs ahead says.
pub fn aged(lying: &[Lying], keep_days: u32, now: Instant) -> Vec<Lying> {
    let before = now.minus(i64::from(keep_days).saturating_mul(DAY));
    lying.iter().skip(1).filter(|one| one.at < before).cloned().collect()
}

/// Removes a back-up and the key beside it; the key last, so that no back-up is left without.
pub fn remove(one: &Lying) -> bool {
    let gone = fs::remove_file(&one.path).is_ok();
    if gone {
        let _ = fs::remove_file(key::beside(&one.path));
    }
    gone
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

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.filter_map(|entry| entry.file_name().into_string().ok()).collect()
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

    fn lying(days: &[&str]) -> Vec<Lying> {
        let one = |day: &&str| Lying {
            path: format!("{day}.backup").into(),
            at: Instant::parse(&format!("{day}T03:00:00Z")).unwrap(),
        };
        days.iter().map(one).collect()
    }

    #[test]
    fn by_age_and_whatever_the_clock_says_two_stay() {
        let all = lying(&["2026-05-30", "2026-05-02", "2026-05-01", "2026-04-01"]);
        let left_by = |now: &str, keep| {
            let now = Instant::parse(now).unwrap();
            let old = aged(&all, keep, now);
            all.iter().filter(|one| !old.contains(one)).count()
        };
        assert_eq!(left_by("2026-06-01T03:00:00Z", 30), 2, "30 days before is 2 May, which is not older");
        assert_eq!(left_by("2026-06-01T03:00:00Z", 31), 3);
        assert_eq!(left_by("2026-06-01T03:00:00Z", 0), 1, "beside the new one");
        assert_eq!(left_by("2226-06-01T03:00:00Z", 30), 1, "a clock that is two hundred years ahead");
        assert_eq!(left_by("1970-01-01T00:00:00Z", 30), 4, "a clock that was set back");
        assert_eq!(left_by("2026-06-01T03:00:00Z", u32::MAX), 4);
        assert_eq!(aged(&[], 0, Instant(0)), []);
    }

    #[test]
    fn halves_and_other_books_are_not_among_those_that_lie_there() {
        let dir = tempfile::tempdir().unwrap();
        let names = Names::new(Path::new("/srv/railway.db"), "0a1b2c3d");
        let (a, b) =
            ("railway.0a1b2c3d.2026-05-01T030000Z.backup", "railway.0a1b2c3d.2026-05-02T030000Z.backup");
        for name in [
            a,
            b,
            ".breakerbook-0000.half",
            ".breakerbook-0000.half-journal",
            "railway.0a1b2c3d.2026-05-03T030000Z.backup.key",
            "railway.0a1b2c3d.2026-05-03T030000Z.backup-journal",
            "railway.99999999.2026-05-03T030000Z.backup",
            "railway.2026-05-03T030000Z.backup",
            "railway.0a1b2c3d.2026-05-03.backup",
        ] {
            fs::write(dir.path().join(name), "x").unwrap();
        }
        let found: Vec<_> = names.lying(dir.path()).into_iter().map(|one| one.path).collect();
        assert_eq!(found, [dir.path().join(b), dir.path().join(a)]);
    }
}
