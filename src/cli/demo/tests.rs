use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::*;
use crate::{
    base::{
        UnitName,
        instant::{DAY, HOUR},
    },
    people::person::sign_in,
    roster::schedule::{DeviceKind, Restriction, RightPosition},
    shop::{
        inspections::{Due, InspectionKind, Standing},
        measurements::{Measured, Verdict},
    },
};

type Row = BTreeMap<String, String>;

fn ends() -> Instant {
    Instant::parse("2026-07-14T09:20:00-05:00").unwrap()
}

fn zone() -> Zone {
    Zone::named(ZONE).unwrap()
}

fn year() -> Vec<Event> {
    history(SEED, ends(), &zone())
}

fn rows(csv: &str) -> Vec<Row> {
    csv::Reader::from_reader(csv.as_bytes())
        .deserialize()
        .map(|row| row.expect("a row with the header's columns"))
        .collect()
}

fn reports(events: &[Event]) -> Vec<(&Event, &Value)> {
    let reports = events.iter().filter_map(|event| match &event.act {
        Act::Report(report) => Some((event, report)),
        _ => None,
    });
    reports.collect()
}

fn at(value: &Value) -> Instant {
    Instant::parse(value.as_str().unwrap()).unwrap()
}

/// Entries of a kind about one unit in the last thirty-one days, with the report's author, in order of time.
fn told<'e>(events: &'e [Event], unit: &str, kind: &str) -> Vec<(&'e str, &'e Value)> {
    let mut found: Vec<(&str, &Value)> = Vec::new();
    for (_, report) in reports(events) {
        if report["unit"] == unit && at(&report["signed_at"]) > ends().minus(31 * DAY) {
            let entries = report["entries"].as_array().unwrap().iter().filter(|entry| entry["kind"] == kind);
            found.extend(entries.map(|entry| (report["author"].as_str().unwrap(), entry)));
        }
    }
    found
}

#[test]
fn every_schedule_row_can_be_drawn_and_says_what_it_takes() {
    for csv in [files(ends(), &zone()).schedules, small::small().schedules] {
        let mut classes: BTreeMap<String, Vec<Row>> = BTreeMap::new();
        for row in rows(&csv) {
            classes.entry(row["class"].clone()).or_default().push(row);
        }
        for devices in classes.values() {
            let tags: BTreeSet<&str> = devices.iter().map(|row| row["tag"].as_str()).collect();
            assert_eq!(tags.len(), devices.len(), "tags are unique");
            let places: BTreeSet<_> =
                devices.iter().map(|row| (&row["panel"], &row["row"], &row["column"])).collect();
            let outside = devices.iter().filter(|row| row["panel"] == "outside").count();
            assert_eq!(places.len(), devices.len() - outside + 1, "one device to a place");
            for row in devices {
                sound(row, &tags, devices);
            }
        }
    }
}

fn sound(row: &Row, tags: &BTreeSet<&str>, devices: &[Row]) {
    let tag = &row["tag"];
    assert!(tag.len() <= 4 && row["legend"].chars().count() <= 22, "{row:?}");
    assert!(row["feed"].is_empty() || tags.contains(row["feed"].as_str()), "{tag}: feed {}", row["feed"]);
    for must in
        ["legend", "kind", "off_effect", "restricts_off", "before_closing", "after_closing", "if_left_off"]
    {
        assert!(!row[must].is_empty(), "{tag}: {must}");
    }
    assert!(!row["panel_where"].is_empty(), "{tag}");
    assert!(DeviceKind::parse(&row["kind"]).is_some(), "{tag}");
    assert!(row["restricts_off"].split(' ').all(|word| Restriction::parse(word).is_some()), "{tag}");
    for normal in ["normal_lead", "normal_trail", "normal_dead", "normal_shut_down"] {
        assert!(RightPosition::parse(&row[normal]).is_some(), "{tag}: {normal}");
    }
    if row["panel"] != "outside" {
        let number = |name: &str| row[name].parse::<u32>().unwrap();
        assert!((1..=number("rows")).contains(&number("row")), "{tag}");
        assert!((1..=number("columns")).contains(&number("column")), "{tag}");
    }
    if row["kind"] == "fuse" {
        assert!(
            ["rating_a", "rating_v", "speed", "body"].iter().all(|figure| !row[*figure].is_empty()),
            "{tag}"
        );
    }
    // Upstream of upstream ends: the feeds are a tree.
    let (mut here, mut steps) = (row["feed"].clone(), 0);
    while !here.is_empty() {
        here = devices.iter().find(|other| other["tag"] == here).unwrap()["feed"].clone();
        steps += 1;
        assert!(steps < 10, "{tag}: a loop of feeds");
    }
}

