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
mod tests {
    use super::*;
    use crate::rules::{
        Dossier, DossierKey, Fact, Told,
        dossier::Subject,
        sample::{Railway, at, bypass, device, fact, position, repair, start, trip, word},
        situation::{Beside, InShop, in_book},
    };

    const NOW: &str = "2026-03-02T12:00:00Z";

    /// Both kinds of motors, at least 50 V, 43 V cranking, 90 psi; three attempts of 20 s with 120 s rest; from 48 h
    /// on a shutdown is long.
    fn class() -> StartLimits {
        StartLimits {
            control_min_v: Some(50.0),
            cranking_min_v: Some(55.0),
            air_min_psi: Some(90.0),
            motors: Some(StartMotors::Both),
            crank_seconds_max: Some(20),
            crank_rest_s: Some(120),
            crank_attempts: Some(3),
            long_shutdown_h: Some(48.0),
        }
    }

    fn stopped(when: &str, cause: &str) -> Fact {
        fact(when, Told::Shutdown { cause: Some(word(cause)), warning_notice: None })
    }

    /// An hour ago by its crew: nothing is against it.
    fn parked() -> Fact {
        stopped("2026-03-02T11:00:00Z", "crew")
    }

    fn good() -> Readings {
        Readings { battery_rest_v: Some(64.0), main_reservoir_psi: Some(110.0), ..Readings::default() }
    }

    fn cocks(when: &str, cock: &str) -> Fact {
        let told = Told::Start {
            outcome: word("not_known"),
            attempt: None,
            motors: None,
            battery_cranking_v: None,
            test_cock: Some(word(cock)),
        };
        fact(when, told)
    }

    fn book(facts: Vec<(Subject, Vec<Fact>)>, shop: InShop, class: Option<StartLimits>) -> InBook {
        let group = |tag: &str| device(tag, |d| d.start_group = true);
        let devices = vec![group("LCP"), group("SF"), device("GRC", |d| d.ground_protection = true)];
        let railway = Railway::with(devices);
        let mut schedule = class.is_some().then(|| (*railway.roster.classes["C1"].schedules[0]).clone());
        if let (Some(schedule), Some(class)) = (&mut schedule, class) {
            schedule.start = class;
        }
        let key = |subject| DossierKey { unit: "QHB 412".into(), subject };
        let dossiers: Vec<_> = facts.into_iter().map(|(s, facts)| (key(s), Dossier::of(facts))).collect();
        let me = "n.okafor".into();
        let (people, zone) = (&railway.people, &railway.zone);
        in_book(&dossiers, shop, &Beside { me: &me, people, zone, schedule: schedule.as_ref(), now: at(NOW) })
    }

    fn answer(book: InBook, readings: Readings) -> StartAnswer {
        let answer =
            start_answer(&Situation { picture_from: at(NOW), book, readings }, &Zone::utc(), at(NOW));
        let all = format!("{answer:?}").to_lowercase();
        assert!(!all.contains("safe") && !all.contains(" fit"), "{all}");
        assert!(answer.defers.contains("instructions and qualified people decide"));
        assert_eq!(answer.reasons.is_empty(), answer.verdict != Verdict::NotNow, "{answer:?}");
        answer
    }

    fn about(unit: Vec<Fact>) -> StartAnswer {
        answer(book(vec![(Subject::Unit, unit)], InShop::default(), Some(class())), good())
    }

