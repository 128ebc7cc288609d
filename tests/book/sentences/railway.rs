//! Five months of a small railway with weak batteries, a wet ground relay, a bad feed, a bad panel, a bad jumper and a
//! repair that came late.
use breakerbook::{
    base::{ClassName, Day, Instant},
    book::Channel,
    desk::{
        Desk,
        body::{Body, RepairClosed, RepairOpened},
        keep_roster::{IssueSchedules, KeepUnits},
    },
    roster::UnitCard,
};
use serde_json::{Value, json};

use crate::{
    house::{file, id},
    order::act_of_shop,
};

const FIRST: &str = "2026-01-02";
const DAYS: i32 = 144;

/// The fourth unit tripped four times in 2025 and was repaired after months of quiet: what came before the repair is told
/// of the 365 service days that ended with it.
async fn repaired_late(desk: &Desk) {
    let start = Day::parse("2024-12-20").unwrap();
    for n in 0..19 {
        let report = plain(700_000 + n, 4, &start.plus(20 * n as i32).to_string(), json!([]));
        file(desk, &report, "ann", Channel::Token).await.unwrap();
    }
    for (n, day) in ["2025-01-10", "2025-03-01", "2025-05-01", "2025-12-20"].iter().enumerate() {
        let trip = json!({"id": id(5_900_000 + n as u64), "kind": "breaker_trip", "at": format!("{day}T15:00:00-06:00"),
            "device": "TC1", "left": "on"});
        file(desk, &plain(710_000 + n as u64, 4, day, json!([trip])), "ann", Channel::Token).await.unwrap();
    }
    repaired(desk, "QHB 4", "2026-04-20T18:00:00Z", None).await;
}

/// A second class, each of whose units trips the headlight breaker four times; of the first, three do once.
async fn another_class(desk: &Desk) {
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.class = "T3".into();
    desk.act(IssueSchedules::of(vec![schedule], None, Channel::Import)).await.unwrap();
    let known = desk.world().roster.unit(&"QHB 1".into()).unwrap().clone();
    let card =
        |n: i32| UnitCard { unit: format!("QHB {n}").as_str().into(), class: "T3".into(), ..known.clone() };
    desk.act(KeepUnits::of((21..=26).map(card).collect(), |_| false, None, Channel::Import)).await.unwrap();
    for unit in (21..=26).chain(1..=3) {
        for nth in (0..DAYS).step_by(40).filter(|nth| unit > 9 || *nth == 40) {
            let n = (unit * 1_000 + nth) as u64;
            let trip = json!({"id": id(6_000_000 + n), "kind": "breaker_trip", "at": format!("{}T09:00:00-06:00", day(nth)),
                "device": "HL", "left": "on"});
            file(desk, &plain(800_000 + n, unit, &day(nth), json!([trip])), "ann", Channel::Token)
                .await
                .unwrap();
        }
    }
}

/// TC1, and nobody found out why.
async fn repaired(desk: &Desk, unit: &str, at: &str, used_from: Option<&str>) {
    let at = Instant::parse(at).unwrap();
    let (id, unit, device) =
        (uuid::Uuid::from_u64_pair(6, at.0.unsigned_abs()), unit.into(), Some("TC1".into()));
    let opened =
        RepairOpened { id, unit, device, at, findings: vec![], also: vec![], entries: vec![], words: None };
    let cause = "No fault found".into();
    let (new_life, used_from) = (used_from.is_some(), used_from.map(Into::into));
    let closed = RepairClosed {
        id,
        at,
        cause,
        words: None,
        new_life,
        used_from,
        swapped_with: None,
        also_new: vec![],
        parts: None,
    };
    act_of_shop(desk, Body::RepairOpened(Box::new(opened))).await;
    act_of_shop(desk, Body::RepairClosed(Box::new(closed))).await;
}

fn plain(n: u64, unit: i32, day: &str, entries: Value) -> Value {
    json!({"id": id(n), "unit": format!("QHB {unit}"), "author": "ann", "occasion": "yard", "entries": entries,
        "signed_at": format!("{day}T20:00:00-06:00")})
}

/// Units 1 to 9, each heard of every six days at least; class T2 asks for 48 V while cranking.
pub async fn fill(desk: &Desk) {
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.start.cranking_min_v = Some(48.0);
    schedule.effective = Instant::parse("2025-01-01T00:00:00Z").unwrap();
    desk.act(IssueSchedules::of(vec![schedule], None, Channel::Import)).await.unwrap();
    let known = desk.world().roster.unit(&"QHB 1".into()).unwrap().clone();
    let cards = (4..=9).map(|n| UnitCard { unit: format!("QHB {n}").as_str().into(), ..known.clone() });
    desk.act(KeepUnits::of(cards.collect(), |_| false, None, Channel::Import)).await.unwrap();
    repaired_late(desk).await;
    another_class(desk).await;
    // The part of the fifth unit, which had tripped there and goes on, ever sooner.
    repaired(desk, "QHB 9", &format!("{}T20:00:00Z", day(MOVED)), Some("QHB 5")).await;
    // The day before it tripped again.
    repaired(desk, "QHB 8", &format!("{}T20:00:00Z", day(JUMPER - 1)), None).await;
    for nth in 0..DAYS {
        for unit in 1..=9 {
            // The wet unit is heard of every day, so that each month has its share of wet ones.
            if nth % 6 == 0 || unit == 2 || happens(unit, nth) {
                file(desk, &report(unit, nth), "ann", Channel::Token).await.unwrap();
            }
        }
    }
}