#[test]
fn the_schedules_hold_what_the_job_asks_for() {
    let all = rows(SCHEDULES);
    let has = |tag: &str, fits: &dyn Fn(&Row) -> bool| all.iter().any(|row| row["tag"] == tag && fits(row));
    assert!(has("SF", &|row| row["rating_a"] == "400" && row["panel"] == "outside"));
    assert!(
        has("GRC", &|row| row["ground_protection"] == "yes" && row["before_closing"].starts_with("Sealed"))
    );
    assert!(has("TLP", &|row| row["keep_on_running"] == "yes" && row["keep_on_after_shutdown_min"] == "35"));
    assert!(has("ECC", &|row| row["keep_on_running"] == "yes"));
    assert!(
        has("BCS", &|row| row["off_effect"].contains("Penalty") && row["after_closing"].contains("set-up"))
    );
    assert!(has("BHS", &|row| row["before_closing"].contains("Reset button only")));
    assert!(has("WFL", &|row| row["before_closing"].contains("15 minutes")));
    assert!(has("EPB", &|row| row["before_closing"].contains("Off before the brake is wound by hand")));
    for tag in ["ALR", "EVR", "CSG"] {
        assert!(has(tag, &|row| row["safety_device"] == "yes"), "{tag}");
    }
    for tag in ["BK", "AG", "CFP", "CD1", "CD2", "TC1", "TC6", "HLF", "CF1", "DBC", "GR"] {
        assert!(has(tag, &|_| true), "{tag}");
    }
    let fed_by_low_volts = all.iter().filter(|row| row["class"] == "QA6" && row["feed"] == "LVS").count();
    assert_eq!(fed_by_low_volts, 3);
}

#[test]
fn people_units_and_rights_agree_with_each_other() {
    for csvs in [files(ends(), &zone()), small::small()] {
        let people = rows(&csvs.people);
        let names: BTreeSet<String> =
            people.iter().map(|p| sign_in(&p["sign_in"]).unwrap().to_string()).collect();
        assert_eq!(names.len(), people.len(), "sign-in names are unique");
        let shown: BTreeSet<&str> = people.iter().map(|p| p["name"].as_str()).collect();
        assert_eq!(shown.len(), people.len(), "display names are unique");
        let units = rows(&csvs.units);
        let unique: BTreeSet<&str> = units.iter().map(|u| u["unit"].as_str()).collect();
        assert_eq!(unique.len(), units.len());
        let classes: BTreeSet<String> =
            rows(&csvs.schedules).iter().map(|row| row["class"].clone()).collect();
        assert!(units.iter().all(|unit| classes.contains(&unit["class"])));
        for right in rows(&csvs.authorisations) {
            let granter = people.iter().find(|p| p["sign_in"] == right["granted_by"]).unwrap();
            assert_eq!(granter["role"], "supervisor");
            assert!(names.contains(&right["sign_in"]) && right["sign_in"] != right["granted_by"]);
            assert!(crate::base::zone::Day::parse(&right["from"]).is_some(), "{right:?}");
            assert!(
                right["to"].is_empty() || crate::base::zone::Day::parse(&right["to"]).is_some(),
                "{right:?}"
            );
        }
    }
    let people = rows(PEOPLE);
    let of = |role: &str| people.iter().filter(|p| p["role"] == role).count();
    assert_eq!((of("crew"), of("shop"), of("supervisor"), of("administrator")), (45, 9, 4, 2));
    assert_eq!(rows(UNITS).len(), 40);
    for (role, name, password) in SIGN_INS {
        assert!(people.iter().any(|p| p["sign_in"] == *name && p["role"] == *role), "{name}");
        assert!(password.chars().count() >= 15 && !password.contains(name));
    }
}