    /// Motors of the class, volts at rest, psi, what the schedule leaves blank, verdict, words of the answer.
    const GAUGES: &str = "\
both|64|110||both|with both kinds of motors: battery 64 V at rest, at least 55; main reservoir 110 psi, at least 90.
both|55|90||both|at least 55
both|54.9|110||air|on the air motors only: main reservoir 110 psi, at least 90. Not on the electric motors: battery 54.9 V at rest, under 55.
both|64|89||electric|on the electric motors only: battery 64 V at rest, at least 55. Not on air: main reservoir 89 psi, under 90.
both|54|89||not_now|Not now. Not on the electric motors: battery 54 V at rest, under 55. Not on air: main reservoir 89 psi, under 90.
both|49.9|140||not_now|Battery 49.9 V at rest, under 50: nothing starts, on air neither
air|49.9|140||not_now|nothing starts, on air neither
air|50|90||air|with its air motors: main reservoir 90 psi
electric|64|||electric|with its electric motors: battery 64 V
electric|54|110||not_now|Not on the electric motors: battery 54 V at rest, under 55.
both||110||not_now|The battery at rest is not read
both|64|||electric|Not on air: the main reservoir is not read.
both|64|80|air_min_psi|both|main reservoir 80 psi, at least 80 (common practice, no source).
both|64|79|air_min_psi|electric|under 80 (common practice, no source).
|64|110||not_now|does not say which motors
both|64|110|control_min_v|not_now|does not say how many volts the controls
both|64|110|cranking_min_v|air|the schedule does not say how many volts cranking needs";

    #[test]
    fn by_the_motors_of_the_class_and_the_gauges() {
        for row in GAUGES.lines() {
            let [motors, volts, psi, blank, want, says] = row.split('|').collect::<Vec<_>>()[..] else {
                panic!("{row}")
            };
            let mut class = StartLimits { motors: StartMotors::parse(motors), ..class() };
            match blank {
                "air_min_psi" => class.air_min_psi = None,
                "control_min_v" => class.control_min_v = None,
                "cranking_min_v" => class.cranking_min_v = None,
                _ => {}
            }
            let book = book(vec![(Subject::Unit, vec![parked()])], InShop::default(), Some(class));
            let (battery_rest_v, main_reservoir_psi) = (volts.parse().ok(), psi.parse().ok());
            let answer = answer(book, Readings { battery_rest_v, main_reservoir_psi, ..Readings::default() });
            assert_eq!(answer.verdict.as_str(), want, "{row}: {}", answer.says);
            assert!(answer.says.contains(says), "{:?} has not {says:?}", answer.says);
        }
    }

    #[test]
    fn what_would_change_it() {
        let readings =
            Readings { battery_rest_v: Some(54.0), main_reservoir_psi: Some(60.0), ..Readings::default() };
        let book = book(vec![(Subject::Unit, vec![parked()])], InShop::default(), Some(class()));
        let answer = answer(book, readings);
        assert_eq!(
            answer.would_change,
            [words::CHARGE, "Couple main-reservoir hoses to another unit, as local instructions say."]
        );
    }

    #[test]
    fn not_now_comes_first_whatever_the_gauges_say() {
        let notice = Told::Shutdown { cause: Some(word("crew")), warning_notice: Some("injector".into()) };
        let notice = || fact("2026-03-02T10:00:00Z", notice.clone());
        let ten = "2026-03-02T10:00:00Z";
        for (facts, says) in [
            (vec![notice()], "A warning notice was hung on it, written 2 Mar 2026 10:00 +00:00: read it."),
            (
                vec![stopped(ten, "crankcase_device")],
                "by the crankcase device, 2 Mar 2026 10:00 +00:00: stay away, open nothing, no restart.",
            ),
            (vec![stopped(ten, "overspeed")], "by the overspeed device"),
            (vec![stopped(ten, "low_oil")], "for low oil"),
            (vec![stopped(ten, "low_water")], "for low water"),
            (vec![start(ten, "crankcase_device", None)], "by the crankcase device"),
            (
                vec![cocks(ten, "fuel"), parked()],
                "Fuel at a test cock, written 2 Mar 2026 10:00 +00:00: do not start.",
            ),
        ] {
            let answer = about(facts.clone());
            assert_eq!(answer.verdict, Verdict::NotNow);
            assert!(answer.says.starts_with("Not now.") && answer.says.contains(says), "{}", answer.says);
            // The unit's repair answers it.
            let mended = facts.into_iter().chain([repair("2026-03-02T10:30:00Z"), parked()]);
            assert_eq!(about(mended.collect()).verdict, Verdict::Both, "{says}");
        }
    }

