//! The key that checkpoints are signed with: made once for a book, in a file of its own beside it.
use std::{
    fs::{self, OpenOptions},
    io::{self, Write as _},
    path::{Path, PathBuf},
};

use super::note::SecretKey;

/// Why there is no key to sign with, in a sentence.
#[derive(Debug)]
pub enum NoKey {
    Unreadable {
        at: PathBuf,
        why: String,
    },
    NotMade {
        at: PathBuf,
        why: io::Error,
    },
    /// It was made for another book.
    Foreign {
        at: PathBuf,
        name: String,
    },
}

impl std::fmt::Display for NoKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unreadable { at, why } => write!(
                f,
                "the key in {} cannot be read ({why}): put it back from where you keep a copy, or move it away and a new one is made",
                at.display()
            ),
            Self::NotMade { at, why } => write!(
                f,
                "the key could not be kept in {} ({why}): let the program write in that folder",
                at.display()
            ),
            Self::Foreign { at, name } => write!(
                f,
                "the key in {} belongs to another book ({name}): put this book's own beside it, or move that one away and a new one is made",
                at.display()
            ),
        }
    }
}
impl std::error::Error for NoKey {}

/// Where the key of the book at this path lies.
pub fn beside(book: &Path) -> PathBuf {
    let mut name = book.file_name().unwrap_or_default().to_owned();
    name.push(".key");
    book.with_file_name(name)
}

/// The book's key; makes it when there is none yet. Of two programs that make one at once, one wins and both use it.
pub fn of_book(book: &Path, origin: &str) -> Result<SecretKey, NoKey> {
    let at = beside(book);
    match read(&at, origin)? {
        Some(key) => Ok(key),
        None => {
            make(&at, origin).map_err(|why| NoKey::NotMade { at: at.clone(), why })?;
            let gone = io::Error::from(io::ErrorKind::NotFound);
            read(&at, origin)?.ok_or(NoKey::NotMade { at, why: gone })
        }
    }
}

/// The key in this file, if there is one: it has to be this book's.
pub fn read(at: &Path, origin: &str) -> Result<Option<SecretKey>, NoKey> {
    let unreadable = |why: String| NoKey::Unreadable { at: at.to_owned(), why };
    let text = match fs::read_to_string(at) {
        Ok(text) => text,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(why) => return Err(unreadable(why.to_string())),
    };
    let key = SecretKey::parse(&text).map_err(|why| unreadable(why.to_string()))?;
    match key.public().name() {
        name if name == origin => Ok(Some(key)),
        name => Err(NoKey::Foreign { at: at.to_owned(), name: name.to_owned() }),
    }
}

/// Written whole under another name, then named: nobody ever reads half a key.
fn make(at: &Path, origin: &str) -> io::Result<()> {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed).map_err(io::Error::other)?;
    let mut half = at.as_os_str().to_owned();
    half.push(format!(".{}", uuid::Uuid::new_v4()));
    let half = PathBuf::from(half);
    let kept = keep(&half, &SecretKey::of(origin, &seed).reveal()).and_then(|()| fs::hard_link(&half, at));
    let _ = fs::remove_file(&half);
    match kept {
        Err(why) if why.kind() == io::ErrorKind::AlreadyExists => Ok(()),
        kept => kept,
    }
}

/// Into a new file for its owner alone, on the disk when it is done.
pub fn keep(at: &Path, secret: &str) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(at)?;
    writeln!(file, "{secret}")?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_once_and_nobody_else_may_read_it() {
        let dir = tempfile::tempdir().unwrap();
        let book = dir.path().join("railway.db");
        let made = of_book(&book, "breakerbook/a").unwrap().public();
        assert_eq!(of_book(&book, "breakerbook/a").unwrap().public(), made);
        let left: Vec<_> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(left, ["railway.db.key"]);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(fs::metadata(beside(&book)).unwrap().permissions().mode() & 0o777, 0o600);
        }
        let why = of_book(&book, "breakerbook/b").unwrap_err().to_string();
        assert!(why.contains("another book (breakerbook/a)"), "{why}");
        fs::write(beside(&book), "PRIVATE+KEY+x").unwrap();
        let why = of_book(&book, "breakerbook/a").unwrap_err().to_string();
        assert!(why.contains("cannot be read"), "{why}");
        let nowhere = dir.path().join("no/such/railway.db");
        assert!(
            of_book(&nowhere, "breakerbook/a").unwrap_err().to_string().contains("let the program write")
        );
    }

    #[test]
    fn of_many_who_make_one_at_once_all_have_the_same() {
        let dir = tempfile::tempdir().unwrap();
        let book = dir.path().join("railway.db");
        let keys: Vec<String> = std::thread::scope(|all| {
            let one = || of_book(&book, "breakerbook/a").unwrap().public().to_string();
            let threads: Vec<_> = (0..8).map(|_| all.spawn(one)).collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        assert!(keys.iter().all(|key| *key == keys[0]), "{keys:?}");
    }
}
