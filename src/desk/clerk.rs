//! The desk's hand at the writer: decides a group's acts in memory and writes them in one go.
use std::sync::Arc;

use arc_swap::ArcSwap;
use sqlx::SqliteConnection;

use super::{
    act::Errand,
    cabinet::Cabinet,
    draft::Draft,
    load::damaged,
    world::{self, World},
};
use crate::{
    base::Clock,
    book::Frontier,
    db::{
        Clerk,
        writer::{self, Trouble},
    },
};

/// What waits at the writer: an act, or something outside the book.
pub enum Job {
    Act(Box<dyn Errand>),
    /// An act of an import: nobody waits for it at a screen.
    Bulk(Box<dyn Errand>),
    /// Runs on the writer's connection in the group's transaction; only for tables outside the book.
    Aside(Box<dyn Aside>),
}

/// A change outside the book. It is run once, in a transaction of its own.
pub trait Aside: Send {
    fn run<'a>(
        &'a mut self,
        db: &'a mut SqliteConnection,
    ) -> futures_util::future::BoxFuture<'a, Result<(), sqlx::Error>>;
    fn finish(self: Box<Self>, outcome: Result<(), &Trouble>);
}

pub(super) struct DeskClerk {
    clock: Clock,
    /// As of the last commit that this process made or saw.
    frontier: Frontier,
    world: Arc<World>,
    /// What readers of this process see.
    shown: Arc<ArcSwap<World>>,
    /// Histories as the file has them; with the group while it is written.
    cabinet: Cabinet,
    next: Option<(Arc<World>, Frontier, Cabinet)>,
}

impl DeskClerk {
    pub fn new(clock: Clock, frontier: Frontier, shown: Arc<ArcSwap<World>>) -> Self {
        Self { clock, frontier, world: shown.load_full(), shown, cabinet: Cabinet::default(), next: None }
    }

    /// Another process (an import beside a running server) may have written since: then its world is ours.
    async fn catch_up(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let (frontier, world_seq) = world::head(db).await.map_err(|why| damaged(why.to_string()))?;
        if frontier != self.frontier {
            self.cabinet.empty();
            if world_seq != self.world.seq {
                self.world = Arc::new(world::load(db).await.map_err(|why| damaged(why.to_string()))?);
                self.shown.store(Arc::clone(&self.world));
            }
            self.frontier = frontier;
        }
        Ok(())
    }
}

impl Clerk for DeskClerk {
    type Job = Job;

    fn room(job: &Job) -> usize {
        match job {
            Job::Act(_) => writer::GROUP,
            Job::Bulk(_) => writer::BULK,
            Job::Aside(_) => 1,
        }
    }

    async fn carry_out(&mut self, db: &mut SqliteConnection, jobs: &mut [Job]) -> Result<(), sqlx::Error> {
        self.catch_up(db).await?;
        let mut draft = Draft::on(Arc::clone(&self.world), self.frontier.clone());
        draft.cabinet = std::mem::take(&mut self.cabinet);
        let pages: Vec<_> = jobs
            .iter()
            .filter_map(|job| if let Job::Act(act) | Job::Bulk(act) = job { Some(act.pages()) } else { None })
            .flatten()
            .collect();
        draft.load_for(db, &pages).await?;
        let now = self.clock.now();
        for job in jobs.iter_mut() {
            match job {
                Job::Act(act) | Job::Bulk(act) => act.carry_out(&mut draft, now),
                Job::Aside(aside) => aside.run(db).await?,
            }
        }
        write(db, &mut draft, self.frontier.size()).await?;
        draft.put_back();
        self.next = Some((draft.world, draft.frontier, draft.cabinet));
        Ok(())
    }

    fn committed(&mut self) {
        if let Some((world, frontier, cabinet)) = self.next.take() {
            if world.seq != self.world.seq {
                self.shown.store(Arc::clone(&world));
            }
            (self.world, self.frontier, self.cabinet) = (world, frontier, cabinet);
            self.cabinet.next_turn();
        }
    }

    fn undone(&mut self) {
        self.next = None;
        self.cabinet.empty();
    }

    fn answer(&mut self, job: Job, outcome: Result<(), &Trouble>) {
        match job {
            Job::Act(act) | Job::Bulk(act) => act.finish(outcome),
            Job::Aside(aside) => aside.finish(outcome),
        }
    }
}

/// Writes a decided draft: pages and rows, what judging makes of them, and the book's head, where nothing has to be
/// read in between in one call.
pub(super) async fn write(
    db: &mut SqliteConnection,
    draft: &mut Draft,
    size_before: u64,
) -> Result<(), sqlx::Error> {
    if draft.frontier.size() == size_before {
        return draft.rows.script()?.run(db).await;
    }
    draft.judge_unwritten(db).await?;
    let script = draft.rows.script()?.then(draft.judged.script()?);
    if draft.again.is_nothing() {
        return script.then(draft.head()?).run(db).await;
    }
    script.run(db).await?;
    draft.judge_again(db).await?;
    draft.head()?.run(db).await
}
