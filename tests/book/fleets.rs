//! The two real fleets whose event times are known, each filed as a book through the whole desk: an honest board has no
//! line of *often* and none of *worsening* on either, though both rules looked.
#![expect(clippy::print_stdout, reason = "what lines there are, and why")]
use breakerbook::{
    base::{ClassName, Day, Instant, instant::DAY},
    book::Channel,
    desk::{
        Desk,
        body::{Body, RepairClosed, RepairOpened},
        figures::TakeFigures,
        keep_roster::{IssueSchedules, KeepUnits},
    },
    roster::UnitCard,
    rules::{Finding, Rule},
};
use serde_json::{Value, json};

use crate::{
    house::{House, filer, id},
    order::{act_of_shop, equals_the_batch, findings_and_bypasses},
};

/// The last day of every unit; figures are taken the day after.
const END: &str = "2026-05-31";
/// A report speaks for thirteen days on either side: so many days apart they leave none out.
const QUIET: i32 = 26;

/// A unit from its first service day (1) to its last, with the day and hour of each event.
struct Watched {
    unit: String,
    days: i32,
    events: Vec<(i32, i32)>,
}

impl Watched {
    fn date(&self, day: i32) -> Day {
        Day::parse(END).unwrap().plus(day - self.days)
    }

    fn at(&self, day: i32, hour: i32) -> String {
        format!("{}T{hour:02}:00:00-06:00", self.date(day))
    }

    fn report(&self, n: u64, day: i32, hours: &[i32]) -> Value {
        let entry = |(k, hour): (usize, &i32)| json!({"id": id(n * 100 + k as u64 + 1), "kind": "breaker_trip", "at": self.at(day, *hour), "device": "TC1", "left": "on"});
        let entries: Vec<Value> = hours.iter().enumerate().map(entry).collect();
        json!({"id": id(n * 100), "unit": self.unit, "author": "ann", "occasion": "yard", "entries": entries,
            "signed_at": self.at(day, 22)})
    }
}

fn data() -> Value {
    serde_json::from_str(include_str!("../data/fleets.json")).unwrap()
}

fn whole(value: &Value) -> i32 {
    value.as_i64().unwrap() as i32
}

/// 41 engines, a valve seat replaced at each event, a service day for each engine-day.
fn valve_seats() -> Vec<Watched> {
    let units = data()["valve_seats"]["units"].as_array().unwrap().clone();
    let watched = |unit: &Value| {
        let times: Vec<i32> = unit["times"].as_array().unwrap().iter().map(whole).collect();
        // Two seats replaced on one day are two events: hours apart.
        let earlier = |i: usize| times[..i].iter().filter(|t| **t == times[i]).count() as i32;
        let events = (0..times.len()).map(|i| (times[i], 8 + 4 * earlier(i))).collect();
        Watched {
            unit: format!("QHB {}", unit["name"].as_str().unwrap()),
            days: whole(&unit["days"]),
            events,
        }
    };
    units.iter().map(watched).collect()
}

/// Operating hours that make a service day. The rules look back 365 service days; with one hour to the day they would
/// see a sixth of these histories, with six they see nearly all, as the published figures do.
const HOURS: i32 = 6;
/// Series 2 and 3 are one aircraft, overhauled between.
const OVERHAULED: &str = "QHB 102";

/// 13 aircraft, an event at each failure, watched until the last.
fn air_conditioning() -> Vec<Watched> {
    let series = data()["air_conditioning"]["series"].as_array().unwrap().clone();
    let gaps = |n: usize| series[n - 1]["gaps"].as_array().unwrap().iter().map(whole).collect::<Vec<i32>>();
    let watched = |n: usize| {
        let gaps = if n == 2 { [gaps(2), gaps(3)].concat() } else { gaps(n) };
        let mut hours = 0;
        let event = |gap: i32| {
            hours += gap;
            ((hours - 1) / HOURS + 1, 1 + 20 / HOURS * ((hours - 1) % HOURS))
        };
        let events: Vec<(i32, i32)> = gaps.into_iter().map(event).collect();
        Watched { unit: format!("QHB {}", 100 + n), days: events[events.len() - 1].0, events }
    };
    (1..=14).filter(|n| *n != 3).map(watched).collect()
}