#[test]
fn the_same_seed_gives_the_same_year_and_another_another() {
    let (a, b) = (year(), year());
    assert_eq!(a, b);
    assert_ne!(a, history(SEED + 1, ends(), &zone()));
}

#[test]
fn a_year_is_in_order_and_of_the_promised_size() {
    let events = year();
    let reports = reports(&events);
    assert!((6_000..=8_000).contains(&reports.len()), "{}", reports.len());
    assert!(events.is_sorted_by_key(|event| event.at_recorded));
    assert!(events.first().unwrap().at_recorded >= ends().minus(365 * DAY));
    assert!(events.last().unwrap().at_recorded <= ends());
    let late = reports.iter().filter(|(e, r)| e.at_recorded.since(at(&r["signed_at"])) > 24 * HOUR).count();
    assert!((60..300).contains(&late), "{late}");
    let nothing = reports
        .iter()
        .filter(|(_, r)| r["entries"].as_array().unwrap().iter().all(|e| e["kind"] == "position"));
    assert!(nothing.count() * 2 > reports.len(), "most have nothing to report");
    let mut ids = BTreeSet::new();
    for (event, report) in &reports {
        assert!(at(&report["signed_at"]) <= event.at_recorded);
        assert!(ids.insert(report["id"].as_str().unwrap()));
        for entry in report["entries"].as_array().unwrap() {
            assert!(ids.insert(entry["id"].as_str().unwrap()));
        }
    }
    let amended = events.iter().filter(|event| matches!(event.act, Act::Amended(_))).count();
    assert!((15..200).contains(&amended), "{amended}");
}

#[test]
fn everybody_and_everything_named_is_on_the_roster() {
    let people: BTreeSet<String> = rows(PEOPLE).into_iter().map(|row| row["sign_in"].clone()).collect();
    let units: BTreeMap<String, String> =
        rows(UNITS).into_iter().map(|row| (row["unit"].clone(), row["class"].clone())).collect();
    let devices: BTreeSet<(String, String)> =
        rows(SCHEDULES).into_iter().map(|row| (row["class"].clone(), row["tag"].clone())).collect();
    for (_, report) in reports(&year()) {
        assert!(people.contains(report["author"].as_str().unwrap()));
        let class = &units[report["unit"].as_str().unwrap()];
        for entry in report["entries"].as_array().unwrap() {
            if let Some(tag) = entry["device"].as_str() {
                assert!(devices.contains(&(class.clone(), tag.to_owned())), "{class} {tag}");
            }
            for role in ["by", "closed_by", "authorised_by"] {
                let name = entry[role].as_str().unwrap_or("not_known");
                assert!(name == "not_known" || people.contains(name), "{name}");
            }
        }
    }
}

/// Seals are a chain on every unit but the one whose cutout was found open: what is seen is what was last put on.
#[test]
fn seals_are_a_chain() {
    let events = year();
    let mut seen: BTreeMap<&str, Vec<(Instant, &str, &str)>> = BTreeMap::new();
    for (_, report) in reports(&events) {
        for entry in report["entries"].as_array().unwrap() {
            let seals = seen.entry(report["unit"].as_str().unwrap()).or_default();
            if entry["device"] == "GRC" && entry["kind"] == "position" {
                let seal = entry["seal"].as_str().unwrap();
                seals.push((at(&entry["at"]), seal, seal));
            } else if entry["kind"] == "bypass" && entry["opened_at"].is_string() {
                let (found, applied) =
                    (entry["seal_found"].as_str().unwrap(), entry["seal_applied"].as_str().unwrap());
                seals.push((at(&entry["opened_at"]), found, applied));
            }
        }
    }
    assert_eq!(seen.len(), 40);
    for (unit, mut seals) in seen {
        seals.sort();
        for pair in seals.windows(2) {
            assert_eq!(pair[0].2, pair[1].1, "{unit} at {}", pair[1].0);
        }
    }
}

