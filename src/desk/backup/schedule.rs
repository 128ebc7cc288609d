//! Back-ups that a server takes by itself, once a day, and when somebody asks.
use std::{
    path::PathBuf,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use futures_util::future::BoxFuture;
use tokio::sync::oneshot;

use super::{
    NotDone, Pace, Taken,
    folder::{Found, Names},
    take, told,
};
use crate::{
    base::{Clock, Instant, Zone, instant::HOUR},
    desk::{Desk, Trouble},
};

const ENDED: &str = "the program failed on this back-up, or could not begin it: run `breakerbook backup` on the server, and \
    tell whoever keeps the program what it says";

/// `03:00`, on the railway's clocks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TimeOfDay {
    hour: u8,
    minute: u8,
}

impl TimeOfDay {
    pub fn parse(text: &str) -> Option<Self> {
        let (hour, minute) = text.split_once(':')?;
        // A number may begin with a sign, a time may not.
        let two = |s: &str| s.len() == 2 && s.bytes().all(|b| b.is_ascii_digit());
        let digits = |s: &str| two(s).then(|| s.parse::<u8>().ok()).flatten();
        let (hour, minute) = (digits(hour)?, digits(minute)?);
        (hour < 24 && minute < 60).then_some(Self { hour, minute })
    }

    /// The last time that it was that time.
    fn before(self, now: Instant, zone: &Zone) -> Option<Instant> {
        let today = zone.day_of(now);
        let on = |day| zone.parse_local(&format!("{day}T{self}"));
        on(today).filter(|at| *at <= now).or_else(|| on(today.plus(-1)))
    }
}

impl std::fmt::Display for TimeOfDay {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:02}:{:02}", self.hour, self.minute)
    }
}

/// A disk that hangs must not hang the page that says so.
const FOLDER_WAITS: Duration = Duration::from_secs(2);

/// Where a server's back-ups go, and whether one is under way.
pub struct Backups {
    pub db: PathBuf,
    pub to: PathBuf,
    pub at: TimeOfDay,
    pub keep_days: u32,
    under_way: Mutex<Option<Instant>>,
}

impl Backups {
    pub fn new(db: PathBuf, to: PathBuf, at: TimeOfDay, keep_days: u32) -> Self {
        Self { db, to, at, keep_days, under_way: Mutex::new(None) }
    }

    /// Since when one is.
    pub fn under_way(&self) -> Option<Instant> {
        *self.under_way.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether the daily one is still to be taken. One that failed is tried again after an hour; what a clock that was ahead
    /// left behind counts for nothing.
    pub fn is_due(&self, kept: &told::Kept, zone: &Zone, now: Instant) -> bool {
        let known = |told: &Option<told::Told>| told.as_ref().map(|told| told.at).filter(|at| *at <= now);
        let Some(moment) = self.at.before(now, zone) else { return false };
        let done = known(&kept.good).is_some_and(|at| at >= moment);
        let failed = known(&kept.failed).is_some_and(|at| now.since(at) < HOUR);
        !done && !failed && self.under_way().is_none()
    }

    /// What lies in the folder under the name of this book's back-ups, the latest first; `print` is its first page's. `None`:
    /// there is no such folder, or it does not answer.
    pub async fn lying(&self, print: &str) -> Option<Vec<Found>> {
        let (names, to) = (Names::new(&self.db, print), self.to.clone());
        let look = tokio::task::spawn_blocking(move || names.found(&to));
        tokio::time::timeout(FOLDER_WAITS, look).await.ok()?.ok()?
    }

    /// Takes one and keeps what became of it; `None` when one is under way already.
    pub fn run(self: Arc<Self>, desk: Desk) -> BoxFuture<'static, Option<Result<Taken, NotDone>>> {
        let begun = desk.clock().now();
        let turn = Turn::begin(&self, begun);
        Box::pin(async move {
            let turn = turn?;
            // A key that is made only after this would not go along.
            if let Err(why) = desk.signer() {
                tracing::warn!(%why, "the key that checkpoints are signed with cannot be had for a back-up");
            }
            let outcome =
                turn.0.take(desk.clock().clone()).await.unwrap_or_else(|_| Err(NotDone(ENDED.to_owned())));
            keep(desk, &outcome, begun).await;
            Some(outcome)
        })
    }