/// A class of one device, its units and all that was told of them.
async fn filed(desk: &Desk, watched: &[Watched]) {
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.class = "FLEET".into();
    schedule.devices.retain(|device| device.tag.as_str() == "TC1");
    schedule.devices[0].feed = None;
    desk.act(IssueSchedules::of(vec![schedule], None, Channel::Import)).await.unwrap();
    let card = |unit: &Watched| UnitCard {
        unit: unit.unit.as_str().into(),
        class: "FLEET".into(),
        in_service: unit.date(1),
        retired: Some(unit.date(unit.days + 1)),
        home_shop: None,
    };
    desk.act(KeepUnits::of(watched.iter().map(card).collect(), |_| false, None, Channel::Import))
        .await
        .unwrap();
    let mut reports = Vec::new();
    for unit in watched {
        for day in 1..=unit.days {
            let hours: Vec<i32> =
                unit.events.iter().filter(|(d, _)| *d == day).map(|(_, hour)| *hour).collect();
            if !hours.is_empty() || day % QUIET == 1 || day == unit.days {
                reports.push(unit.report(1_000 + reports.len() as u64, day, &hours));
            }
        }
    }
    file_all(desk, &reports).await;
}

/// Many at a time, as an import does.
async fn file_all(desk: &Desk, reports: &[Value]) {
    for some in reports.chunks(256) {
        let world = desk.world();
        let read = |report: &Value| {
            let bytes = serde_json::to_vec(report).unwrap();
            let who = filer("ann", Channel::Token);
            breakerbook::desk::reports::FileReport::read(&bytes, &who, &world, desk.clock().now())
                .unwrap_or_else(|why| panic!("{why:?}"))
        };
        let under_way: Vec<_> =
            some.iter().map(|report| desk.hand_over(read(report), None).unwrap()).collect();
        for pending in under_way {
            assert!(pending.answer().await.unwrap().is_new);
        }
    }
}

async fn take_figures(desk: &Desk, as_of: Instant) {
    desk.act(TakeFigures::prepare(desk, as_of).await.unwrap()).await.unwrap();
    equals_the_batch(desk).await;
}

/// What the book's figures say of the class's device: occurrences, service days, pairs looked at.
fn counted(desk: &Desk) -> (u32, i64, u32) {
    let world = desk.world();
    let figures = world.figures.as_ref().unwrap();
    let days = figures.class_days[&ClassName::from("FLEET")];
    (figures.device(&"FLEET".into(), &"TC1".into()).unwrap().total, days.days, days.units)
}

async fn lines(desk: &Desk, what: &str) -> Vec<Finding> {
    let (mut found, _) = findings_and_bypasses(desk).await;
    found.retain(|f| !f.rule.is_certain() && !matches!(f.rule, Rule::Proving | Rule::Held));
    for line in &found {
        println!("{what}: {} of {}: {}", line.rule, line.unit.as_ref().unwrap(), line.sentence);
    }
    found
}

fn of(found: &[Finding], rule: Rule) -> Vec<&Finding> {
    found.iter().filter(|f| f.rule == rule).collect()
}

/// More and more events on one unit: both rules speak of it, so they would have spoken before.
async fn both_speak_of_a_bad_one(desk: &Desk, unit: &Watched) {
    const SHRINKING: [f64; 13] =
        [0.3, 0.5, 0.62, 0.7, 0.76, 0.81, 0.85, 0.885, 0.915, 0.94, 0.96, 0.975, 0.99];
    let day = |part: f64| (part * f64::from(unit.days)).ceil() as i32;
    let report = |(n, part): (usize, &f64)| unit.report(500_000 + n as u64, day(*part), &[11, 19]);
    file_all(desk, &SHRINKING.iter().enumerate().map(report).collect::<Vec<_>>()).await;
    // The month's lists are made at its first figures.
    take_figures(desk, desk.clock().now().plus(31 * DAY)).await;
    let found = lines(desk, "with one unit made bad").await;
    for rule in [Rule::Often, Rule::Worsening] {
        let units: Vec<&str> = of(&found, rule).iter().map(|f| f.unit.as_ref().unwrap().as_str()).collect();
        assert_eq!(units, [unit.unit.as_str()], "{rule}");
    }
}