    #[test]
    fn low_oil_is_past_once_it_ran_and_a_crankcase_device_is_not() {
        let ran = || start("2026-03-02T10:10:00Z", "running", None);
        let after =
            |cause: &str| about(vec![stopped("2026-03-02T10:00:00Z", cause), ran(), parked()]).verdict;
        assert_eq!((after("low_oil"), after("low_water")), (Verdict::Both, Verdict::Both));
        assert_eq!((after("crankcase_device"), after("overspeed")), (Verdict::NotNow, Verdict::NotNow));
        // A stop of which nobody says why does not make it past.
        let unknown = fact("2026-03-02T11:00:00Z", Told::Shutdown { cause: None, warning_notice: None });
        let answer = about(vec![stopped("2026-03-02T10:00:00Z", "low_oil"), unknown]);
        assert_eq!(answer.verdict, Verdict::NotNow);
    }

    #[test]
    fn the_shop_the_guards_and_the_devices() {
        let ten = at("2026-03-02T10:00:00Z");
        let held = InShop { held: Some(ten), repairs: vec![] };
        let open = InShop { held: None, repairs: vec![(ten, None), (ten, Some("TC2".into()))] };
        let of = |facts: Vec<(Subject, Vec<Fact>)>, shop, readings| {
            let unit = (Subject::Unit, vec![parked()]);
            answer(book(facts.into_iter().chain([unit]).collect(), shop, Some(class())), readings)
        };
        assert!(of(vec![], held, good()).says.contains("The shop holds it since 2 Mar 2026 10:00"));
        let repairs = of(vec![], open, good());
        assert_eq!(repairs.reasons.len(), 2);
        assert!(repairs.reasons[0].contains("of the unit") && repairs.reasons[1].contains("of TC2"));
        assert_eq!(repairs.would_change, ["The shop closes the repair."]);

        let tag = |tag: &str| Subject::Device(tag.into());
        let lock = || bypass("2026-03-02T10:00:00Z", "GRC", |b| b.protection = Some(word("blue_signal")));
        let locked = of(vec![(tag("GRC"), vec![lock()])], InShop::default(), good());
        assert!(locked.says.contains("A blue signal at GRC was written"), "{}", locked.says);
        let seen = position("2026-03-02T10:30:00Z", "GRC", "closed", None);
        let closed = of(vec![(tag("GRC"), vec![lock(), seen])], InShop::default(), good());
        assert_eq!(closed.verdict, Verdict::Both);

        let tripped = || (tag("LCP"), vec![trip("2026-03-02T10:00:00Z", "LCP", word("tripped"))]);
        let off = of(vec![tripped()], InShop::default(), good());
        assert_eq!(off.says, "Not now. LCP (LCP LEGEND) was last written tripped, 2 Mar 2026 10:00 +00:00.");
        let seen = Readings { seen_on: vec!["LCP".into()], ..good() };
        assert_eq!(of(vec![tripped()], InShop::default(), seen).verdict, Verdict::Both);
        let wrong = Readings { not_right: vec!["Engine oil on the dipstick".into()], ..good() };
        assert_eq!(
            of(vec![], InShop::default(), wrong).says,
            "Not now. Not right: Engine oil on the dipstick."
        );
    }

