//! How may this engine be started now, and what would change that? From the schedule, what everybody wrote, and the
//! readings and checks just made. It never says that a start is without danger, only what is against it.
//!
//! `static/answers.js` says the same where there is no network; `tests/browser/answers.rs` holds both together.
use serde::Serialize;

use super::{
    answer_words::{self as words, fill},
    start_events::{Event, Known, Stop},
};
use crate::{
    base::{
        Instant, Tag, Zone,
        instant::{HOUR, SECOND},
        text::{count, span},
        words::words as list,
    },
    reports::vocabulary::TestCock,
    roster::schedule::{StartLimits, StartMotors},
};

/// Pounds per square inch for the air motors of a class whose schedule does not say: common practice, no source.
pub const AIR_MIN_PSI: f64 = 80.0;

list! {
    /// Which motors nothing is held against; `not_now`: something is, or it is not known.
    pub enum Verdict { Both = "both", Electric = "electric", Air = "air", NotNow = "not_now", }
}
list! { pub enum ShutDown { Short = "short", Long = "long", } }

/// Everything the answer rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    pub picture_from: Instant,
    pub book: InBook,
    pub readings: Readings,
}

/// What the book has of one unit that bears on starting it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct InBook {
    /// `None`: no schedule, the unit is not on the roster.
    pub class: Option<StartLimits>,
    /// The shop holds it since.
    pub held: Option<Instant>,
    /// Repairs that are open: since when, and of what; `None` is the unit.
    pub repairs: Vec<(Instant, Option<Tag>)>,
    /// The devices that a start needs, and their legends.
    pub group: Vec<(Tag, String)>,
    /// Sorted by time and id. A tablet has them in another form, see [`super::situation`].
    #[serde(skip)]
    pub events: Vec<Event>,
}

/// What has just been read and looked at.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Readings {
    pub battery_rest_v: Option<f64>,
    pub main_reservoir_psi: Option<f64>,
    pub test_cock: Option<TestCock>,
    /// How long it has been shut down, if they know better than the book.
    pub shut_down: Option<ShutDown>,
    /// Checks that are not right and that stand against a start, in their words.
    pub not_right: Vec<String>,
    /// Devices seen on, whatever was written before.
    pub seen_on: Vec<Tag>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StartAnswer {
    pub verdict: Verdict,
    /// The answer in a sentence or two.
    pub says: String,
    /// Each thing that is against a start; none unless the verdict is 'not now'.
    pub reasons: Vec<String>,
    pub would_change: Vec<String>,
    /// Why it is started as a cold engine; `None`: it need not be.
    pub cold: Option<String>,
    /// How long to crank, how long to rest, which attempt this is.
    pub crank: String,
    pub attempt: u32,
    /// The picture of the book is not of now.
    pub picture: Option<String>,
    pub defers: &'static str,
}

