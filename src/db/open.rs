//! How the file is opened. Each pragma has its reason.
use std::{fs::OpenOptions, io, path::Path, time::Duration};

use sqlx::{
    ConnectOptions, SqliteConnection, SqlitePool,
    sqlite::{
        SqliteConnectOptions, SqliteJournalMode, SqliteLockingMode, SqlitePoolOptions, SqliteSynchronous,
    },
};

/// Why a book could not be opened: each says what to do.
#[derive(Debug)]
pub enum OpenError {
    NoSuchFile(String),
    AlreadyThere(String),
    NewerThanProgram(String),
    NotABook(String),
    /// It lies where nothing can be written, its log neither.
    OnlyRead(String),
    /// The copy that is taken before tables change.
    NotCopied(String, String),
    Database(sqlx::Error),
}

impl std::fmt::Display for OpenError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoSuchFile(path) => {
                write!(f, "there is no book at {path}: begin one with `breakerbook init --db {path} …`")
            }
            Self::AlreadyThere(path) => {
                write!(f, "{path} is already there and stays as it is: give another name")
            }
            Self::NewerThanProgram(path) => write!(
                f,
                "{path} was written by a newer breakerbook than this one and was left untouched: start the newer program"
            ),
            Self::NotABook(why) => write!(f, "this file is not a book that this program can read: {why}"),
            Self::NotCopied(path, why) => write!(
                f,
                "the book's tables have to be brought up to this program, and the copy of it that comes first, {path}, could not be made ({why}): make room on that disk and start again. The book was left untouched"
            ),
            Self::OnlyRead(path) => write!(
                f,
                "{path} lies on a disk or in a folder that can only be read: nothing can be written down in it. It can still be read with `findings`, `bypasses`, `entries` and `verify`. Make the place writable, or copy the book and its -wal file to one that is, and start again"
            ),
            Self::Database(why) => write!(f, "the file could not be opened or read: {why}"),
        }
    }
}
impl std::error::Error for OpenError {}
impl From<sqlx::Error> for OpenError {
    fn from(why: sqlx::Error) -> Self {
        Self::Database(why)
    }
}

/// How to open, beyond the path.
#[derive(Clone, Debug, Default)]
pub struct Opening {
    /// `PRAGMA max_page_count`: a test's full disk.
    pub max_pages: Option<u32>,
    /// A file that is thrown away: nothing in it need survive a power cut.
    pub throwaway: bool,
}

fn options(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(false)
        // Readers go on while the writer writes.
        .journal_mode(SqliteJournalMode::Wal)
        // An answered report survives a power cut: every commit waits for the disk.
        .synchronous(SqliteSynchronous::Full)
        // Another process (an import beside a running server) may hold the write lock for a moment.
        .busy_timeout(Duration::from_secs(20))
        .foreign_keys(false)
        // Rows on their way from SQLite's thread: with the usual 50, long reads spend their time waking each other.
        .row_buffer_size(1_024)
        .disable_statement_logging()
}

/// The writer's connection. Fewer, larger checkpoints: measured 15,000 against 11,000 reports a second.
pub async fn writer(path: &Path, how: &Opening) -> Result<SqliteConnection, OpenError> {
    let mut options = options(path).pragma("wal_autocheckpoint", "10000").pragma("cache_size", "-65536");
    if how.throwaway {
        options = options.synchronous(SqliteSynchronous::Off);
    }
    if let Some(max) = how.max_pages {
        options = options.pragma("max_page_count", max.to_string());
    }
    options.connect().await.map_err(|why| not_opened(path, why))
}

/// SQLite opens a file without the right to write in it, but no log beside it: 14 CANTOPEN.
fn not_opened(path: &Path, why: sqlx::Error) -> OpenError {
    match primary_code(&why) {
        Some(14) if path.exists() => OpenError::OnlyRead(path.display().to_string()),
        _ => OpenError::Database(why),
    }
}

/// A primary result code of SQLite.
fn primary_code(why: &sqlx::Error) -> Option<i32> {
    why.as_database_error()
        .and_then(|e| e.code().and_then(|code| code.parse::<i32>().ok()))
        .map(|code| code & 0xff)
}

/// Connections that can only read: `query_only` refuses every write.
pub async fn readers(path: &Path, count: u32) -> Result<SqlitePool, OpenError> {
    let options = options(path).pragma("query_only", "1").pragma("cache_size", "-16384");
    let pool = SqlitePoolOptions::new().max_connections(count).acquire_timeout(Duration::from_secs(10));
    pool.connect_with(options).await.map_err(|why| not_opened(path, why))
}

/// A file that becomes a back-up: one file from the first byte on, on the disk with every commit.
pub async fn copy(path: &Path) -> Result<SqliteConnection, OpenError> {
    let options = SqliteConnectOptions::new()
        .filename(path)
        .synchronous(SqliteSynchronous::Normal)
        .busy_timeout(Duration::from_secs(20))
        .foreign_keys(false)
        .disable_statement_logging();
    Ok(options.connect().await?)
}

/// A back-up as it lies there: nothing is written in it or beside it, not even a log.
pub async fn untouched(path: &Path) -> Result<SqliteConnection, OpenError> {
    let options = SqliteConnectOptions::new()
        .filename(path)
        .read_only(true)
        .immutable(true)
        .disable_statement_logging();
    Ok(options.connect().await?)
}

/// The book with nobody else in it. Every connection to a book with a log holds SQLite's shared lock on the file for as
/// long as it is open, and gives it back however its process ends: so this is refused as long as anybody has the book
/// open, in whatever program, and never because of one that is gone.
pub async fn alone(path: &Path) -> Result<SqliteConnection, sqlx::Error> {
    let options = SqliteConnectOptions::new()
        .filename(path)
        .busy_timeout(Duration::from_secs(1))
        .locking_mode(SqliteLockingMode::Exclusive)
        .foreign_keys(false)
        .disable_statement_logging();
    let mut db = options.connect().await?;
    sqlx::raw_sql("BEGIN EXCLUSIVE; COMMIT;").execute(&mut db).await?;
    Ok(db)
}

/// The same with its log folded in and gone: a connection that closes removes the log by its name, and under that name the
/// log of another book may lie by then.
pub async fn alone_in_one_file(path: &Path) -> Result<SqliteConnection, sqlx::Error> {
    let mut db = alone(path).await?;
    sqlx::raw_sql("PRAGMA journal_mode = DELETE; BEGIN EXCLUSIVE; COMMIT;").execute(&mut db).await?;
    Ok(db)
}

/// What is there is no database, or so damaged that it cannot be opened as one.
pub fn is_no_database(why: &sqlx::Error) -> bool {
    // 26 NOTADB, 11 CORRUPT.
    matches!(primary_code(why), Some(26 | 11))
}

/// A new, empty file that only its owner may read.
pub fn private(path: &Path) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop)
}

/// Creates the empty file; refuses one that is there.
pub async fn create(path: &Path) -> Result<(), OpenError> {
    if path.exists() {
        return Err(OpenError::AlreadyThere(path.display().to_string()));
    }
    drop(options(path).create_if_missing(true).connect().await?);
    Ok(())
}