fn day(nth: i32) -> String {
    Day::parse(FIRST).unwrap().plus(nth).to_string()
}

fn rains(nth: i32) -> bool {
    nth % 5 == 2
}

const FEED: [i32; 2] = [60, 75];
const PANEL: i32 = 50;
const JUMPER: i32 = 90;
/// Ever sooner again.
const WORSE: [i32; 10] = [30, 60, 85, 100, 112, 121, 128, 133, 137, 140];
const MOVED: i32 = 70;
const THERE: [i32; 2] = [20, 50];
const HERE: [i32; 6] = [95, 110, 120, 128, 134, 138];
const FAULTS: [i32; 3] = [40, 44, 52];

fn happens(unit: i32, nth: i32) -> bool {
    match unit {
        1 => nth == PANEL,
        3 => FEED.contains(&nth),
        6 => WORSE.contains(&nth),
        7 | 8 => nth == JUMPER,
        5 => THERE.contains(&nth),
        9 => FAULTS.contains(&nth) || HERE.contains(&nth),
        _ => false,
    }
}

fn report(unit: i32, nth: i32) -> Value {
    let mut entries = Vec::new();
    let mut add = |time: &str, kind: &str, more: Value| {
        let n = (unit * 1_000 + nth) as u64 * 10 + entries.len() as u64;
        let mut entry = json!({"id": id(5_000_000 + n), "kind": kind, "at": format!("{}T{time}:00-06:00", day(nth)), "at_how": "clock"});
        entry.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        entries.push(entry);
    };
    if nth % 6 == 0 {
        let wear = match unit {
            5 => 0.08,
            6 => 0.04,
            _ => 0.0,
        };
        let reading = f64::from((nth * 7 + unit * 3) % 5) * 0.1;
        let volts = ((55.0 + reading - wear * f64::from(nth)) * 10.0).round() / 10.0;
        add(
            "08:01",
            "engine_start",
            json!({"attempt": 1, "motors": "electric", "battery_cranking_v": volts, "outcome": "running"}),
        );
    }
    let mut trips = |told: &[(&str, &str)]| {
        told.iter().for_each(|(time, tag)| add(time, "breaker_trip", json!({"device": tag, "left": "on"})));
    };
    match (unit, nth) {
        (1, PANEL) => trips(&[("10:01", "LC"), ("10:04", "TC1"), ("10:08", "HL")]),
        (3, 60) => trips(&[("10:02", "TC1"), ("10:03", "HL"), ("10:07", "AL")]),
        (3, 75) => trips(&[("11:22", "HL"), ("11:23", "AL"), ("11:24", "TC1"), ("11:26", "HL")]),
        (5, _) if THERE.contains(&nth) => trips(&[("12:00", "TC1")]),
        (9, _) if HERE.contains(&nth) => trips(&[("12:00", "TC1")]),
        (6, _) if WORSE.contains(&nth) => trips(&[("12:00", "TC1")]),
        (7, JUMPER) => trips(&[("09:02", "TC1")]),
        (8, JUMPER) => trips(&[("09:05", "TC1")]),
        (9, _) if FAULTS.contains(&nth) => add("07:30", "engine_start", json!({"outcome": "no_crank"})),
        _ => {}
    }
    if unit == 2 && (rains(nth) && (20..60).contains(&nth) || nth == 61) {
        add(
            "13:00",
            "ground_relay",
            json!({"operations": 1, "mode": "motoring", "reset": "by_hand", "after": "loads_again"}),
        );
    }
    let weather = match (unit, nth) {
        (2, 61) => "not_known",
        (2, _) if rains(nth) => "rain",
        _ => "dry",
    };
    let other = match (unit, nth) {
        (7, JUMPER) => vec!["QHB 8"],
        (8, JUMPER) => vec!["QHB 7"],
        _ => vec![],
    };
    json!({"id": id(1_000_000 + (unit * 1_000 + nth) as u64), "unit": format!("QHB {unit}"), "author": "ann", "occasion": "yard",
        "weather": weather, "consist": other, "entries": entries, "signed_at": format!("{}T20:00:00-06:00", day(nth))})
}
