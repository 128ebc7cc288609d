//! The run somebody is on: its units, the first of which leads, and what all of their reports say alike. It lies
//! beside the drafts until every unit's report is signed; a person has one at a time.
mod close;
mod closing;
mod page;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{store, typed::Typed, unit_of::UnitHere};
use crate::{
    base::{Instant, SignIn, UnitName, instant::HOUR},
    web::{App, Me, Oops},
};

pub use close::{ask, sign};
pub use page::{RunFields, keep, show};

/// A run that nobody touched for so long, and of which nothing is written down, is over.
pub const LONGEST: i64 = 16 * HOUR;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Run {
    pub units: Vec<UnitName>,
    /// Those whose report is in the book already; they stay part of the consist.
    #[serde(default)]
    pub signed: Vec<UnitName>,
    /// What is typed once for all of them.
    pub slip: Typed,
    /// When each of them was last taken up: named in the run, its handover read, something written about it. A report
    /// that was signed before that is of an earlier run.
    #[serde(default)]
    pub since: BTreeMap<UnitName, Instant>,
}

/// A run as it lies in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    pub run: Run,
    /// Counts changes; 0 was never saved.
    pub version: i64,
    pub saved_at: Instant,
}

impl Run {
    /// Of the report's own fields, those that are the run's and not one unit's.
    pub const SHARED: [&str; 7] =
        ["occasion", "run.started", "run.ended", "run.symbol", "run.from", "run.to", "weather"];

    pub fn has(&self, unit: &UnitName) -> bool {
        self.units.contains(unit)
    }

    /// Those whose report is still to be signed.
    pub fn open(&self) -> impl Iterator<Item = &UnitName> {
        self.units.iter().filter(|unit| !self.signed.contains(unit))
    }

    /// Still to be signed for, as a part of this run.
    pub fn awaits(&self, unit: &UnitName) -> bool {
        self.open().any(|open| open == unit)
    }

    /// The report of an earlier run, signed on a tablet without network and sent only now, is none of this one.
    fn has_ended_with(&self, unit: &UnitName, signed_at: Instant) -> bool {
        self.awaits(unit) && self.since.get(unit).is_none_or(|since| *since <= signed_at)
    }

    fn take_up(&mut self, unit: &UnitName, now: Instant) {
        self.since.insert(unit.clone(), now);
    }

