//! The unit around one opening, on a line of time: how its cutout was told to stand, who had it, when it was kept from service,
//! when its ground relay operated.
use axum::extract::{Path, State};
use sqlx::SqliteConnection;

use super::{bypass::NOT_THERE, words};
use crate::{
    base::{EntryId, Instant, SignIn, Zone, instant::DAY, text::count},
    desk::{parts, runs},
    oversight::{self, Line},
    pages::drawn::{
        picture::opening::{Kind, Opening, Row, Sketch, Told},
        told::said,
    },
    rules::{
        Bypass, Dossier, Fact,
        bypass::told_to_stand,
        fact::{self, RunFact},
        service_days::Held,
    },
    shop,
    web::{Answer, App, Oops, paths},
};

/// Where it was never told closed before it was found open, the picture begins so long before.
const LOOK_BACK: i64 = 60 * DAY;
/// Before an opening of which the time is known, and after a closing: a relay that operates within a day of it means something.
const BESIDE: i64 = DAY;
/// So many runs are drawn and told one by one; what was before is told together.
const MOST_RUNS: usize = 60;

/// Read from the book for one opening.
pub(super) struct Around {
    from: Instant,
    to: Instant,
    pub ground: Dossier,
    runs: Vec<RunFact>,
    handovers: Vec<(SignIn, Instant)>,
    held: Vec<Held>,
    /// Every opening of the same cutout.
    openings: Vec<Bypass>,
}

/// A row of the table beside the picture.
pub(super) struct Happened {
    pub when: String,
    pub what: String,
    pub who: String,
    pub href: Option<String>,
}

impl Around {
    pub async fn read(db: &mut SqliteConnection, line: &Line, now: Instant) -> Result<Self, Oops> {
        let bypass = &line.bypass;
        let (unit, begins) = (&bypass.unit, bypass.begins());
        let from = match (bypass.found_open_at, bypass.last_closed_at) {
            (None, _) => begins.minus(BESIDE),
            (_, Some(closed)) => closed,
            (_, None) => begins.minus(LOOK_BACK),
        };
        let to = bypass.closed_at.map_or(now, |closed| closed.plus(BESIDE).min(now)).max(begins.plus(1));
        // So that what lies at the edge is seen whole.
        let from = from.minus(to.since(from) / 40);
        let ground = parts::ground_protection_of(&mut *db, unit).await?;
        let mut runs = runs::runs_in(&mut *db, &[(unit, from, to)]).await?;
        let handovers = oversight::store::handovers_read(&mut *db, unit, (from, to)).await?;
        let held = shop::store::held(&mut *db, unit).await?;
        let openings = oversight::store::of_unit(&mut *db, unit).await?.into_iter().map(|line| line.bypass);
        Ok(Self {
            from,
            to,
            ground,
            runs: runs.remove(unit).unwrap_or_default(),
            handovers,
            held,
            openings: openings.filter(|other| other.device == bypass.device).collect(),
        })
    }

    pub fn sketch(&self, bypass: &Bypass, zone: &Zone) -> Sketch {
        let mut lanes = vec![
            Row {
                name: "cutout",
                label: format!("Cutout {}", bypass.device),
                marks: self.cutout(bypass, zone),
            },
            Row { name: "unit", label: "Who had the unit".into(), marks: self.had(zone) },
            Row { name: "ground_relay", label: "Ground relay operated".into(), marks: self.operated(zone) },
        ];
        let held = self.kept(zone);
        if !held.is_empty() {
            lanes.push(Row { name: "hold", label: "Kept from service".into(), marks: held });
        }
        Sketch { from: self.from, to: self.to, lanes }
    }

    fn facts(&self) -> Vec<&Fact> {
        self.ground.facts().iter().filter(|fact| fact.withdrawn.is_none()).collect()
    }