/// One thing against a start, and what would change it.
type Against = (String, &'static str);

pub fn start_answer(situation: &Situation, zone: &Zone, now: Instant) -> StartAnswer {
    let known = Known::of(&situation.book.events, now);
    let cold = cold(situation, &known, now);
    let mut against = shop(situation, zone);
    against.extend(written(situation, &known, zone, cold.is_some()));
    against.extend(checks(situation, &known, zone));
    against.extend(cranked(situation, &known, zone, now));
    let (verdict, says, against) = match &situation.book.class {
        None => {
            against.push((words::NO_SCHEDULE.to_owned(), words::ASK));
            not_now(against)
        }
        Some(_) if !against.is_empty() => not_now(against),
        Some(class) => gauges(&situation.readings, class, &known, zone),
    };
    let mut would_change: Vec<String> = Vec::new();
    for (_, change) in &against {
        if !would_change.iter().any(|known| known == change) {
            would_change.push((*change).to_owned());
        }
    }
    let reasons = against.into_iter().map(|(reason, _)| reason).filter(|_| verdict == Verdict::NotNow);
    let old = now.since(situation.picture_from) > HOUR;
    StartAnswer {
        verdict,
        says,
        reasons: reasons.collect(),
        would_change,
        cold,
        crank: crank(situation, &known),
        attempt: known.attempts() + 1,
        picture: old.then(|| fill(words::PICTURE, &[&zone.in_words(situation.picture_from)])),
        defers: words::START_DEFERS,
    }
}

type Said = (Verdict, String, Vec<Against>);

fn not_now(against: Vec<Against>) -> Said {
    let reasons: Vec<&str> = against.iter().map(|(reason, _)| reason.as_str()).collect();
    (Verdict::NotNow, fill(words::NOT_NOW, &[&reasons.join(" ")]), against)
}

fn shop(situation: &Situation, zone: &Zone) -> Vec<Against> {
    let book = &situation.book;
    let held = book.held.map(|at| (fill(words::HELD, &[&zone.in_words(at)]), words::RELEASE));
    let repairs = book.repairs.iter().map(|(at, device)| {
        let of = device.as_ref().map_or(words::THE_UNIT, Tag::as_str);
        (fill(words::REPAIR_OPEN, &[&of, &zone.in_words(*at)]), words::CLOSE)
    });
    held.into_iter().chain(repairs).collect()
}

/// What was written about the unit and stands until somebody answers it.
fn written(situation: &Situation, known: &Known<'_>, zone: &Zone, cold: bool) -> Vec<Against> {
    let mut out: Vec<Against> = Vec::new();
    if let Some(at) = known.notice {
        out.push((fill(words::NOTICE, &[&zone.in_words(at)]), words::NOTICE_OFF));
    }
    for (device, what, at) in &known.guards {
        let what = what.as_str().replace('_', " ");
        out.push((fill(words::GUARD, &[&what, device, &zone.in_words(*at)]), words::GUARD_OFF));
    }
    if let Some((stop, at)) = known.stopped {
        let stopped = match stop {
            Stop::CrankcaseDevice => words::CRANKCASE_DEVICE,
            Stop::Overspeed => words::OVERSPEED,
            Stop::LowOil => words::LOW_OIL,
            Stop::LowWater => words::LOW_WATER,
        };
        out.push((fill(stopped, &[&zone.in_words(at)]), words::REPAIR));
    }
    let now = situation.readings.test_cock.and_then(wet);
    if let Some(what) = now {
        out.push((fill(words::COCK, &[&what]), words::REPAIR));
    } else if let Some((what, at)) = known.cock.and_then(|(cock, at)| Some((wet(cock)?, at))) {
        out.push((fill(words::COCK_WRITTEN, &[&what, &zone.in_words(at)]), words::REPAIR));
    } else if cold && situation.readings.test_cock != Some(TestCock::Clear) {
        out.push((words::COCKS.to_owned(), words::BLOW));
    }
    out
}

fn wet(cock: TestCock) -> Option<&'static str> {
    match cock {
        TestCock::Water => Some("Water"),
        TestCock::Fuel => Some("Fuel"),
        TestCock::Oil => Some("Oil"),
        TestCock::Clear | TestCock::NotLooked | TestCock::NotKnown => None,
    }
}

fn checks(situation: &Situation, known: &Known<'_>, zone: &Zone) -> Vec<Against> {
    let readings = &situation.readings;
    let off = situation.book.group.iter().filter(|(tag, _)| !readings.seen_on.contains(tag));
    let off = off.filter_map(|(tag, legend)| {
        let (standing, at) = known.standing(tag).filter(|(standing, _)| standing.is_open())?;
        let standing = standing.as_str().replace('_', " ");
        Some((fill(words::OFF, &[tag, legend, &standing, &zone.in_words(at)]), words::ON_AGAIN))
    });
    let not_right = readings.not_right.iter();
    let not_right = not_right.map(|text| (fill(words::NOT_RIGHT, &[text]), words::PUT_RIGHT));
    off.chain(not_right).collect()
}

/// Attempts used up, or the motors still resting.
fn cranked(situation: &Situation, known: &Known<'_>, zone: &Zone, now: Instant) -> Vec<Against> {
    let Some(class) = &situation.book.class else { return Vec::new() };
    let mut out: Vec<Against> = Vec::new();
    let (made, first) = (known.attempts(), known.failed.first().map(|(at, _)| *at));
    if let (Some(may), Some(first)) = (class.crank_attempts.filter(|may| made >= *may), first) {
        let attempts = count(u64::from(made), "attempt", "attempts");
        out.push((fill(words::ATTEMPTS, &[&attempts, &zone.in_words(first), &may]), words::LOOKED_AT));
    }
    let rest = i64::from(class.crank_rest_s.unwrap_or(0));
    let more = known.failed.last().map_or(0, |(at, _)| rest * SECOND - now.since(*at));
    if more > 0 {
        let seconds = (more + SECOND - 1) / SECOND;
        out.push((fill(words::REST, &[&rest, &seconds]), words::RESTED));
    }
    out
}

/// By the motors of the class and what was read off the gauges; nothing else is against it.
fn gauges(readings: &Readings, class: &StartLimits, known: &Known<'_>, zone: &Zone) -> Said {
    let only = |reason: String, change| not_now(vec![(reason, change)]);
    let Some(motors) = class.motors else { return only(words::NO_MOTORS.to_owned(), words::ASK) };
    let Some(volts) = readings.battery_rest_v else {
        return only(words::UNREAD.to_owned(), words::READ_VOLTS);
    };
    match class.control_min_v {
        None => return only(words::NO_CONTROL.to_owned(), words::ASK),
        Some(least) if volts < least => {
            return only(fill(words::UNDER_CONTROL, &[&volts, &least]), words::CHARGE);
        }
        Some(_) => {}
    }
    let electric = (motors != StartMotors::Air).then(|| electric(volts, class, known, zone));
    let air = (motors != StartMotors::Electric).then(|| air(readings, class));
    verdict(electric, air)
}

