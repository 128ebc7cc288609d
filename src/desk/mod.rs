//! The only way to change anything, a file per act: one write is a page of the book, the projections, and the
//! rules' second look. Pages, API, import and demo all come through here; `rebuild` is the same code fed from the book.
pub mod act;
pub mod apply;
mod apply_people;
mod apply_reports;
pub mod backup;
pub mod begin;
mod board;
pub mod body;
pub mod book_check;
pub mod cabinet;
pub mod checkpoint;
pub mod clerk;
mod cores;
pub mod draft;
pub mod evidence;
mod evidence_pages;
pub mod figures;
pub mod grants;
pub mod health;
pub mod held;
pub mod history;
pub mod judge;
mod judge_again;
mod judge_reckoned;
mod judged_rows;
pub mod keep_codes;
pub mod keep_fleet;
pub mod keep_people;
pub mod keep_person;
pub mod keep_roster;
pub mod load;
mod load_dossiers;
pub mod measure;
pub mod notices;
mod office_bodies;
mod outlined;
pub mod oversee;
pub mod parts;
pub mod rebuild;
pub mod refused;
pub mod reports;
pub mod rows;
pub mod runs;
pub mod shop;
mod shop_apply;
pub mod shop_bodies;
mod shop_load;
pub mod shop_release;
pub mod shop_repair;
pub mod signed;
pub mod story;
pub mod tables;
pub mod tablets;
pub mod thresholds;
pub mod trial;
pub mod verify;
pub mod wanted;
pub mod watch;
pub mod world;

use std::{path::Path, sync::Arc};

use arc_swap::{ArcSwap, ArcSwapOption};
use futures_util::future::BoxFuture;
use sqlx::{Sqlite, SqliteConnection, SqlitePool, pool::PoolConnection};
use tokio::sync::oneshot;

pub use crate::db::writer::Trouble;
pub use act::Act;
pub use board::Board;
pub use draft::{Draft, Filed, Page};
pub use refused::Refused;
pub use world::World;

use crate::{
    base::{Clock, Instant},
    db::{self, OpenError, Opening, WriterOptions, Writing},
};
use act::Waiting;
use clerk::{Aside, DeskClerk, Job};

/// An open book: where everybody reads it and the one way to write in it.
#[derive(Clone)]
pub struct Desk {
    readers: SqlitePool,
    writing: Writing<Job>,
    world: Arc<ArcSwap<World>>,
    board: Arc<ArcSwapOption<Board>>,
    clock: Clock,
    /// Where the book lies.
    path: Arc<Path>,
    checking: book_check::Turn,
    tried: health::Tried,
}

/// How to open a desk; the default is what a server uses.
#[derive(Clone, Debug, Default)]
pub struct DeskOptions {
    pub opening: Opening,
    pub writer: WriterOptions,
    pub clock: Clock,
}

/// An act handed over, not yet answered.
pub struct Pending<T>(oneshot::Receiver<Result<T, Refused>>);

impl<T> Pending<T> {
    pub async fn answer(self) -> Result<T, Refused> {
        self.0
            .await
            .unwrap_or_else(|_| Err(Refused::Trouble(Trouble::Fault("the writer is gone".to_owned()))))
    }
}

impl Desk {
    /// Opens a book that is there: brings its tables up to this program, rebuilds projections whose shape changed.
    pub async fn open(path: &Path, options: DeskOptions) -> Result<Self, OpenError> {
        if !path.exists() {
            return Err(OpenError::NoSuchFile(path.display().to_string()));
        }
        let mut connection = db::open::writer(path, &options.opening).await?;
        db::migrate::migrate(&mut connection, path).await?;
        rebuild::if_shape_changed(&mut connection).await?;
        let readable = |why: world::Unreadable| OpenError::NotABook(why.to_string());
        let world = world::load(&mut connection).await.map_err(readable)?;
        let (frontier, _) = world::head(&mut connection).await.map_err(readable)?;
        let world = Arc::new(ArcSwap::from_pointee(world));
        let clerk = DeskClerk::new(options.clock.clone(), frontier, Arc::clone(&world));
        let writing = Writing::start(connection, clerk, options.writer)
            .map_err(|why| OpenError::NotABook(format!("the writer could not be started: {why}")))?;
        let readers = db::open::readers(path, 4).await?;
        Ok(Self {
            readers,
            writing,
            world,
            board: Arc::default(),
            clock: options.clock,
            path: path.into(),
            checking: book_check::Turn::default(),
            tried: health::Tried::default(),
        })
    }