#[tokio::test]
async fn the_valve_seats_of_41_engines_leave_the_board_silent() {
    let house = House::new().await;
    let desk = house.desk().await;
    let engines = valve_seats();
    assert_eq!((engines.len(), engines.iter().map(|e| e.events.len()).sum::<usize>()), (41, 48));
    filed(&desk, &engines).await;
    take_figures(&desk, desk.clock().now()).await;
    println!("valve seats: (occurrences, service days, engines) of the last 365 days: {:?}", counted(&desk));
    let found = lines(&desk, "valve seats").await;
    assert!(of(&found, Rule::Often).is_empty() && of(&found, Rule::Worsening).is_empty(), "{found:#?}");
    assert_eq!(of(&found, Rule::Burst), [] as [&Finding; 0]);
    let quiet = engines.iter().find(|engine| engine.unit == "QHB 422").unwrap();
    both_speak_of_a_bad_one(&desk, quiet).await;
    house.is_clean().await;
}

#[tokio::test]
async fn the_air_conditioning_has_one_line_and_it_is_the_overhaul() {
    let house = House::new().await;
    let desk = house.desk().await;
    let aircraft = air_conditioning();
    assert_eq!((aircraft.len(), aircraft.iter().map(|a| a.events.len()).sum::<usize>()), (13, 205));
    filed(&desk, &aircraft).await;
    let overhauled = aircraft.iter().find(|a| a.unit == OVERHAULED).unwrap();
    overhaul(&desk, overhauled).await;
    take_figures(&desk, desk.clock().now()).await;
    let (occurrences, days, units) = counted(&desk);
    println!("air conditioning: {occurrences} in {days} service days of {HOURS} hours on {units} aircraft");
    // Row g01: ten in the 350 hours after, where the fleet's 205 in 18,557 hours lead to expect 3.9: .0065.
    let expected = 350.0 / f64::from(HOURS) * f64::from(occurrences) / days as f64;
    let below: f64 =
        (0..10).map(|k| (0..k).fold((-expected).exp(), |p, i| p * expected / f64::from(i + 1))).sum();
    assert!((1.0 - below - 0.0065).abs() < 0.0005, "P(X >= 10; {expected}) = {}", 1.0 - below);
    let found = lines(&desk, "air conditioning").await;
    assert!(of(&found, Rule::Often).is_empty() && of(&found, Rule::Worsening).is_empty(), "{found:#?}");
    let returned = of(&found, Rule::DidNotHold);
    assert_eq!(returned.len(), 1, "{returned:#?}");
    assert_eq!(returned[0].unit.as_ref().unwrap().as_str(), OVERHAULED);
    assert_eq!(returned[0].entries.len(), 10);
    let plain = aircraft.iter().find(|a| a.unit == "QHB 105").unwrap();
    both_speak_of_a_bad_one(&desk, plain).await;
    house.is_clean().await;
}

/// After the thirteenth failure, an hour later.
async fn overhaul(desk: &Desk, unit: &Watched) {
    let (day, hour) = unit.events[12];
    let at = Instant::parse(&unit.at(day, hour + 1)).unwrap();
    let id = uuid::Uuid::from_u64_pair(9, 1);
    let opened = RepairOpened {
        id,
        unit: unit.unit.as_str().into(),
        device: Some("TC1".into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let cause = "major overhaul".into();
    let closed = RepairClosed {
        id,
        at,
        cause,
        words: None,
        new_life: true,
        used_from: None,
        swapped_with: None,
        also_new: vec![],
        parts: None,
    };
    act_of_shop(desk, Body::RepairOpened(Box::new(opened))).await;
    act_of_shop(desk, Body::RepairClosed(Box::new(closed))).await;
}
