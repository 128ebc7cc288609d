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
    let answer = start_answer(&Situation { picture_from: at(NOW), book, readings }, &Zone::utc(), at(NOW));
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
    let after = |cause: &str| about(vec![stopped("2026-03-02T10:00:00Z", cause), ran(), parked()]).verdict;
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
    assert_eq!(of(vec![], InShop::default(), wrong).says, "Not now. Not right: Engine oil on the dipstick.");
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
        answer.says.contains("the battery fell to 38.5 V while cranking, 2 Mar 2026 11:30 +00:00, under 55.")
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
    assert!(answer.says.contains("Before a cold start the test cocks have to be clear"), "{}", answer.says);
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