/// What speaks for these motors, or against them and what would change that.
type Motors = Result<String, Against>;

fn electric(volts: f64, class: &StartLimits, known: &Known<'_>, zone: &Zone) -> Motors {
    let Some(least) = class.cranking_min_v else { return Err((words::NO_CRANKING.to_owned(), words::ASK)) };
    let fell = known.cranking.filter(|(cranking, _)| *cranking < least);
    if volts < least {
        Err((fill(words::VOLTS_UNDER, &[&volts, &least]), words::CHARGE))
    } else if let Some((fell, at)) = fell {
        Err((fill(words::VOLTS_FELL, &[&fell, &zone.in_words(at), &least]), words::CHARGE))
    } else {
        Ok(fill(words::VOLTS, &[&volts, &least]))
    }
}

fn air(readings: &Readings, class: &StartLimits) -> Motors {
    let (least, source) = match class.air_min_psi {
        Some(least) => (least, ""),
        None => (AIR_MIN_PSI, words::PRACTICE),
    };
    match readings.main_reservoir_psi {
        None => Err((words::PSI_UNREAD.to_owned(), words::READ_PSI)),
        Some(psi) if psi < least => Err((fill(words::PSI_UNDER, &[&psi, &least, &source]), words::COUPLE)),
        Some(psi) => Ok(fill(words::PSI, &[&psi, &least, &source])),
    }
}

fn verdict(electric: Option<Motors>, air: Option<Motors>) -> Said {
    match (electric, air) {
        (Some(Ok(volts)), Some(Ok(psi))) => (Verdict::Both, fill(words::BOTH, &[&volts, &psi]), vec![]),
        (Some(Ok(volts)), None) => (Verdict::Electric, fill(words::ELECTRIC, &[&volts]), vec![]),
        (None, Some(Ok(psi))) => (Verdict::Air, fill(words::AIR, &[&psi]), vec![]),
        (Some(Ok(volts)), Some(Err(no))) => {
            (Verdict::Electric, fill(words::ELECTRIC_ONLY, &[&volts, &no.0]), vec![no])
        }
        (Some(Err(no)), Some(Ok(psi))) => (Verdict::Air, fill(words::AIR_ONLY, &[&psi, &no.0]), vec![no]),
        (electric, air) => {
            let no = |motors: Option<Motors>, not| {
                motors.and_then(Result::err).map(|(why, change)| (fill(not, &[&why]), change))
            };
            let both = [no(electric, words::NOT_ELECTRIC), no(air, words::NOT_AIR)];
            not_now(both.into_iter().flatten().collect())
        }
    }
}

/// Shut down for an unknown time counts as long, and so does one whose schedule does not say what is long.
fn cold(situation: &Situation, known: &Known<'_>, now: Instant) -> Option<String> {
    let limit = situation.book.class.as_ref().and_then(|class| class.long_shutdown_h);
    let why = match (situation.readings.shut_down, limit, known.shut_down) {
        (Some(ShutDown::Short), ..) => return None,
        (Some(ShutDown::Long), ..) => words::LONG_TOLD.to_owned(),
        (None, None, _) => words::LONG_NOT_SAID.to_owned(),
        (None, _, None) => words::LONG_UNKNOWN.to_owned(),
        (None, Some(hours), Some(at)) if now.hours_since(at) >= hours => {
            fill(words::LONG, &[&span(now.since(at)), &hours])
        }
        _ => return None,
    };
    Some(fill(words::COLD, &[&why]))
}

fn crank(situation: &Situation, known: &Known<'_>) -> String {
    let class = situation.book.class.clone().unwrap_or_default();
    let how = match (class.crank_seconds_max, class.crank_rest_s) {
        (Some(seconds), Some(rest)) => fill(words::CRANK_REST, &[&seconds, &rest]),
        (Some(seconds), None) => fill(words::CRANK, &[&seconds]),
        (None, Some(rest)) => fill(words::REST_ONLY, &[&rest]),
        (None, None) => words::CRANK_NOT_SAID.to_owned(),
    };
    let attempt = known.attempts() + 1;
    how + &match class.crank_attempts {
        Some(may) => fill(words::ATTEMPT_OF, &[&attempt, &may]),
        None => fill(words::ATTEMPT, &[&attempt]),
    }
}

#[cfg(test)]
mod tests;
