//! What no rule may stumble over: nothing to compare with, nothing known, everything bad, entries and units that change
//! what they said, rounded clocks, another schedule, numbers that are none.
mod numbers;

use breakerbook::{
    base::{ClassName, Day, Instant},
    book::Channel,
    desk::{
        Desk,
        figures::TakeFigures,
        keep_roster::{IssueSchedules, KeepUnits},
        reports::AmendEntry,
    },
    people::{self, Role},
    reports::stored,
    roster::UnitCard,
    rules::{Finding, Rule},
};
use serde_json::{Value, json};

use crate::{
    house::{House, file, id},
    order::{act_of_shop, eager, equals_the_batch, findings_and_bypasses},
};

/// A report about a unit, signed at noon of a day of 2026, with trips of one device at these times.
fn told(n: u64, unit: &str, day: &str, trips: &[(&str, &str)]) -> Value {
    let entry = |(k, (time, device)): (usize, &(&str, &str))| {
        json!({"id": id(n * 100 + k as u64 + 1), "kind": "breaker_trip", "at": format!("{day}T{time}:00-06:00"), "at_how": "clock",
            "device": device, "left": "on"})
    };
    json!({"id": id(n * 100), "unit": unit, "author": "ann", "occasion": "yard", "signed_at": format!("{day}T12:00:00-06:00"),
        "entries": trips.iter().enumerate().map(entry).collect::<Vec<_>>()})
}

async fn file_all(desk: &Desk, reports: &[Value]) {
    for report in reports {
        file(desk, report, "ann", Channel::Token).await.unwrap();
    }
}

/// The n-th day of the year.
fn day(n: i32) -> String {
    Day::parse("2026-01-01").unwrap().plus(n).to_string()
}

/// A report every twelve days, from January to May, with a trip of TC1 on each day that is asked for.
fn spring(first: u64, unit: &str, trips: &[i32]) -> Vec<Value> {
    let all = (0..145).filter(|n| n % 12 == 0 || trips.contains(n));
    let one = |(k, n): (usize, i32)| {
        let trip = [("09:10", "TC1")];
        told(first + k as u64, unit, &day(n), if trips.contains(&n) { &trip } else { &[] })
    };
    all.enumerate().map(one).collect()
}

/// Six within four weeks.
const MANY: [i32; 6] = [60, 62, 69, 72, 77, 83];

async fn take_figures(desk: &Desk) {
    desk.act(TakeFigures::prepare(desk, desk.clock().now()).await.unwrap()).await.unwrap();
}

/// Lines of the statistical rules; every number in the book is one, and judging at once says the same.
async fn lines(desk: &Desk) -> Vec<Finding> {
    equals_the_batch(desk).await;
    let mut db = desk.read().await.unwrap();
    let figures: Option<String> =
        sqlx::query_scalar("SELECT figures FROM class_figures").fetch_optional(&mut *db).await.unwrap();
    assert!(figures.is_none_or(|text| !text.contains("null")), "a figure that is none");
    drop(db);
    let (mut found, _) = findings_and_bypasses(desk).await;
    found.iter().for_each(sound);
    found.retain(|f| !f.rule.is_certain());
    found
}

async fn rules(desk: &Desk) -> Vec<&'static str> {
    lines(desk).await.iter().map(|f| f.rule.as_str()).collect()
}

/// No number of a finding is none, and its sentence names none that is not.
fn sound(finding: &Finding) {
    let fine = finding.rank.is_none_or(f64::is_finite) && finding.severity.is_finite();
    let null = finding.figures.iter().find(|(_, value)| value.is_null());
    let word = |word: &str| word.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
    let nonsense = finding
        .sentence
        .split([' ', '-'])
        .map(word)
        .find(|w| ["nan", "inf", "infinity"].contains(&w.as_str()));
    assert!(fine && null.is_none() && nonsense.is_none(), "{finding:#?}");
}

async fn cards(desk: &Desk, change: impl Fn(&mut UnitCard), units: &[&str]) {
    let known = desk.world().roster.unit(&"QHB 1".into()).unwrap().clone();
    let card = |unit: &&str| {
        let mut card = UnitCard { unit: (*unit).into(), ..known.clone() };
        change(&mut card);
        card
    };
    let cards = units.iter().map(card).collect();
    let world = desk.world();
    desk.act(KeepUnits::of(cards, |card| world.roster.unit(&card.unit).is_some(), None, Channel::Import))
        .await
        .unwrap();
}

const FLEET: [&str; 9] = ["QHB 1", "QHB 2", "QHB 3", "QHB 4", "QHB 5", "QHB 6", "QHB 7", "QHB 8", "QHB 9"];

/// Nine units, of which the first trips many times in March and two others a few times in the year.
async fn one_bad_unit(desk: &Desk) {
    cards(desk, |_| {}, &FLEET[3..]).await;
    for (k, unit) in FLEET.iter().enumerate() {
        let trips: &[i32] = match k {
            0 => &MANY,
            3 | 4 => &[5, 52, 99],
            _ => &[],
        };
        file_all(desk, &spring(1_000 * (k as u64 + 1), unit, trips)).await;
    }
}