    fn cutout(&self, bypass: &Bypass, zone: &Zone) -> Vec<Told> {
        let overlaps =
            |b: &&Bypass| b.begins() <= self.to && b.closed_at.is_none_or(|closed| closed >= self.from);
        let mut marks: Vec<Told> =
            self.openings.iter().filter(overlaps).flat_map(|one| stretches(one, self.from, zone)).collect();
        for (at, closed, fact) in told_to_stand(&self.facts(), &bypass.device) {
            // What begins an opening is its bar.
            let begins = !closed && self.openings.iter().any(|one| one.begins() == at);
            if begins || !self.holds(at) {
                continue;
            }
            let (who, kind) = (fact.author.to_string(), if closed { Kind::Closed } else { Kind::Open });
            let says = match closed {
                true => format!("Told closed {}, by {who}", zone.in_words(at)),
                false => format!("Told open again {}, by {who}", zone.in_words(at)),
            };
            marks.push(Told { href: entry(fact), ..Told::moment(kind, at, who, says) });
        }
        marks.sort_by_key(|mark| mark.from);
        marks
    }

    fn holds(&self, at: Instant) -> bool {
        (self.from..=self.to).contains(&at)
    }

    /// The runs and the other reports, and who signed the handover; the last of them one by one.
    fn had(&self, zone: &Zone) -> Vec<Told> {
        let before = self.runs.len().saturating_sub(MOST_RUNS);
        let (earlier, shown) = self.runs.split_at(before);
        let mut marks: Vec<Told> = together(earlier, zone).into_iter().collect();
        marks.extend(shown.iter().map(|run| had(run, zone)));
        let since = shown.first().map_or(self.from, |run| run.started);
        let read = self.handovers.iter().filter(|(_, at)| before == 0 || *at >= since);
        marks.extend(read.map(|(by, at)| {
            let says = format!("Signed the handover as read {}", zone.in_words(*at));
            Told::moment(Kind::Read, *at, by.to_string(), says)
        }));
        marks.sort_by_key(|mark| mark.from);
        marks
    }

    fn operated(&self, zone: &Zone) -> Vec<Told> {
        let near = self.facts().into_iter().filter(|fact| self.holds(fact.at));
        let operated = near.filter_map(|fact| match &fact.told {
            fact::Told::Ground { operations, mode, .. } => {
                let times = count(u64::from((*operations).max(1)), "time", "times");
                let mode = mode.map(|mode| format!(", {}", said(mode.as_str()))).unwrap_or_default();
                let says = format!("The ground relay operated {times} {}{mode}", zone.in_words(fact.at));
                let told = Told::moment(Kind::Operated, fact.at, fact.author.to_string(), says);
                Some(Told { n: u64::from((*operations).max(1)), href: entry(fact), ..told })
            }
            _ => None,
        });
        operated.collect()
    }

    fn kept(&self, zone: &Zone) -> Vec<Told> {
        let overlaps =
            |held: &&Held| held.from <= self.to && held.until.is_none_or(|until| until >= self.from);
        let held = self.held.iter().filter(overlaps).map(|held| Told {
            kind: Kind::Hold,
            from: held.from,
            to: held.until,
            who: String::new(),
            says: format!("Kept from service {}", from_to(held.from, held.until, zone)),
            n: 1,
            href: None,
        });
        held.collect()
    }
}

fn entry(fact: &Fact) -> Option<String> {
    Some(paths::Entry(fact.entry).to_string())
}

fn from_to(from: Instant, to: Option<Instant>, zone: &Zone) -> String {
    if to == Some(from) {
        return zone.in_words(from);
    }
    let to = to.map_or_else(|| "on, and still".to_owned(), |to| format!("to {}", zone.in_words(to)));
    format!("from {} {to}", zone.in_words(from))
}

