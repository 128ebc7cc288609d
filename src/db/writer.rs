//! The one writer. Whoever wants something changed hands it a job and waits; the writer takes what is waiting
//! (at most [`GROUP`] jobs, [`BULK`] of an import), lets its [`Clerk`] decide and write them in one transaction, and answers after COMMIT.
use std::{
    panic::AssertUnwindSafe,
    sync::Arc,
    time::{Duration, Instant},
};

use sqlx::{Connection, SqliteConnection};
use sqlx_core::transaction::TransactionManager as _;
use tokio::sync::{mpsc, watch};

use super::at_work::AtWork;

/// Jobs in one commit, at most, while somebody waits for each at a screen.
pub const GROUP: usize = 64;
/// The same for jobs that nobody waits for: what a group shares (a unit's histories, the pages of the file's trees) is
/// read, judged and written once for more of them.
pub const BULK: usize = 2_048;
/// Jobs that may wait at screens. Beyond it whoever comes is told to come again.
pub const QUEUE: usize = 1024;
/// Places in the queue: an import may have two groups in it besides.
const PLACES: usize = QUEUE + 2 * BULK;

/// Decides and writes for the writer, in a room that knows what is written.
pub trait Clerk: Send + 'static {
    type Job: Send + 'static;

    /// Decides every job in order and writes the outcome inside the transaction that is open on `db`. A job that
    /// is refused keeps its answer for later; an error here undoes the whole group.
    fn carry_out(
        &mut self,
        db: &mut SqliteConnection,
        jobs: &mut [Self::Job],
    ) -> impl Future<Output = Result<(), sqlx::Error>>;

    /// How many jobs a group with this one in it may have. 1 for a job that cannot be decided twice, and so must
    /// not be in a group that may have to be replayed.
    fn room(job: &Self::Job) -> usize;

    /// The group is on the disk: only now may caches follow.
    fn committed(&mut self);

    /// The group is undone: forget what was decided.
    fn undone(&mut self);

    /// Tells whoever waits. `Err` is the machine failing, never a refusal.
    fn answer(&mut self, job: Self::Job, outcome: Result<(), &Trouble>);
}

/// The machine failed, in a sentence that says what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    DiskFull,
    ReadOnly,
    /// The disk took something else than what was written, or nothing.
    Disk,
    /// Another process kept the write lock too long.
    Locked,
    /// The program's own fault.
    Fault(String),
}

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::DiskFull => f.write_str(
                "the disk that holds the book is full: nothing of this was kept. Keep what you typed, tell the administrator, and send it again",
            ),
            Self::ReadOnly => f.write_str(
                "the book's file cannot be written to: nothing of this was kept. Keep what you typed and tell the administrator",
            ),
            Self::Disk => f.write_str(
                "the disk that holds the book cannot be read or written: nothing of this was kept. Keep what you typed, tell the administrator, and send it again once the disk is seen to",
            ),
            Self::Locked => f.write_str("another program is writing in the book: nothing of this was kept. Send it again in a minute"),
            Self::Fault(_) => f.write_str("the program failed on this and kept nothing of it: send it again, and tell the administrator if it stays so"),
        }
    }
}

impl From<&sqlx::Error> for Trouble {
    fn from(why: &sqlx::Error) -> Self {
        let code = why.as_database_error().and_then(|e| e.code().map(|c| c.into_owned()));
        // Primary result codes of SQLite: 13 FULL, 10 IOERR, 8 READONLY, 5 BUSY, 6 LOCKED.
        match code.as_deref().and_then(|c| c.parse::<i32>().ok()).map(|c| c & 0xff) {
            Some(13) => Self::DiskFull,
            Some(8) => Self::ReadOnly,
            Some(10) => Self::Disk,
            Some(5 | 6) => Self::Locked,
            _ => Self::Fault(why.to_string()),
        }
    }
}

#[derive(Clone, Copy, Debug, Default)]
pub struct WriterOptions {
    /// Slept after each commit: what a slower disk would do, for measuring.
    pub slower_by: Duration,
}

/// The queue of the writer, for everybody.
pub struct Writing<J> {
    /// A job, and when it was handed in.
    queue: mpsc::Sender<(Instant, J)>,
    at_work: Arc<AtWork>,
    /// Its other end goes with the writer.
    writer: watch::Receiver<()>,
}
impl<J> Clone for Writing<J> {
    fn clone(&self) -> Self {
        Self { queue: self.queue.clone(), at_work: Arc::clone(&self.at_work), writer: self.writer.clone() }
    }
}

