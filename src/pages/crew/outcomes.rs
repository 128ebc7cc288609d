//! What became of an entry: repaired, in repair, on the shop's board, reviewed, seen in order again, or nothing yet.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{picture::Picture, store};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName},
    desk::World,
    oversight,
    pages::drawn::rules::name,
    reports::{
        What,
        store::EntryRow,
        stored,
        vocabulary::{FuseResult, Outcome, Seen},
    },
    rules::{
        Finding,
        store::{Decisions, State as Stands, Wanted, decisions, open_at},
    },
    shop::{self, Repair},
};

/// Everything that can have become of some entries, read at one moment.
pub struct Known {
    now: Instant,
    repairs: Vec<Repair>,
    findings: Vec<Finding>,
    decisions: Decisions,
    /// The last review of each opening, by its entry: by whom, when, the judgement.
    reviewed: BTreeMap<String, (SignIn, Instant, String)>,
    pictures: BTreeMap<UnitName, Picture>,
}

impl Known {
    pub async fn of(
        db: &mut SqliteConnection,
        world: &World,
        entries: &[EntryRow],
        now: Instant,
    ) -> Result<Self, sqlx::Error> {
        let calling: Vec<&EntryRow> = entries.iter().filter(|row| calls(row)).collect();
        let units = units_of(calling.iter().copied());
        let mut findings = Vec::new();
        for unit in &units {
            let wanted = Wanted { unit: Some(unit), ..Wanted::default() };
            findings.extend(open_at(db, &wanted, now).await?);
        }
        let repairs = shop::store::repairs_of(db, &units).await?;
        let reviewed = reviews(db, entries).await?;
        let decisions = decisions(db, None, now).await?;
        let mut known = Self { now, repairs, findings, decisions, reviewed, pictures: BTreeMap::new() };
        // How the devices of a unit stand takes all of its history to tell: only where nothing else answers.
        let unanswered = calling.into_iter().filter(|row| known.answered(row, world).is_none());
        for unit in units_of(unanswered) {
            let dossiers = store::dossiers_of(db, &unit).await?;
            let picture = Picture::of(&dossiers, world.roster.schedule_at(&unit, now));
            known.pictures.insert(unit, picture);
        }
        Ok(known)
    }

    /// In a sentence; empty where nothing is to become of it.
    pub fn became(&self, row: &EntryRow, world: &World) -> String {
        if row.withdrawn {
            return "Withdrawn by an amendment; both stand in the book.".to_owned();
        }
        if !calls(row) {
            return String::new();
        }
        self.answered(row, world)
            .or_else(|| self.in_order_again(row, world))
            .unwrap_or_else(|| "In the book; what became of it is not written yet.".to_owned())
    }

    /// By the shop, by a supervisor, or on their lists.
    fn answered(&self, row: &EntryRow, world: &World) -> Option<String> {
        self.repaired(row, world)
            .or_else(|| self.reviewed(row, world))
            .or_else(|| self.on_the_board(row, world))
    }

    fn repaired(&self, row: &EntryRow, world: &World) -> Option<String> {
        let (tag, at) = (subject(row), Instant(row.at));
        let id = row.id.parse::<EntryId>().ok();
        let named = |repair: &Repair| id.is_some_and(|id| repair.entries.contains(&id));
        // One of the unit answers everything about it, or the entries it names and no others.
        let of_unit = |repair: &Repair| repair.is_of(None) && repair.entries.is_empty();
        let of_device = |repair: &Repair| tag.is_some() && repair.is_of(tag.as_ref());
        let of_it = |repair: &&Repair| {
            repair.unit.as_str() == row.unit && (named(repair) || of_device(repair) || of_unit(repair))
        };
        // The first that closed afterwards answers it.
        let answers =
            self.repairs.iter().filter(of_it).filter(|r| r.closed_at.is_none_or(|closed| closed >= at));
        let repair = answers.min_by_key(|r| r.closed_at.unwrap_or(Instant::MAX))?;
        let day = |at: Instant| world.railway.zone.day_in_words(at);
        Some(match repair.closed_at {
            None => format!("In repair since {}.", day(repair.opened_at)),
            Some(closed) => match repair.cause.as_deref().unwrap_or_default().trim_end_matches('.') {
                "" | "not known" | "not_known" => {
                    format!("Repair closed {}; what was found is not written.", day(closed))
                }
                cause => format!("{}: repair closed {}.", capital(cause), day(closed)),
            },
        })
    }