    /// On a thread of its own: reading a book through is hashing, and must not hold up the web. A server that stops does
    /// not wait for it.
    fn take(&self, clock: Clock) -> oneshot::Receiver<Result<Taken, NotDone>> {
        let (db, to, keep) = (self.db.clone(), self.to.clone(), Some(self.keep_days));
        let (tell, outcome) = oneshot::channel();
        let work = move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            let outcome = match runtime {
                Ok(runtime) => runtime.block_on(take(&db, &to, keep, Pace::BesideFiling, &clock)),
                Err(why) => Err(NotDone(format!("the machine could not begin it ({why}): try again"))),
            };
            let _ = tell.send(outcome);
        };
        // A thread that cannot be begun lets go of `tell`.
        drop(std::thread::Builder::new().name("back-up".to_owned()).spawn(work));
        outcome
    }

    /// Takes the daily one if it is to be taken.
    pub async fn run_if_due(self: Arc<Self>, desk: Desk) -> Result<(), Trouble> {
        let mut db = desk.read().await?;
        let kept = told::kept(&mut db).await.map_err(|why| Trouble::from(&why))?;
        drop(db);
        if self.is_due(&kept, &desk.world().railway.zone, desk.clock().now()) {
            self.run(desk).await;
        }
        Ok(())
    }
}

async fn keep(desk: Desk, outcome: &Result<Taken, NotDone>, begun: Instant) {
    if let Err(why) = outcome {
        tracing::error!(why = why.0, "a back-up failed");
    }
    let (what, told) = told::of(outcome, desk.clock().now(), begun);
    let kept = desk.aside(move |db| Box::pin(async move { told::keep(db, what, &told).await })).await;
    if let Err(why) = kept {
        tracing::warn!(%why, "what became of a back-up could not be kept");
    }
}

/// One at work. Over when it is dropped, also by a panic or a server that stops.
struct Turn(Arc<Backups>);

impl Turn {
    fn begin(backups: &Arc<Backups>, now: Instant) -> Option<Self> {
        let mut under_way = backups.under_way.lock().unwrap_or_else(PoisonError::into_inner);
        if under_way.is_some() {
            return None;
        }
        *under_way = Some(now);
        Some(Self(Arc::clone(backups)))
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        *self.0.under_way.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::backup::told::{Kept, Told};

    fn told(at: &str) -> Option<Told> {
        (!at.is_empty()).then(|| Told::at(Instant::parse(at).unwrap()))
    }

    #[test]
    fn one_a_day_by_the_railways_clock_and_one_that_failed_again_after_an_hour() {
        let zone = Zone::named("America/Chicago").unwrap();
        let at = TimeOfDay::parse("03:00").unwrap();
        let backups = Backups::new("book.db".into(), "there".into(), at, 30);
        // Three in the morning is 9:00 UTC in winter, 8:00 in summer.
        for (good, failed, now, due) in [
            ("", "", "2026-01-10T12:00:00Z", true),
            ("2026-01-10T09:02:00Z", "", "2026-01-10T12:00:00Z", false),
            ("2026-01-10T09:02:00Z", "", "2026-01-11T08:59:00Z", false),
            ("2026-01-10T09:02:00Z", "", "2026-01-11T09:00:00Z", true),
            ("2026-07-10T08:02:00Z", "", "2026-07-11T08:00:00Z", true),
            ("2026-01-10T09:02:00Z", "2026-01-11T09:00:10Z", "2026-01-11T09:30:00Z", false),
            ("2026-01-10T09:02:00Z", "2026-01-11T09:00:10Z", "2026-01-11T10:01:00Z", true),
            // A server that was off at three makes up for it.
            ("2026-01-08T09:02:00Z", "", "2026-01-11T22:00:00Z", true),
            // The clock was ahead once.
            ("2031-01-01T09:02:00Z", "2031-01-01T09:02:00Z", "2026-01-11T22:00:00Z", true),
            // 8 March 2026 has no half past two there; at three it is.
            ("2026-03-07T09:01:00Z", "", "2026-03-08T08:01:00Z", true),
        ] {
            let kept = Kept { good: told(good), failed: told(failed), restored: None };
            let now = Instant::parse(now).unwrap();
            assert_eq!(backups.is_due(&kept, &zone, now), due, "good {good}, failed {failed}, now {now}");
        }
    }

    #[test]
    fn a_time_of_day_is_hours_and_minutes() {
        assert_eq!(TimeOfDay::parse("23:59").map(|t| t.to_string()), Some("23:59".into()));
        for other in ["24:00", "3:00", "03:60", "0300", "", "+3:00", "03:00:00"] {
            assert_eq!(TimeOfDay::parse(other), None, "{other}");
        }
    }
}