impl<J: Send + 'static> Writing<J> {
    /// Starts the writer on a thread of its own: deciding is reckoning, and must not hold up the web.
    pub fn start<C: Clerk<Job = J>>(
        db: SqliteConnection,
        clerk: C,
        options: WriterOptions,
    ) -> std::io::Result<Self> {
        let (queue, jobs) = mpsc::channel(PLACES);
        let (alive, writer) = watch::channel(());
        let at_work = Arc::new(AtWork::default());
        let told = Arc::clone(&at_work);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        std::thread::Builder::new().name("writer".to_owned()).spawn(move || {
            runtime.block_on(write_until_closed(db, clerk, jobs, (&told, options)));
            drop(alive);
        })?;
        Ok(Self { queue, at_work, writer })
    }

    /// Lets go of the queue and waits until the writer has folded its log into the file. Returns at once when
    /// somebody else still holds the queue.
    pub async fn end(self) {
        let Self { queue, mut writer, .. } = self;
        if queue.strong_count() > 1 {
            return;
        }
        drop(queue);
        while writer.changed().await.is_ok() {}
    }

    /// Hands a job over at once; gives it back when the queue is full.
    pub fn try_hand(&self, job: J) -> Result<(), J> {
        if self.queue.capacity() <= PLACES - QUEUE {
            return Err(job);
        }
        self.queue.try_send((Instant::now(), job)).map_err(|back| back.into_inner().1)
    }

    /// Waits for a place in the queue; for imports, which have no one waiting at a screen.
    pub async fn hand(&self, job: J) -> Result<(), J> {
        self.queue.send((Instant::now(), job)).await.map_err(|back| back.0.1)
    }

    /// Jobs that wait for their group.
    pub fn waiting(&self) -> usize {
        PLACES - self.queue.capacity()
    }

    /// What the writer is doing, for whoever watches it.
    pub fn at_work(&self) -> &AtWork {
        &self.at_work
    }
}

async fn write_until_closed<C: Clerk>(
    mut db: SqliteConnection,
    mut clerk: C,
    mut jobs: mpsc::Receiver<(Instant, C::Job)>,
    (at_work, options): (&AtWork, WriterOptions),
) {
    let mut held_over = None;
    loop {
        let (since, first) = match held_over.take() {
            Some(job) => job,
            None => match jobs.recv().await {
                Some(job) => job,
                None => break,
            },
        };
        let mut room = C::room(&first);
        let mut group = Vec::with_capacity(room);
        group.push(first);
        while group.len() < room
            && let Ok((since, next)) = jobs.try_recv()
        {
            let with_next = C::room(&next);
            if with_next <= group.len() {
                held_over = Some((since, next));
                break;
            }
            room = room.min(with_next);
            group.push(next);
        }
        at_work.begins(since, group.len());
        write_group(&mut db, &mut clerk, group, (at_work, options)).await;
        at_work.ends();
    }
    // A clean last word: the log is folded into the file when nobody writes any more.
    let _ = sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut db).await;
    let _ = db.close().await;
}

async fn write_group<C: Clerk>(
    db: &mut SqliteConnection,
    clerk: &mut C,
    mut group: Vec<C::Job>,
    how: (&AtWork, WriterOptions),
) {
    match attempt(db, clerk, &mut group, how).await {
        Ok(()) => group.into_iter().for_each(|job| clerk.answer(job, Ok(()))),
        Err(trouble) if group.len() == 1 => {
            tracing::error!(?trouble, "a job could not be written");
            group.into_iter().for_each(|job| clerk.answer(job, Err(&trouble)));
        }
        Err(trouble) => {
            // One of them is at fault: singly, the others still get through.
            tracing::warn!(
                ?trouble,
                jobs = group.len(),
                "a group was undone and is written again one by one"
            );
            for job in group {
                let mut alone = vec![job];
                let outcome = attempt(db, clerk, &mut alone, how).await;
                alone.into_iter().for_each(|job| clerk.answer(job, outcome.as_ref().copied()));
            }
        }
    }
}

async fn attempt<C: Clerk>(
    db: &mut SqliteConnection,
    clerk: &mut C,
    jobs: &mut [C::Job],
    (at_work, options): (&AtWork, WriterOptions),
) -> Result<(), Trouble> {
    use futures_util::FutureExt;
    // IMMEDIATE: a read that turns into a write fails at once when somebody else wrote in between.
    let carried = async {
        let mut tx = db.begin_with("BEGIN IMMEDIATE").await?;
        clerk.carry_out(&mut tx, jobs).await?;
        if !options.slower_by.is_zero() {
            tokio::time::sleep(options.slower_by).await;
        }
        tx.commit().await
    };
    let outcome = match AssertUnwindSafe(carried).catch_unwind().await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(why)) => Err(Trouble::from(&why)),
        Err(_) => Err(Trouble::Fault("a panic while writing".to_owned())),
    };
    at_work.told(&outcome);
    match &outcome {
        Ok(()) => clerk.committed(),
        Err(_) => {
            let_go(db).await;
            clerk.undone();
        }
    }
    outcome
}

/// Where the disk is full or fails, SQLite may undo a transaction by itself (lang_transaction.html, 3.1). sqlx then goes on
/// counting one that nobody can end, and would begin no other on this connection, ever.
async fn let_go(db: &mut SqliteConnection) {
    type Transactions = <sqlx::Sqlite as sqlx::Database>::TransactionManager;
    // Answered after what the dropped transaction asked for.
    let _ = db.ping().await;
    while Transactions::get_transaction_depth(db) > 0 {
        let _ = sqlx::raw_sql("BEGIN").execute(&mut *db).await;
        if Transactions::rollback(db).await.is_err() {
            return;
        }
    }
}