#[test]
fn four_crews_each_reset_the_same_breaker() {
    let events = year();
    let trips = told(&events, "QHB 412", "breaker_trip");
    let authors: BTreeSet<&str> = trips.iter().map(|(author, _)| *author).collect();
    assert_eq!((trips.len(), authors.len()), (5, 4));
    assert!(trips.iter().all(|(_, entry)| entry["device"] == "TC2"));
    let (first, last) = (at(&trips[0].1["at"]), at(&trips[4].1["at"]));
    assert!(last.since(first) < 24 * DAY && last > ends().minus(3 * DAY));
    // Sister units: about one in 150 days each.
    let mut sisters = 0;
    for (_, report) in reports(&events) {
        let mine = report["unit"].as_str().unwrap();
        let entries = report["entries"].as_array().unwrap();
        let trips = entries.iter().filter(|e| e["kind"] == "breaker_trip" && e["device"] == "TC2").count();
        sisters += if mine.starts_with("QHB 4") && mine < "QHB 420" && mine != "QHB 412" { trips } else { 0 };
    }
    let days_between = 13.0 * 365.0 / f64::from(u32::try_from(sisters).unwrap());
    assert!((90.0..250.0).contains(&days_between), "{days_between}");
}

#[test]
fn the_other_stories_are_told() {
    let events = year();
    let again = told(&events, "QHB 427", "breaker_trip");
    let repaired = events.iter().rev().find_map(|event| match &event.act {
        Act::RepairClosed { unit, device, at, .. }
            if unit == "QHB 427" && device.as_deref() == Some("CF1") =>
        {
            Some(*at)
        }
        _ => None,
    });
    let after = again.iter().filter(|(_, entry)| at(&entry["at"]) > repaired.unwrap()).count();
    assert_eq!((again.len() - after, after), (3, 3));

    let three: Vec<_> = told(&events, "QHB 405", "breaker_trip")
        .iter()
        .map(|(_, e)| (e["device"].clone(), at(&e["at"])))
        .collect();
    assert_eq!(three.len(), 3);
    assert!(three[2].1.since(three[0].1) < 10 * crate::base::instant::MINUTE);

    let fuses = told(&events, "QHB 430", "fuse_check");
    assert_eq!(
        (&fuses[0].1["fitted"]["rating_a"], &fuses[0].1["replaced_by"]["rating_a"]),
        (&400.0.into(), &500.0.into())
    );

    let test = told(&events, "QHB 433", "bypass");
    assert_eq!((test.len(), &test[0].1["by"]), (1, &"a.lind".into()));
    assert!(events.iter().any(
        |event| matches!(&event.act, Act::BypassReviewed { entry, .. } if test[0].1["id"] == entry.as_str())
    ));

    let expired = told(&events, "QHB 204", "bypass");
    assert_eq!(expired[0].1["by"], "t.brask");
    let rights = rows(&files(ends(), &zone()).authorisations);
    let right = rights.iter().find(|right| right["sign_in"] == "t.brask").unwrap();
    assert!(right["to"] < zone().day_of(at(&expired[0].1["opened_at"])).to_string());

    let open = told(&events, "QHB 209", "bypass");
    assert_eq!((open.len(), &open[0].1["by"]), (1, &"not_known".into()));
    for story in STORIES {
        assert!(rows(UNITS).iter().any(|unit| unit["unit"] == story.unit));
    }
}

/// Every other opening of the year was by somebody with the right, for a test, under a lock, and reviewed.
#[test]
fn ordinary_openings_are_in_order() {
    let events = year();
    let rights = rows(&files(ends(), &zone()).authorisations);
    let classes: BTreeMap<String, String> =
        rows(UNITS).into_iter().map(|u| (u["unit"].clone(), u["class"].clone())).collect();
    let mut openings = 0;
    for (_, report) in reports(&events) {
        let unit = report["unit"].as_str().unwrap();
        for entry in report["entries"].as_array().unwrap().iter().filter(|e| e["kind"] == "bypass") {
            if unit == "QHB 204" && at(&report["signed_at"]) > ends().minus(20 * DAY)
                || unit == "QHB 209" && entry["by"] == "not_known"
            {
                continue;
            }
            openings += 1;
            let day = zone().day_of(at(&entry["opened_at"])).to_string();
            let holds = |right: &&Row| {
                let scope =
                    right["classes"] == "*" || right["classes"].split(' ').any(|c| c == classes[unit]);
                right["sign_in"] == entry["by"]
                    && scope
                    && right["from"] <= day
                    && (right["to"].is_empty() || day <= right["to"])
            };
            let right = rights.iter().find(holds).unwrap_or_else(|| panic!("{unit}: {entry}"));
            let review = events.iter().find_map(|event| match &event.act {
                Act::BypassReviewed { entry: id, by, .. } if entry["id"] == id.as_str() => Some(by),
                _ => None,
            });
            assert_eq!(review.is_none(), unit == WAITING && at(&entry["opened_at"]) > ends().minus(5 * DAY));
            assert!(
                review.is_none_or(|by| *by != right["granted_by"] && entry["authorised_by"] != by.as_str())
            );
        }
    }
    assert!(openings >= 8, "{openings}");
}