/// An opening as it is known: what is told open, and what may have been.
fn stretches(bypass: &Bypass, left: Instant, zone: &Zone) -> Vec<Told> {
    let begins = bypass.begins();
    let mark = |kind, from, to, who: String, says| Told { kind, from, to, who, says, n: 1, href: None };
    let mut marks = Vec::new();
    if let Some(found) = bypass.found_open_at {
        let from = bypass.last_closed_at.unwrap_or(left).min(found);
        let says = match bypass.last_closed_at {
            Some(_) => format!("Opened at some time {}", from_to(from, Some(found), zone)),
            None => format!(
                "Opened at some time before {}; not known to have been closed before",
                zone.in_words(found)
            ),
        };
        marks.push(mark(Kind::NotKnown, from, Some(found), String::new(), says));
    }
    let ends = if bypass.seen_closed { Some(bypass.last_open_at) } else { bypass.closed_at };
    let by = match (&bypass.opened_by, &bypass.found_by) {
        (hand, None) => format!("opened by {}", words::hand(hand)),
        (hand, Some(finder)) => format!("found by {finder}, opened by {}", words::hand(hand)),
    };
    let withdrawn = if bypass.withdrawn { ", withdrawn by amendment" } else { "" };
    let says = format!("Told open {}, {by}{withdrawn}", from_to(begins, ends, zone));
    let teller = bypass.found_by.as_ref().map_or_else(|| words::hand(&bypass.opened_by), ToString::to_string);
    let open = mark(Kind::Open, begins, ends, teller, says);
    marks.push(Told { href: Some(paths::Entry(bypass.id).to_string()), ..open });
    if let Some(closed) = bypass.closed_at.filter(|_| bypass.seen_closed) {
        let says = format!("Closed at some time {}", from_to(bypass.last_open_at, Some(closed), zone));
        marks.push(mark(Kind::NotKnown, bypass.last_open_at, Some(closed), String::new(), says));
    }
    marks
}

fn had(run: &RunFact, zone: &Zone) -> Told {
    let symbol = run.symbol.as_deref().map(|symbol| format!(" {symbol}")).unwrap_or_default();
    let what = if run.moved { "On a run" } else { "Reported, not of a run under its own power" };
    let position = run.position.map(|position| format!(", {}", said(position.as_str()))).unwrap_or_default();
    Told {
        kind: Kind::Run,
        from: run.started,
        to: Some(run.ended.unwrap_or(run.started).max(run.started)),
        who: run.author.to_string(),
        says: format!("{what}{symbol}{position}, {}", from_to(run.started, run.ended, zone)),
        n: 1,
        href: Some(paths::Receipt(run.report).to_string()),
    }
}

fn together(earlier: &[RunFact], zone: &Zone) -> Option<Told> {
    let (first, last) = (earlier.first()?, earlier.last()?);
    let to = last.ended.unwrap_or(last.started);
    let reports = count(earlier.len() as u64, "earlier report", "earlier reports");
    Some(Told {
        kind: Kind::Run,
        from: first.started,
        to: Some(to),
        who: String::new(),
        says: format!("{reports} about the unit, {}", from_to(first.started, Some(to), zone)),
        n: earlier.len() as u64,
        href: None,
    })
}

/// The same in words, a row for each mark, in order of time.
pub(super) fn happened(sketch: &Sketch, zone: &Zone) -> Vec<Happened> {
    let mut marks: Vec<&Told> = sketch.lanes.iter().flat_map(|lane| &lane.marks).collect();
    marks.sort_by_key(|mark| mark.from);
    let row = |mark: &&Told| Happened {
        when: zone.in_words(mark.from),
        what: mark.says.clone(),
        who: mark.who.clone(),
        href: mark.href.clone(),
    };
    marks.iter().map(row).collect()
}

pub(super) fn draw(sketch: &Sketch, bypass: &Bypass, zone: &Zone) -> Opening {
    let title = format!("Unit {} around the opening of {}", bypass.unit, bypass.device);
    let csv = paths::BypassData(bypass.id, "around".to_owned()).to_string();
    sketch.draw(("around", title, csv), zone)
}

/// The numbers of the picture.
pub async fn data(State(app): State<App>, Path((id, what)): Path<(String, String)>) -> Answer {
    let not_there = || Oops::NotFound(NOT_THERE.into());
    let id: EntryId = id.parse().map_err(|_| not_there())?;
    if what != "around" {
        return Err(Oops::NotFound(
            "There are no such numbers: take them from the page of the opening.".into(),
        ));
    }
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let line = oversight::store::by_id(&mut db, id).await?.ok_or_else(not_there)?;
    let around = Around::read(&mut db, &line, now).await?;
    drop(db);
    let sketch = around.sketch(&line.bypass, &world.railway.zone);
    sketch.sheet(format!("{}-{}-around", line.bypass.unit, line.bypass.device)).answer()
}