    #[test]
    fn attempts_are_used_up_and_the_motors_rest() {
        let failed = |minute: &str| start(&format!("2026-03-02T11:{minute}:00Z"), "no_fire", None);
        let two = || vec![parked(), failed("30"), failed("40")];
        let answer = about(two());
        assert_eq!((answer.verdict, answer.attempt), (Verdict::Both, 3));
        assert_eq!(answer.crank, "Crank at most 20 s, then rest 120 s. Attempt 3 of 3.");
        let three: Vec<Fact> = two().into_iter().chain([failed("50")]).collect();
        let answer = about(three.clone());
        assert_eq!(
            answer.says,
            "Not now. 3 attempts failed since 2 Mar 2026 11:30 +00:00; the schedule allows 3."
        );
        let mended = fact("2026-03-02T11:55:00Z", Told::StartRepaired);
        assert_eq!(about(three.into_iter().chain([mended]).collect()).attempt, 1);
        // One entry that says it was the third tells of the two before it.
        let mut third = failed("50");
        if let Told::Start { attempt, .. } = &mut third.told {
            *attempt = Some(3);
        }
        assert_eq!(about(vec![parked(), third]).verdict, Verdict::NotNow);
        let answer = about(vec![parked(), start("2026-03-02T11:59:15Z", "no_crank", None)]);
        assert_eq!(answer.says, "Not now. The starting motors rest 120 s after an attempt: 75 s more.");
    }

    #[test]
    fn a_battery_that_fell_while_cranking_is_not_asked_again() {
        let answer = about(vec![parked(), start("2026-03-02T11:30:00Z", "slow_crank", Some(38.5))]);
        assert_eq!(answer.verdict, Verdict::Air);
        assert!(
            answer
                .says
                .contains("the battery fell to 38.5 V while cranking, 2 Mar 2026 11:30 +00:00, under 55.")
        );
    }

    #[test]
    fn shut_down_for_an_unknown_time_counts_as_long() {
        let long = |unit: Vec<Fact>, shut_down, limit| {
            let class = StartLimits { long_shutdown_h: limit, ..class() };
            let readings = Readings { shut_down, test_cock: Some(TestCock::Clear), ..good() };
            answer(book(vec![(Subject::Unit, unit)], InShop::default(), Some(class)), readings).cold
        };
        let days = |when: &str| vec![stopped(when, "crew")];
        let ran = || vec![parked(), start("2026-03-02T11:30:00Z", "running", None)];
        assert_eq!(long(days("2026-03-02T11:00:00Z"), None, Some(48.0)), None);
        assert_eq!(long(days("2026-02-28T12:01:00Z"), None, Some(48.0)), None);
        for (unit, told, limit, says) in [
            (days("2026-02-28T12:00:00Z"), None, Some(48.0), "Shut down 48 h, and from 48 h on it is long:"),
            (vec![], None, Some(48.0), "Shut down for an unknown time, which counts as long:"),
            (ran(), None, Some(48.0), "Shut down for an unknown time"),
            (days("2026-03-02T11:00:00Z"), None, None, "The schedule does not say which shutdown is long:"),
            (days("2026-03-02T11:00:00Z"), Some(ShutDown::Long), Some(48.0), "Shut down long, as told:"),
        ] {
            let cold = long(unit, told, limit).unwrap_or_default();
            assert!(cold.starts_with(says) && cold.ends_with("the cold-engine procedure applies."), "{cold}");
        }
        assert_eq!(long(vec![], Some(ShutDown::Short), Some(48.0)), None);
        let answer = about(vec![]);
        assert!(
            answer.says.contains("Before a cold start the test cocks have to be clear"),
            "{}",
            answer.says
        );
        assert_eq!(answer.would_change, ["Blow the test cocks: all clear."]);
    }

    #[test]
    fn a_unit_that_the_book_has_no_schedule_of() {
        let answer = answer(book(vec![], InShop::default(), None), good());
        assert_eq!(answer.verdict, Verdict::NotNow);
        assert!(answer.reasons.iter().any(|r| r == "The book has no schedule of it."));
        let book = book(vec![(Subject::Unit, vec![parked()])], InShop::default(), Some(class()));
        let old = Situation { picture_from: at("2026-03-02T10:59:00Z"), book, readings: good() };
        let says = start_answer(&old, &Zone::utc(), at(NOW)).picture.unwrap_or_default();
        assert!(says.starts_with("This picture of the book is from 2 Mar 2026 10:59 +00:00"), "{says}");
    }
}