#[tokio::test]
async fn without_a_service_day_nothing_is_judged() {
    let house = House::new().await;
    let desk = house.desk().await;
    cards(&desk, |card| card.in_service = Day::parse("2027-01-01").unwrap(), &FLEET[..3]).await;
    for (k, unit) in FLEET[..3].iter().enumerate() {
        file_all(&desk, &spring(1_000 * (k as u64 + 1), unit, &MANY)).await;
    }
    act_of_shop(&desk, eager()).await;
    take_figures(&desk).await;
    assert_eq!(rules(&desk).await, [""; 0]);
    house.is_clean().await;
}

#[tokio::test]
async fn a_class_that_never_operated_is_no_measure() {
    let house = House::new().await;
    let desk = house.desk().await;
    for (k, unit) in FLEET[..3].iter().enumerate() {
        let trips: &[i32] = if k == 0 { &MANY } else { &[] };
        file_all(&desk, &spring(1_000 * (k as u64 + 1), unit, trips)).await;
    }
    act_of_shop(&desk, eager()).await;
    take_figures(&desk).await;
    assert_eq!(rules(&desk).await, [""; 0]);
    house.is_clean().await;
}

#[tokio::test]
async fn a_class_of_one_unit_has_nobody_to_be_held_against() {
    let house = House::new().await;
    let desk = house.desk().await;
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.class = "ALONE".into();
    desk.act(IssueSchedules::of(vec![schedule], None, Channel::Import)).await.unwrap();
    cards(&desk, |card| card.class = "ALONE".into(), &["QHB 9"]).await;
    file_all(&desk, &spring(1_000, "QHB 9", &MANY)).await;
    act_of_shop(&desk, eager()).await;
    take_figures(&desk).await;
    assert_eq!(rules(&desk).await, [""; 0]);
    house.is_clean().await;
}

#[tokio::test]
async fn where_all_are_bad_nobody_stands_out_and_where_one_is_it_does() {
    let house = House::new().await;
    let desk = house.desk().await;
    one_bad_unit(&desk).await;
    take_figures(&desk).await;
    let told = rules(&desk).await;
    assert!(told.contains(&"burst"), "{told:?}");

    let house = House::new().await;
    let desk = house.desk().await;
    cards(&desk, |_| {}, &FLEET[3..]).await;
    for (k, unit) in FLEET.iter().enumerate() {
        // The same six, and as many before and after, a few days from unit to unit.
        let trips: Vec<i32> =
            [-50, -25, 0, 25, 50].iter().flat_map(|by| MANY.map(|n| n + by + k as i32 - 4)).collect();
        file_all(&desk, &spring(1_000 * (k as u64 + 1), unit, &trips)).await;
    }
    take_figures(&desk).await;
    let told = rules(&desk).await;
    assert!(!told.contains(&"burst") && !told.contains(&"often"), "{told:?}");
    house.is_clean().await;
}

async fn amend(desk: &Desk, n: u64, report: &Value, change: &Value) {
    let mut entry = report["entries"][0].clone();
    for (name, value) in change.as_object().unwrap() {
        entry[name] = value.clone();
    }
    let amendment = json!({"id": id(90_000_000 + n), "report": report["id"], "entry": entry["id"], "author": "ann",
        "at": "2026-05-20T00:00:00Z", "reason": "as it was", "replacement": entry});
    let amendment = stored::amendment(&amendment.to_string()).unwrap();
    let permit = desk.world().people.person(&"ann".into()).unwrap().permit(people::Act::AmendEntry).unwrap();
    desk.act(AmendEntry::of(amendment, &permit, Role::Crew, Channel::Page)).await.unwrap();
}

#[tokio::test]
async fn lines_follow_an_entry_to_another_device_and_to_another_year() {
    let house = House::new().await;
    let desk = house.desk().await;
    one_bad_unit(&desk).await;
    // It was heard of all through the year before, too.
    let last_year = (1..19).map(|k: u32| told(30_000 + u64::from(k), "QHB 1", &day(-20 * k as i32), &[]));
    file_all(&desk, &last_year.collect::<Vec<_>>()).await;
    take_figures(&desk).await;
    let reports = spring(1_000, "QHB 1", &MANY);
    let entries: Vec<&Value> = reports.iter().filter(|r| r["entries"][0].is_object()).collect();
    let trips = async || {
        let found = lines(&desk).await;
        let this_year = |f: &&Finding| f.rule == Rule::Burst && f.key.contains(":2026-");
        found.iter().find(this_year).map_or(0, |f| f.entries.len())
    };
    assert_eq!(trips().await, 6);
    let at = |report: &Value| report["entries"][0]["at"].as_str().unwrap().to_owned();
    let other_year = |report: &Value| json!({"at": at(report).replace("2026", "2025")});
    let steps: [(&str, Vec<Value>, usize); 5] = [
        ("another device", entries.iter().map(|_| json!({"device": "HL"})).take(4).collect(), 0),
        ("as before", entries.iter().map(|_| json!({})).take(4).collect(), 6),
        ("another year", entries.iter().map(|r| other_year(r)).take(4).collect(), 0),
        ("a year that is still to come", vec![json!({"at": "2027-03-03T09:10:00-06:00"}); 4], 0),
        ("as before", entries.iter().map(|_| json!({})).take(4).collect(), 6),
    ];
    for (nth, (what, changes, want)) in steps.iter().enumerate() {
        for (k, change) in changes.iter().enumerate() {
            amend(&desk, (10 * nth + k) as u64, entries[k], change).await;
        }
        assert_eq!(trips().await, *want, "{what}");
        house.is_clean().await;
    }
}