/// Every page of the shop has something to show: tests that failed and then passed, batteries with a trend, inspections due.
#[test]
fn the_shop_measures_and_inspects() {
    let events = year();
    let mut told: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    let mut gravity: BTreeMap<Instant, f64> = BTreeMap::new();
    let mut on: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    let mut opened = BTreeSet::new();
    for event in &events {
        match &event.act {
            Act::RepairOpened { id, .. } => assert!(opened.insert(*id)),
            Act::RepairClosed { id, .. } => assert!(opened.contains(id), "opened before it is closed"),
            Act::Measured { unit, at, repair, measured, .. } => {
                assert!(repair.is_none_or(|id| opened.contains(&id)));
                assert_eq!(measured.wrong(), [], "{measured:?}");
                let n = told.entry(measured.kind().as_str()).or_default();
                let judged = measured.judge();
                if judged.verdict == Verdict::Fail {
                    n.1 += 1;
                } else {
                    n.0 += 1;
                }
                if let Measured::Battery(battery) = &**measured {
                    on.entry(battery.name.clone()).or_default().insert(unit);
                    if unit == super::stories::WEAKENS {
                        let lowest = judged.corrected.unwrap().values.into_iter().fold(2.0, f64::min);
                        gravity.insert(*at, lowest);
                    }
                }
            }
            _ => {}
        }
    }
    for (kind, passed, failed) in [
        ("insulation", 20, 5),
        ("battery", 90, 1),
        ("breaker", 3, 1),
        ("ground_relay", 15, 0),
        ("fuse", 1, 0),
        ("tested_dead", 5, 0),
        ("lock_out", 10, 0),
    ] {
        let n = told.get(kind).copied().unwrap_or_default();
        assert!(n.0 >= passed && n.1 >= failed, "{kind}: {n:?}");
    }
    let (first, last) = (gravity.values().next().unwrap(), gravity.values().next_back().unwrap());
    assert!(*first > 1.24 && *last < 1.17, "from {first} to {last}");
    assert!(on.values().any(|units| units.len() > 1), "one battery went from unit to unit");
}

/// Some are overdue and some due soon, whenever somebody tries it; what is not due was done in time.
#[test]
fn inspections_are_due_whenever_it_is_tried() {
    for days in [0, 17, 95, 188, 260] {
        let ends = ends().plus(days * DAY);
        let events = history(SEED, ends, &zone());
        let mut last: BTreeMap<(UnitName, InspectionKind), Instant> = BTreeMap::new();
        for event in &events {
            if let Act::Inspected { done, .. } = &event.act {
                assert!(done.at <= event.at_recorded);
                last.insert((done.unit.clone(), done.kind), done.at);
            }
        }
        let today = zone().day_of(ends);
        let mut standing: BTreeMap<Standing, usize> = BTreeMap::new();
        for ((unit, kind), at) in last {
            let interval = if unit.as_str().starts_with("QHB 40") || unit.as_str().starts_with("QHB 41") {
                184
            } else {
                92
            };
            let due = Due::of(unit, kind, Some(zone().day_of(at)), interval, today);
            due.into_iter().for_each(|due| *standing.entry(due.standing).or_default() += 1);
        }
        let n = |of: Standing| standing.get(&of).copied().unwrap_or(0);
        assert!((2..=5).contains(&n(Standing::Overdue)), "{ends}: {standing:?}");
        assert!((3..=24).contains(&n(Standing::Soon)) && n(Standing::Later) > 40, "{ends}: {standing:?}");
    }
}

const WAITING: &str = super::stories::WAITING_FOR_REVIEW;