    /// `K17, Harrow Ferry to Slate Gap`; nothing where nothing is said of it yet.
    pub fn named(&self) -> String {
        let said = |name: &str| self.slip.stated(name);
        let way = match (said("run.from"), said("run.to")) {
            (Some(from), Some(to)) => Some(format!("{from} to {to}")),
            (Some(from), None) => Some(format!("from {from}")),
            (None, Some(to)) => Some(format!("to {to}")),
            (None, None) => None,
        };
        [said("run.symbol"), way].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// What is said of the run holds for each unit's report; its place in the consist is only supposed.
    pub fn suggest(&self, unit: &UnitName, slip: &mut Typed) {
        if !self.has(unit) {
            return;
        }
        for name in Self::SHARED {
            if let Some(text) = self.slip.stated(name) {
                slip.set(name, text);
            }
        }
        if self.units.len() > 1 {
            if slip.stated("consist").is_none() {
                slip.set("consist", self.in_words());
            }
            if slip.stated("position").is_none() {
                slip.set("position", if self.units.first() == Some(unit) { "lead" } else { "trail" });
            }
        }
    }

    pub fn in_words(&self) -> String {
        self.units.iter().map(UnitName::as_str).collect::<Vec<_>>().join(", ")
    }

    /// Takes over what was typed of the run in one unit's report.
    pub fn learn(&mut self, slip: &Typed) {
        for name in Self::SHARED {
            if slip.asked(name) {
                self.slip.set(name, slip.raw(name));
            }
        }
    }
}

/// The run that a person is on.
pub async fn of(app: &App, me: &Me) -> Result<Option<Kept>, Oops> {
    Ok(store::run_of(&mut *app.desk().read().await?, me.sign_in()).await?)
}

/// Changes the run; `None` from the change ends it.
pub async fn change(
    app: &App,
    who: &SignIn,
    now: Instant,
    change: impl FnOnce(Option<Run>) -> Option<Run> + Send + 'static,
) -> Result<(), Oops> {
    let who = who.clone();
    Ok(app.desk().aside(move |db| Box::pin(store::change_run(db, who, now, change))).await?)
}

/// Whoever reads a unit's handover or writes about it without being on a run has begun one with it.
pub async fn begin(app: &App, me: &Me, here: &UnitHere, started: Option<Instant>) -> Result<(), Oops> {
    let mut db = app.desk().read().await?;
    let known = store::run_of(&mut db, me.sign_in()).await?;
    let drafts = store::drafts_of(&mut db, me.sign_in()).await?;
    drop(db);
    let goes_on = known.is_some_and(|kept| {
        kept.run.has(&here.unit) || !over(&kept, here.now, |unit| drafts.iter().any(|d| d.unit == *unit))
    });
    let now = here.now;
    let started = started.map(|at| here.world.railway.zone.local_input(at)).unwrap_or_default();
    let unit = here.unit.clone();
    change(app, me.sign_in(), here.now, move |run| match run.filter(|_| goes_on) {
        // Something more about a unit that was signed for already.
        Some(mut run) => {
            run.signed.retain(|signed| *signed != unit);
            run.take_up(&unit, now);
            Some(run)
        }
        None => {
            let slip = Typed::default().with("run.started", started);
            let since = BTreeMap::from([(unit.clone(), now)]);
            Some(Run { units: vec![unit], slip, since, ..Run::default() })
        }
    })
    .await
}

fn over(kept: &Kept, now: Instant, is_written: impl Fn(&UnitName) -> bool) -> bool {
    now.since(kept.saved_at) > LONGEST && !kept.run.units.iter().any(is_written)
}

/// What one unit's report says of the run holds for the others, too.
pub async fn learn(app: &App, me: &Me, here: &UnitHere, slip: &Typed) -> Result<(), Oops> {
    let (unit, slip) = (here.unit.clone(), slip.clone());
    change(app, me.sign_in(), here.now, move |run| {
        run.map(|mut run| {
            if run.has(&unit) {
                run.learn(&slip);
            }
            run
        })
    })
    .await
}

/// A unit's report was signed then; with the last of them the run is over.
pub async fn leave(app: &App, who: &SignIn, unit: &UnitName, signed_at: Instant) -> Result<(), Oops> {
    let unit = unit.clone();
    change(app, who, app.now(), move |run| {
        run.map(|mut run| {
            if run.has_ended_with(&unit, signed_at) {
                run.signed.push(unit);
            }
            run
        })
        .filter(|run| run.open().next().is_some())
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_runs_words_are_each_units_and_no_other_units() {
        let slip = Typed::default().with("run.symbol", "K17").with("run.from", "Slate Gap");
        let run = Run { units: vec!["QHB 412".into(), "QHB 431".into()], slip, ..Run::default() };
        assert_eq!(run.named(), "K17, from Slate Gap");
        let mut trail = Typed::default().with("run.symbol", "K19").with("position", "dead");
        run.suggest(&"QHB 431".into(), &mut trail);
        let of = |name: &str| trail.raw(name).to_owned();
        assert_eq!(
            [of("run.symbol"), of("run.from"), of("position"), of("consist")],
            ["K17", "Slate Gap", "dead", "QHB 412, QHB 431"]
        );
        let mut lead = Typed::default();
        run.suggest(&"QHB 412".into(), &mut lead);
        assert_eq!(lead.raw("position"), "lead");
        let mut other = Typed::default();
        run.suggest(&"QHB 9".into(), &mut other);
        assert_eq!(other, Typed::default(), "a unit that is not in the run");
    }

    #[test]
    fn a_run_is_over_when_nobody_touched_it_and_nothing_is_written() {
        let kept = Kept {
            run: Run { units: vec!["QHB 412".into()], ..Run::default() },
            version: 1,
            saved_at: Instant(0),
        };
        assert!(!over(&kept, Instant(LONGEST), |_| false));
        assert!(over(&kept, Instant(LONGEST + 1), |_| false));
        assert!(!over(&kept, Instant(LONGEST + 1), |_| true), "what is written down is never dropped");
    }
}