#[tokio::test]
async fn a_unit_retired_and_returned_has_its_lines_again() {
    let house = House::new().await;
    let desk = house.desk().await;
    one_bad_unit(&desk).await;
    take_figures(&desk).await;
    let before = lines(&desk).await;
    assert!(before.iter().any(|f| f.rule == Rule::Burst), "{before:#?}");
    let bursts = |found: &[Finding]| {
        found.iter().filter(|f| f.rule == Rule::Burst).map(|f| f.sentence.clone()).collect::<Vec<_>>()
    };
    // Retired in the middle of it: the days after are no service days any more.
    cards(&desk, |card| card.retired = Day::parse(&day(70)), &["QHB 1"]).await;
    let retired = lines(&desk).await;
    assert_ne!(bursts(&retired), bursts(&before));
    let days = |desk: &Desk| desk.world().figures.as_ref().unwrap().unit_days["QHB 1"];
    let known = days(&desk);
    take_figures(&desk).await;
    assert!(days(&desk) < known, "{} of {known}", days(&desk));
    lines(&desk).await;
    cards(&desk, |card| card.retired = None, &["QHB 1"]).await;
    take_figures(&desk).await;
    let after = lines(&desk).await;
    assert_eq!((days(&desk), bursts(&after)), (known, bursts(&before)));
    house.is_clean().await;
}

#[tokio::test]
async fn clocks_rounded_to_the_quarter_hour_make_no_shared_cause() {
    for (minutes, want) in [(["10:15", "10:15", "10:15"], false), (["10:14", "10:14", "10:14"], true)] {
        let house = House::new().await;
        let desk = house.desk().await;
        one_bad_unit(&desk).await;
        take_figures(&desk).await;
        // Three crews tell of one trip each.
        for (k, device) in ["TC1", "HL", "AL"].iter().enumerate() {
            file_all(&desk, &[told(50_000 + k as u64, "QHB 2", &day(100), &[(minutes[k], device)])]).await;
        }
        // Everything that happened on another unit at quarters of hours, each on a day of its own.
        for (k, device) in ["TC1", "HL", "AL", "EC", "LC"].iter().enumerate() {
            let of_day = [("08:00", *device), ("09:30", *device), ("11:45", *device)];
            file_all(&desk, &[told(60_000 + k as u64, "QHB 3", &day(100 + k as i32), &of_day)]).await;
        }
        let shared: Vec<Finding> =
            lines(&desk).await.into_iter().filter(|f| f.rule == Rule::SharedCause).collect();
        assert_eq!(shared.len(), usize::from(want), "{minutes:?}: {shared:#?}");
        house.is_clean().await;
    }
}

#[tokio::test]
async fn a_schedule_re_issued_in_mid_life_loses_nothing() {
    let house = House::new().await;
    let desk = house.desk().await;
    one_bad_unit(&desk).await;
    file_all(&desk, &[told(70_000, "QHB 1", &day(66), &[("09:00", "HL"), ("11:00", "HL")])]).await;
    take_figures(&desk).await;
    let bursts = async || {
        lines(&desk)
            .await
            .into_iter()
            .filter(|f| f.rule == Rule::Burst)
            .map(|f| (f.key, f.entries.len()))
            .collect::<Vec<_>>()
    };
    let before = bursts().await;
    assert_eq!(before.len(), 1);
    // In the middle of the burst TC1 gets another plate, and the headlight's breaker goes.
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.effective = Instant::parse(&format!("{}T00:00:00-06:00", day(70))).unwrap();
    schedule.devices.retain(|device| device.tag.as_str() != "HL");
    schedule
        .devices
        .iter_mut()
        .filter(|d| d.tag.as_str() == "TC1")
        .for_each(|d| d.legend = "Inverter one".into());
    desk.act(IssueSchedules::of(vec![schedule], None, Channel::Import)).await.unwrap();
    assert_eq!(bursts().await, before, "under the old figures");
    take_figures(&desk).await;
    assert_eq!(bursts().await, before, "under figures by the new schedule");
    let world = desk.world();
    let figures = world.figures.as_ref().unwrap();
    let of = |tag: &str| figures.device(&"T2".into(), &tag.into()).map(|d| (d.legend.clone(), d.total));
    assert_eq!((of("TC1"), of("HL")), (Some(("Inverter one".into(), 12)), Some(("HL".into(), 2))));
    // A trip of what the schedule does not have any more.
    let mut report = told(70_001, "QHB 1", &day(90), &[("09:00", "HL")]);
    report["entries"][0]["device"] = json!({"not_listed": "headlight"});
    file_all(&desk, &[report]).await;
    lines(&desk).await;
    house.is_clean().await;
}
