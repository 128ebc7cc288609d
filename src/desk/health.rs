//! Whether the book can be read and written, found out by doing it.
use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use tokio::sync::Mutex;

use super::{Desk, Trouble};
use crate::db::{at_work::AtWork, room};

/// How the book does.
#[derive(Clone, Debug, PartialEq)]
pub struct Health {
    /// `None`: it cannot be read.
    pub pages: Option<u64>,
    /// Why it cannot be written, in a sentence.
    pub not_writable: Option<String>,
    pub waiting: usize,
    pub oldest: Option<Duration>,
}

/// The last try to write, and when it was.
pub(super) type Tried = Arc<Mutex<Option<(Instant, Option<String>)>>>;

/// However many ask, the disk is not asked more often.
const EVERY: Duration = Duration::from_secs(10);
const PATIENCE: Duration = Duration::from_secs(5);
/// Less room than this is none: a group of an import alone may want that much.
const LEAST_ROOM: u64 = 16 << 20;

impl Desk {
    pub async fn health(&self) -> Health {
        let pages = tokio::time::timeout(PATIENCE, self.pages()).await.ok().flatten();
        let at_work = self.writing.at_work();
        Health {
            pages,
            not_writable: self.not_writable().await,
            waiting: self.writing.waiting(),
            oldest: at_work.oldest(),
        }
    }

    /// What the writer is doing.
    pub fn at_work(&self) -> &AtWork {
        self.writing.at_work()
    }

    /// Pages in the book; `None` when it cannot be read.
    pub async fn pages(&self) -> Option<u64> {
        let mut db = self.read().await.ok()?;
        let size: i64 = sqlx::query_scalar("SELECT size FROM head").fetch_one(&mut *db).await.ok()?;
        u64::try_from(size).ok()
    }

    async fn not_writable(&self) -> Option<String> {
        let mut tried = self.tried.lock().await;
        if let Some((_, says)) = tried.as_ref().filter(|(at, _)| at.elapsed() < EVERY) {
            // What the writer met since counts more.
            return self.at_work().trouble().map(|trouble| trouble.to_string()).or_else(|| says.clone());
        }
        let says = self.try_to_write().await;
        *tried = Some((Instant::now(), says.clone()));
        says
    }

    async fn try_to_write(&self) -> Option<String> {
        if room::free_beside(&self.path).is_some_and(|free| free < LEAST_ROOM) {
            return Some(Trouble::DiskFull.to_string());
        }
        match tokio::time::timeout(PATIENCE, self.write_nothing()).await {
            Ok(Ok(())) => None,
            Ok(Err(trouble)) => Some(trouble.to_string()),
            Err(_) => Some(
                "the writer has not answered for five seconds: look at the disk, and at the log".to_owned(),
            ),
        }
    }

    /// Takes room in the file, gives it back, and commits: what a full or read-only disk refuses. Nothing is changed.
    async fn write_nothing(&self) -> Result<(), Trouble> {
        self.aside(|db| {
            Box::pin(async move {
                let sql = "INSERT INTO parked_form (id, sign_in, path, fields, parked_at) VALUES ('', '', '', hex(zeroblob(32768)), 0);
                    DELETE FROM parked_form WHERE id = '';
                    UPDATE head SET size = size;";
                sqlx::raw_sql(sql).execute(db).await.map(drop)
            })
        })
        .await
    }
}