    fn reviewed(&self, row: &EntryRow, world: &World) -> Option<String> {
        let (by, at, judgement) = self.reviewed.get(&row.id)?;
        let day = world.railway.zone.day_in_words(*at);
        Some(format!("Reviewed {day} by {by}: {}.", judgement.replace('_', " ")))
    }

    fn on_the_board(&self, row: &EntryRow, world: &World) -> Option<String> {
        let id: EntryId = row.id.parse().ok()?;
        let rests = |finding: &&Finding| finding.entries.contains(&id);
        let finding = self.findings.iter().find(rests)?;
        let since = world.railway.zone.day_in_words(finding.since);
        if finding.rule.is_ground_protection() {
            return Some("On the supervisor's register; not reviewed yet.".to_owned());
        }
        let named = name(finding.rule);
        Some(match self.decisions.state(finding, self.now) {
            Stands::InRepair => format!("In repair: {named}, since {since}."),
            Stands::SetAside => format!("The shop has set it aside for now: {named}, since {since}."),
            _ => format!("On the shop's board since {since}: {named}."),
        })
    }

    fn in_order_again(&self, row: &EntryRow, world: &World) -> Option<String> {
        let (unit, tag, at) = (&UnitName::from(row.unit.as_str()), subject(row)?, Instant(row.at));
        let schedule = world.roster.schedule_at(unit, self.now)?;
        let state = self.pictures.get(unit)?.state(schedule.device(&tag)?)?;
        let day = world.railway.zone.day_in_words(state.seen_at);
        (state.carries() && state.seen_at > at)
            .then(|| format!("Seen in order again {day}, told by {}.", state.told_by))
    }
}

async fn reviews(
    db: &mut SqliteConnection,
    entries: &[EntryRow],
) -> Result<BTreeMap<String, (SignIn, Instant, String)>, sqlx::Error> {
    let mut all = BTreeMap::new();
    for row in entries.iter().filter(|row| row.kind == "bypass") {
        let Ok(id) = row.id.parse::<EntryId>() else { continue };
        let line = oversight::store::by_id(db, id).await?;
        if let Some(review) = line.as_ref().and_then(|line| line.reviews.last()) {
            all.insert(row.id.clone(), (review.by.clone(), review.at, review.judgement.clone()));
        }
    }
    Ok(all)
}

fn units_of<'a>(rows: impl Iterator<Item = &'a EntryRow>) -> Vec<UnitName> {
    let mut units: Vec<UnitName> = rows.map(|row| UnitName::from(row.unit.as_str())).collect();
    units.sort();
    units.dedup();
    units
}

fn calls(row: &EntryRow) -> bool {
    stored::entry(&row.detail).is_ok_and(|entry| calls_for_something(&entry.what))
}

/// As repairs name it.
fn subject(row: &EntryRow) -> Option<Tag> {
    match row.kind.as_str() {
        "ground_relay" => Some(Tag::from(Tag::GROUND_RELAY)),
        "engine_start" => Some(Tag::from(Tag::ENGINE_START)),
        _ => row.device.as_deref().map(Tag::from),
    }
}

/// What was found in order needs nobody.
fn calls_for_something(what: &What) -> bool {
    match what {
        What::BreakerTrip(_)
        | What::GroundRelay(_)
        | What::Bypass(_)
        | What::Shutdown(_)
        | What::Defect(_) => true,
        What::FuseCheck(fuse) => fuse.result != FuseResult::Good,
        What::EngineStart(start) => start.outcome != Outcome::Running,
        What::Position(position) => {
            matches!(position.seen, Seen::Off | Seen::Open | Seen::Tripped)
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