    /// Closes the book so that it is one file again. A server that is killed loses nothing by not coming here.
    pub async fn close(self) {
        self.readers.close().await;
        self.writing.end().await;
    }

    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Railway, roster, people and class figures after the last commit.
    pub fn world(&self) -> Arc<World> {
        self.world.load_full()
    }

    /// A connection that can only read.
    pub async fn read(&self) -> Result<PoolConnection<Sqlite>, Trouble> {
        self.readers.acquire().await.map_err(|why| Trouble::from(&why))
    }

    /// The world, caught up with what another process may have written.
    pub async fn world_now(&self, db: &mut SqliteConnection) -> Result<Arc<World>, Trouble> {
        let shown = self.world();
        let sql = "SELECT world_seq FROM head";
        let seq: i64 =
            sqlx::query_scalar(sql).fetch_one(&mut *db).await.map_err(|why| Trouble::from(&why))?;
        if u64::try_from(seq).is_ok_and(|seq| seq <= shown.seq) {
            return Ok(shown);
        }
        let newer = Arc::new(world::load(db).await.map_err(|why| Trouble::Fault(why.to_string()))?);
        self.world.store(Arc::clone(&newer));
        Ok(newer)
    }

    /// Does it and waits for the disk. Whoever gives up waiting cancels nothing.
    pub async fn act<A: Act>(&self, act: A) -> Result<A::Answer, Refused> {
        self.hand_over(act, None)?.answer().await
    }

    /// Hands an act over at once. `at` counts as its time of recording, in a demo's book only.
    pub fn hand_over<A: Act>(&self, act: A, at: Option<Instant>) -> Result<Pending<A::Answer>, Refused> {
        let (reply, answer) = oneshot::channel();
        let job = Job::Act(Box::new(Waiting { act, at, answer: None, reply }));
        self.writing.try_hand(job).map_err(|_| Refused::Busy { retry_after_s: 2 })?;
        Ok(Pending(answer))
    }

    /// The same for imports: waits for a place in the queue, and shares its commit with many more.
    pub async fn hand_over_patiently<A: Act>(
        &self,
        act: A,
        at: Option<Instant>,
    ) -> Result<Pending<A::Answer>, Refused> {
        let (reply, answer) = oneshot::channel();
        let job = Job::Bulk(Box::new(Waiting { act, at, answer: None, reply }));
        self.writing
            .hand(job)
            .await
            .map_err(|_| Refused::Trouble(Trouble::Fault("the writer is gone".to_owned())))?;
        Ok(Pending(answer))
    }

    /// Changes something outside the book (a session, a draft) on the writer's connection. It has a
    /// transaction of its own.
    pub async fn aside<T, F>(&self, change: F) -> Result<T, Trouble>
    where
        T: Send + 'static,
        F: for<'a> FnOnce(&'a mut SqliteConnection) -> BoxFuture<'a, Result<T, sqlx::Error>> + Send + 'static,
    {
        let (reply, answer) = oneshot::channel();
        let job = Job::Aside(Box::new(AsideJob { change: Some(change), value: None, reply }));
        self.writing.try_hand(job).map_err(|_| Trouble::Locked)?;
        answer.await.unwrap_or_else(|_| Err(Trouble::Fault("the writer is gone".to_owned())))
    }
}

struct AsideJob<T, F> {
    change: Option<F>,
    value: Option<T>,
    reply: oneshot::Sender<Result<T, Trouble>>,
}

impl<T, F> Aside for AsideJob<T, F>
where
    T: Send + 'static,
    F: for<'a> FnOnce(&'a mut SqliteConnection) -> BoxFuture<'a, Result<T, sqlx::Error>> + Send + 'static,
{
    fn run<'a>(&'a mut self, db: &'a mut SqliteConnection) -> BoxFuture<'a, Result<(), sqlx::Error>> {
        Box::pin(async move {
            if let Some(change) = self.change.take() {
                self.value = Some(change(db).await?);
            }
            Ok(())
        })
    }

    fn finish(self: Box<Self>, outcome: Result<(), &Trouble>) {
        let answer = match (outcome, self.value) {
            (Err(trouble), _) => Err(trouble.clone()),
            (Ok(()), Some(value)) => Ok(value),
            (Ok(()), None) => Err(Trouble::Fault("nothing was done".to_owned())),
        };
        let _ = self.reply.send(answer);
    }
}
