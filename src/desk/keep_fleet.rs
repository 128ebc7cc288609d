//! One unit, or one class's schedule, kept by hand, each with its reason.
use sha2::{Digest, Sha256};

use super::{
    World,
    act::{Act, Decided},
    body::{Body, ScheduleKept, UnitKept},
    draft::{Draft, Filed, Page},
    grants::still_may,
    refused::{Refused, not_allowed},
    tables::json,
    tablets::page,
};
use crate::{
    base::{ClassName, Day, Instant, UnitName},
    people::{Permit, permit::Act::KeepRoster},
    roster::{Schedule, UnitCard},
};

/// Tells a card from what it was: a form that was drawn beside another is stale. Empty: the roster lacks the unit.
pub fn print(card: Option<&UnitCard>) -> String {
    let Some(card) = card else { return String::new() };
    hex::encode(Sha256::digest(json(card))).split_at(16).0.to_owned()
}

/// A unit added, changed, retired or back: its whole card, and why.
#[derive(Debug)]
pub struct KeepUnit {
    page: Page,
    seen: String,
}

impl KeepUnit {
    pub fn of(unit: UnitCard, reason: String, seen: &str, permit: &Permit, now: Instant) -> Self {
        let body = Body::UnitKept(Box::new(UnitKept { unit, reason }));
        Self { page: page(permit.by(), now, body), seen: seen.to_owned() }
    }
}

impl Act for KeepUnit {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Body::UnitKept(wanted) = &self.page.body else { return Ok(Decided::default()) };
        still_may(draft, self.page.author.as_ref(), KeepRoster)?;
        let card = &wanted.unit;
        let known = draft.world.roster.unit(&card.unit);
        if known == Some(card) {
            return Err(unchanged(&card.unit, &self.seen));
        }
        if print(known) != self.seen {
            return Err(stale(&card.unit, &self.seen));
        }
        possible(card, &draft.world, now)?;
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

fn unchanged(unit: &UnitName, seen: &str) -> Refused {
    if seen.is_empty() {
        stale(unit, seen)
    } else {
        not_allowed("", format!("Nothing is changed: {unit} is so already."))
    }
}

fn stale(unit: &UnitName, seen: &str) -> Refused {
    if seen.is_empty() {
        return not_allowed("unit", format!("{unit} is on the roster already: change it on its own page."));
    }
    Refused::Stale(format!(
        "Somebody changed {unit} since you opened this page. What you typed is kept below: look again, then sign."
    ))
}

/// Before it no unit of this kind ran; a year with a digit lost would be centuries of service days.
const EARLIEST: Day = Day(-25_567);

/// Two years in days: a railway lists what is on order, and nothing later.
const YEARS_AHEAD: i32 = 731;

fn possible(card: &UnitCard, world: &World, now: Instant) -> Result<(), Refused> {
    let today = world.railway.zone.day_of(now);
    if !world.roster.classes.contains_key(&card.class) {
        return Err(not_allowed(
            "class",
            format!("There is no class {} yet: write its schedule first.", card.class),
        ));
    }
    if card.in_service < EARLIEST {
        return Err(not_allowed("in_service", "Before 1900. Check the year.".to_owned()));
    }
    if card.in_service > today.plus(YEARS_AHEAD) {
        return Err(not_allowed("in_service", "More than two years ahead. Check the year.".to_owned()));
    }
    match card.retired {
        Some(day) if day < card.in_service => Err(not_allowed(
            "retired",
            "It would be retired before it came into service. Check both days.".to_owned(),
        )),
        Some(day) if day > today => {
            let says = "That day has not come. Retire it when it is out of service; until then hold it, as the shop does.";
            Err(not_allowed("retired", says.to_owned()))
        }
        _ => Ok(()),
    }
}

/// How many versions of its schedule a class has.
pub fn versions(class: &ClassName, world: &World) -> usize {
    world.roster.classes.get(class).map_or(0, |class| class.schedules.len())
}

/// A new version of a class's schedule.
#[derive(Debug)]
pub struct KeepSchedule {
    page: Page,
    /// How many versions there were when it was shown.
    seen: usize,
}

impl KeepSchedule {
    pub fn of(schedule: Schedule, reason: String, seen: usize, permit: &Permit, now: Instant) -> Self {
        let body = Body::ScheduleKept(Box::new(ScheduleKept { schedule, reason }));
        Self { page: page(permit.by(), now, body), seen }
    }
}

impl Act for KeepSchedule {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Body::ScheduleKept(wanted) = &self.page.body else { return Ok(Decided::default()) };
        still_may(draft, self.page.author.as_ref(), KeepRoster)?;
        if versions(&wanted.schedule.class, &draft.world) != self.seen {
            return Err(Refused::Stale(format!(
                "A version of class {} was written since you opened this page. What you typed is kept below: show it again, then sign.",
                wanted.schedule.class
            )));
        }
        begins(&wanted.schedule, &draft.world, now)?;
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

/// From when it may hold. What is written already was written by the schedule of its day, and keeps its meaning; only the
/// first version serves for everything before it.
///
/// # Errors
/// The sentence beside the day.
pub fn begins(schedule: &Schedule, world: &World, now: Instant) -> Result<(), Refused> {
    let zone = &world.railway.zone;
    let latest = world.roster.classes.get(&schedule.class).and_then(|class| class.latest());
    let Some(latest) = latest else { return Ok(()) };
    if schedule.same_content(latest) {
        return Err(not_allowed(
            "",
            "Nothing is changed: this is the schedule that the class has.".to_owned(),
        ));
    }
    let today = zone.start_of(zone.day_of(now));
    if schedule.effective < today {
        let says = "A schedule cannot change what was written by it: give today or a later day.";
        return Err(not_allowed("effective", says.to_owned()));
    }
    if schedule.effective < latest.effective {
        let day = zone.day_of(latest.effective).in_words();
        return Err(not_allowed(
            "effective",
            format!("The class has a version that holds from {day}: give that day or a later one."),
        ));
    }
    Ok(())
}
