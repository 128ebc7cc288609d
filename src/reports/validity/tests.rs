use std::sync::Arc;

use proptest::prelude::*;

use super::*;
use crate::{
    base::{ClassName, Day, SignIn, Tag},
    people::{Person, Role},
    reports::{json::parse, read_amendment, read_report, sample},
    roster::{Class, Device, DeviceKind, Place, Schedule, UnitCard, schedule::StartLimits},
};

fn device(tag: &str, kind: DeviceKind, ground_protection: bool) -> Device {
    Device {
        tag: Tag::from(tag),
        legend: format!("{tag} legend"),
        kind,
        place: Place::Outside { at: "nose".to_owned() },
        rating_a: None,
        rating_v: None,
        speed: None,
        body: None,
        feed: None,
        start_group: false,
        normal_lead: None,
        normal_trail: None,
        normal_dead: None,
        normal_shut_down: None,
        keep_on_running: false,
        keep_on_after_shutdown_min: None,
        crew_resets: Default::default(),
        overload_by_design: false,
        before_closing: None,
        after_closing: None,
        if_left_off: None,
        off_effect: None,
        restricts_off: Vec::new(),
        ground_protection,
        safety_device: false,
        severity: None,
    }
}

fn schedule(from: &str, devices: Vec<Device>) -> Arc<Schedule> {
    let effective = Instant::parse(from).unwrap();
    let (class, start) = (ClassName::from("E8"), StartLimits::default());
    Arc::new(Schedule { class, effective, start, panels: Vec::new(), devices, checks: Vec::new() })
}

fn roster() -> Roster {
    let devices = vec![
        device("TC2", DeviceKind::Breaker, false),
        device("SF", DeviceKind::Fuse, false),
        device("GR", DeviceKind::Relay, false),
        device("GRC", DeviceKind::Switch, true),
    ];
    let mut later = devices.clone();
    later.push(device("NEW1", DeviceKind::Breaker, false));
    let unmarked = vec![device("GRC", DeviceKind::Switch, false)];
    let class = |name: &str, schedules| {
        (ClassName::from(name), Arc::new(Class { name: ClassName::from(name), schedules }))
    };
    let unit = |name: &str, class: &str, retired: Option<&str>| {
        let card = UnitCard {
            unit: UnitName::from(name),
            class: ClassName::from(class),
            in_service: Day::parse("2020-01-01").unwrap(),
            retired: retired.and_then(Day::parse),
            home_shop: None,
        };
        (UnitName::from(name), Arc::new(card))
    };
    Roster {
        classes: [
            class(
                "E8",
                vec![schedule("2025-01-01T00:00:00Z", devices), schedule("2026-06-01T00:00:00Z", later)],
            ),
            class("E9", vec![schedule("2025-01-01T00:00:00Z", unmarked)]),
            class("E0", vec![]),
        ]
        .into(),
        units: [
            unit("QHB 412", "E8", None),
            unit("QHB 500", "E9", None),
            unit("QHB 600", "E0", None),
            unit("QHB 700", "E8", Some("2026-01-01")),
        ]
        .into(),
    }
}

fn people() -> People {
    let person = |name: &str| {
        let sign_in = SignIn::from(name);
        let person = Person {
            sign_in: sign_in.clone(),
            role: Role::Crew,
            added_at: Instant(0),
            active: true,
            last: Default::default(),
        };
        (sign_in, Arc::new(person))
    };
    People { persons: ["n.okafor", "a.lind", "m.ruiz"].map(person).into(), authorisations: Vec::new() }
}

fn report(text: &str) -> Report {
    read_report(&parse(text.as_bytes()).unwrap()).unwrap_or_else(|p| panic!("{p:?} in {text}")).0
}

fn looked_at(report: &Report, now: &str, live: bool) -> Problems {
    let zone = Zone::named("America/Chicago").unwrap();
    let problems = check(report, &roster(), &people(), &zone, Instant::parse(now).unwrap(), live);
    for problem in problems.refusals.iter().chain(&problems.warnings) {
        let says = &problem.says;
        assert!(says.ends_with(['.', '?']) && says.len() < 250 && says.contains(' '), "{says}");
    }
    problems
}

const MORNING: &str = "2026-03-03T12:00:00Z";

/// `- path code` for what is refused, `? path code` for what is asked.
fn found(text: &str, now: &str, live: bool) -> Vec<String> {
    let problems = looked_at(&report(text), now, live);
    let refused = problems.refusals.iter().map(|p| format!("- {} {}", p.path, p.code));
    refused.chain(problems.warnings.iter().map(|p| format!("? {} {}", p.path, p.code))).collect()
}

/// A report of a run from 21:00 to 05:00 UTC with one entry.
fn one(kind: &str, rest: &str) -> String {
    let time = match kind {
        _ if rest.contains("found_") => "",
        "bypass" => r#""opened_at": "2026-03-03T01:00:00Z","#,
        _ => r#""at": "2026-03-03T01:00:00Z","#,
    };
    format!(
        r#"{{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10", "unit": "QHB 412", "author": "n.okafor",
        "run": {{"started": "2026-03-02T21:00:00Z", "ended": "2026-03-03T05:00:00Z"}}, "signed_at": "2026-03-03T05:10:00Z",
        "entries": [{{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "{kind}", {time} {rest}}}]}}"#
    )
}

fn trip(rest: &str) -> String {
    one("breaker_trip", &format!(r#""device": "TC2", "left": "on" {rest}"#))
}

fn bypass(rest: &str) -> String {
    one("bypass", &format!(r#""device": "GRC" {rest}"#))
}

fn start(rest: &str) -> String {
    one("engine_start", &format!(r#""outcome": "running" {rest}"#))
}

#[test]
fn a_good_report_has_no_problem() {
    assert_eq!(looked_at(&report(sample::EXAMPLE), MORNING, true), Problems::default());
}

#[test]
#[expect(clippy::too_many_lines, reason = "one table")]
fn every_refusal_and_every_question() {
    let device = |kind: &str, rest: &str| one(kind, rest);
    let table: Vec<(String, &[&str])> = vec![
        (trip(""), &[]),
        // Units.
        (trip("").replace("QHB 412", "XYZ 9"), &["? unit unusual"]),
        (trip("").replace("QHB 412", "XYZ 9").replace("TC2", "ZZ9"), &["? unit unusual"]),
        (trip("").replace("QHB 412", "QHB 600").replace("TC2", "ZZ9"), &[]),
        (trip("").replace("QHB 412", "QHB 700"), &["? unit unusual"]),
        (trip("").replace("2026-03", "2019-03"), &["? unit unusual"]),
        // Devices.
        (trip("").replace("TC2", "TC9"), &["- entries[0].device unknown_device"]),
        (trip("").replace("TC2", "NEW1"), &["- entries[0].device unknown_device"]),
        (trip("").replace("\"TC2\"", "{\"not_listed\": \"FAN 3\"}"), &[]),
        (trip("").replace("\"TC2\"", "{\"not_listed\": \"tc2 LEGEND\"}"), &["? entries[0].device unusual"]),
        (trip("").replace("TC2", "SF"), &["? entries[0].device unusual"]),
        (device("fuse_check", r#""device": "TC2", "result": "good""#), &["? entries[0].device unusual"]),
        (device("ground_relay", r#""device": "GRC""#), &["? entries[0].device unusual"]),
        (device("ground_relay", r#""device": "GR""#), &[]),
        (device("ground_relay", r#""device": "GX""#), &["- entries[0].device unknown_device"]),
        (bypass("").replace("GRC", "SF"), &["- entries[0].device not_allowed"]),
        (bypass("").replace("QHB 412", "QHB 500"), &["? entries[0].device unusual"]),
        (
            device("position", r#""device": "GRC", "seen": "closed", "moved_to": "open""#),
            &["? entries[0].moved_to unusual"],
        ),
        (device("position", r#""device": "GRC", "seen": "open""#), &["? entries[0].seen unusual"]),
        (device("position", r#""device": "GRC", "seen": "open", "moved_to": "closed""#), &[]),
        (device("position", r#""device": "TC2", "seen": "on", "moved_to": "off""#), &[]),
        // People.
        (trip("").replace("n.okafor", "n.okafr"), &["- author unknown_person"]),
        (bypass(r#", "by": "a.lnd""#), &["? entries[0].by unknown_person"]),
        (
            bypass(r#", "authorised_by": "x.y", "closed_by": "x.z", "closed_at": "2026-03-03T02:00:00Z""#),
            &["? entries[0].authorised_by unknown_person", "? entries[0].closed_by unknown_person"],
        ),
        (bypass(r#", "by": {"name": "the tall electrician"}"#), &[]),
        (bypass(r#", "by": "not_known""#), &[]),
        (
            trip(r#", "resets": [{"basis": "told_by_shop", "told_by": "x.y"}]"#),
            &["? entries[0].resets[0].told_by unknown_person"],
        ),
        (
            device("position", r#""device": "TC2", "seen": "on", "by": "x.y""#),
            &["? entries[0].by unknown_person"],
        ),
        // Times.
        (
            trip("").replace("\"at\": \"2026-03-03T01", "\"at\": \"2026-03-02T20"),
            &["? entries[0].at outside_run"],
        ),
        (
            trip("").replace("\"at\": \"2026-03-03T01:00", "\"at\": \"2026-03-03T05:01"),
            &["? entries[0].at outside_run"],
        ),
        (trip(r#", "found_at": "2026-03-03T06:00:00Z""#), &["? entries[0].found_at outside_run"]),
        (
            trip("").replace(", \"ended\": \"2026-03-03T05:00:00Z\"", "").replace("T01:00", "T05:20"),
            &["? entries[0].at outside_run"],
        ),
        (
            trip("")
                .replace(
                    r#""run": {"started": "2026-03-02T21:00:00Z", "ended": "2026-03-03T05:00:00Z"}"#,
                    r#""occasion": "yard""#,
                )
                .replace("2026-03-03T01", "2026-01-03T01"),
            &["? entries[0].at unusual"],
        ),
        (
            trip("").replace("\"ended\": \"2026-03-03T05", "\"ended\": \"2026-03-02T20"),
            &["- run.ended out_of_range", "? entries[0].at outside_run"],
        ),
        (
            trip("").replace("\"started\": \"2026-03-02", "\"started\": \"2026-02-02"),
            &["? run.ended unusual"],
        ),
        (
            trip(r#", "resets": [{"basis": "examined", "at": "2026-03-03T00:59:00Z"}]"#),
            &["? entries[0].resets[0].at unusual"],
        ),
        (device("ground_relay", r#""last_at": "2026-03-03T00:59:00Z""#), &["? entries[0].last_at unusual"]),
        (
            bypass(r#", "closed_at": "2026-03-03T00:59:59Z""#),
            &["- entries[0].closed_at closed_before_opened"],
        ),
        (bypass(r#", "closed_at": "2026-03-03T01:00:00Z""#), &[]),
        (
            bypass(r#", "found_open_at": "2026-03-03T02:00:00Z", "closed_at": "2026-03-03T01:00:00Z""#),
            &["- entries[0].closed_at closed_before_opened"],
        ),
        (bypass(r#", "authorised_at": "2026-03-03T02:00:00Z""#), &["? entries[0].authorised_at unusual"]),
        (bypass(r#", "closed_by": "a.lind""#), &["? entries[0].closed_at missing"]),
        (bypass(r#", "seal_applied": "20433""#), &["? entries[0].closed_at missing"]),
        // The engine during an insulation test.
        (
            bypass(r#", "purpose": "insulation_test", "engine_running": "yes""#),
            &["? entries[0].engine_running engine_running"],
        ),
        (
            bypass(r#", "purpose": "insulation_test", "throttle": "idle""#),
            &["? entries[0].engine_running engine_running"],
        ),
        (bypass(r#", "purpose": "insulation_test", "throttle": "engine_off""#), &[]),
        (bypass(r#", "purpose": "insulation_test", "engine_running": "no", "throttle": "idle""#), &[]),
        (bypass(r#", "purpose": "repair", "engine_running": "yes""#), &[]),
        // A true bad act is kept: nothing here is refused.
        (
            bypass(
                r#", "purpose": "to_keep_moving", "power_taken": "yes", "engine_running": "yes", "protection": "none", "authorised_by": "not_known", "seal_found": "broken""#,
            ),
            &[],
        ),
        // Figures.
        (trip(r#", "speed_mph": -1"#), &["- entries[0].speed_mph out_of_range"]),
        (trip(r#", "speed_mph": 201"#), &["- entries[0].speed_mph out_of_range"]),
        (trip(r#", "speed_mph": 95"#), &["? entries[0].speed_mph unusual"]),
        (trip(r#", "load_a": 1e300"#), &["- entries[0].load_a out_of_range"]),
        (trip(r#", "load_a": -1600"#), &["? entries[0].load_a unusual"]),
        (trip(r#", "load_klbf": 501"#), &["- entries[0].load_klbf out_of_range"]),
        (trip(r#", "load_klbf": 230"#), &["? entries[0].load_klbf unusual"]),
        (start(r#", "battery_rest_v": 201"#), &["- entries[0].battery_rest_v out_of_range"]),
        (start(r#", "battery_rest_v": 12"#), &["? entries[0].battery_rest_v unusual"]),
        (start(r#", "battery_cranking_v": -0.5"#), &["- entries[0].battery_cranking_v out_of_range"]),
        (start(r#", "battery_cranking_v": 5"#), &["? entries[0].battery_cranking_v unusual"]),
        (
            start(r#", "battery_rest_v": 50, "battery_cranking_v": 66"#),
            &["? entries[0].battery_cranking_v unusual"],
        ),
        (start(r#", "main_reservoir_psi": 960"#), &["- entries[0].main_reservoir_psi out_of_range"]),
        (start(r#", "main_reservoir_psi": 170"#), &["? entries[0].main_reservoir_psi unusual"]),
        (start(r#", "main_reservoir_psi": 0, "battery_cranking_v": 20"#), &[]),
        (start(r#", "attempt": 0"#), &["- entries[0].attempt out_of_range"]),
        (start(r#", "attempt": 12"#), &["? entries[0].attempt unusual"]),
        (device("ground_relay", r#""operations": 0"#), &["- entries[0].operations out_of_range"]),
        (device("ground_relay", r#""operations": 10001"#), &["- entries[0].operations out_of_range"]),
        (device("ground_relay", r#""operations": 30"#), &["? entries[0].operations unusual"]),
        (
            device(
                "fuse_check",
                r#""device": "SF", "result": "wrong_one", "fitted": {"rating_a": 0, "rating_v": 20000}"#,
            ),
            &["- entries[0].fitted.rating_a out_of_range", "- entries[0].fitted.rating_v out_of_range"],
        ),
        (
            device(
                "fuse_check",
                r#""device": "SF", "result": "blown", "basis": "examined", "replaced_by": {"rating_a": 4000, "rating_v": 6}"#,
            ),
            &["? entries[0].replaced_by.rating_a unusual", "? entries[0].replaced_by.rating_v unusual"],
        ),
        (
            trip(&format!(r#", "resets": [{}]"#, [r#"{"basis": "examined"}"#; 11].join(","))),
            &["? entries[0].resets unusual"],
        ),
    ];
    for (sent, want) in table {
        assert_eq!(found(&sent, MORNING, true), want, "{sent}");
    }
}

#[test]
fn the_future_is_refused_only_when_typed_live() {
    let sent = bypass(r#", "authorised_at": "2026-03-03T00:00:00Z", "closed_at": "2026-03-03T04:00:00Z""#);
    assert_eq!(found(&sent, "2026-03-03T05:05:00Z", true), [""; 0], "five minutes ahead is a clock");
    let all = [
        "signed_at",
        "run.started",
        "run.ended",
        "entries[0].opened_at",
        "entries[0].closed_at",
        "entries[0].authorised_at",
    ];
    let refused = all.map(|path| format!("- {path} future"));
    assert_eq!(found(&sent, "2026-03-01T00:00:00Z", true), refused);
    let asked = all.map(|path| format!("? {path} future"));
    assert_eq!(
        found(&sent, "2026-03-01T00:00:00Z", false),
        asked,
        "a tablet's wrong clock never refuses a queue"
    );
    let resets = trip(r#", "resets": [{"basis": "examined", "at": "2026-03-03T03:00:00Z"}]"#);
    assert!(
        found(&resets, "2026-03-03T02:00:00Z", true).contains(&"- entries[0].resets[0].at future".to_owned())
    );
    let last = one("ground_relay", r#""last_at": "2026-03-03T03:00:00Z""#);
    assert!(found(&last, "2026-03-03T02:00:00Z", true).contains(&"- entries[0].last_at future".to_owned()));
    let ends_first = trip("").replace("\"ended\": \"2026-03-03T05", "\"ended\": \"2026-03-02T20");
    let asked = ["? run.ended outside_run", "? entries[0].at outside_run"];
    assert_eq!(found(&ends_first, MORNING, false), asked);
}

#[test]
fn an_id_twice_within_a_report_is_refused() {
    let twice = sample::EXAMPLE.replace("7b14\"", "7b12\"");
    assert_eq!(found(&twice, MORNING, true), ["- entries[3].id id_in_use"]);
}

#[test]
fn the_schedule_of_the_time_counts() {
    let later = trip("").replace("TC2", "NEW1").replace("2026-03", "2026-07");
    assert_eq!(found(&later, "2026-07-03T12:00:00Z", true), [""; 0]);
}

#[test]
fn sentences_say_what_to_do() {
    let says = |text: &str| {
        let problems = looked_at(&report(text), MORNING, true);
        problems.refusals.into_iter().chain(problems.warnings).map(|p| p.says).collect::<Vec<_>>().join(" | ")
    };
    for (sent, part) in [
        (trip("").replace("TC2", "TC3"), "Did you mean TC2?"),
        (trip("").replace("TC2", "tc2"), "Did you mean TC2?"),
        (bypass(r#", "by": "a.lnd""#), "Did you mean a.lind?"),
        (bypass("").replace("GRC", "SF"), "on this class that is GRC."),
        (start(r#", "main_reservoir_psi": 960"#), "it lies between 0 and 250 psi."),
        (
            trip("").replace("\"at\": \"2026-03-03T01", "\"at\": \"2026-03-02T20"),
            "2 Mar 2026 14:00 -06:00 is before the run started",
        ),
    ] {
        let says = says(&sent);
        assert!(says.contains(part), "{says}");
    }
}

#[test]
fn an_amendment_is_looked_at_like_an_entry() {
    let text = r#"{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b30", "report": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10",
        "entry": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "author": "a.lind", "at": "2026-03-03T13:00:00Z", "reason": "wrong tag",
        "replacement": {"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "breaker_trip", "at": "2026-03-03T01:00:00Z", "device": "TC9", "left": "on"}}"#;
    let (amendment, _) = read_amendment(&parse(text.as_bytes()).unwrap()).unwrap();
    let unit = UnitName::from("QHB 412");
    let now = Instant::parse(MORNING).unwrap();
    let problems = check_amendment(&amendment, (&unit, None), &roster(), &people(), &Zone::utc(), now, true);
    let refused: Vec<&str> = problems.refusals.iter().map(|p| p.path.as_str()).collect();
    assert_eq!(refused, ["at", "replacement.device"]);
}

#[test]
fn the_same_thing_told_by_somebody_else_is_asked_about() {
    let at = |text: &str| Instant::parse(text).unwrap();
    let (me, other) = (SignIn::from("n.okafor"), SignIn::from("a.lind"));
    let asked = |text: &str, tag: &str, time: &str, by: &SignIn| {
        let others = [(Tag::from(tag), at(time), by.clone())];
        let problems = same_again(&report(text).entries, &me, &others, &Zone::utc());
        assert!(problems.refusals.is_empty());
        problems.warnings.into_iter().map(|p| format!("{} {}", p.path, p.code)).collect::<Vec<_>>()
    };
    assert_eq!(asked(&trip(""), "TC2", "2026-03-03T01:10:00Z", &other), ["entries[0].device same_again"]);
    assert_eq!(asked(&trip(""), "TC2", "2026-03-03T00:50:00Z", &other), ["entries[0].device same_again"]);
    assert_eq!(asked(&trip(""), "TC2", "2026-03-03T01:10:01Z", &other), [""; 0]);
    assert_eq!(asked(&trip(""), "TC2", "2026-03-03T01:00:00Z", &me), [""; 0]);
    assert_eq!(asked(&trip(""), "SF", "2026-03-03T01:00:00Z", &other), [""; 0]);
    let ground = one("ground_relay", r#""device": null"#);
    assert_eq!(
        asked(&ground, Tag::GROUND_RELAY, "2026-03-03T01:00:00Z", &other),
        ["entries[0].at same_again"]
    );
    assert_eq!(
        asked(&start(""), Tag::ENGINE_START, "2026-03-03T01:00:00Z", &other),
        ["entries[0].at same_again"]
    );
    let seen = one("position", r#""device": "TC2", "seen": "tripped""#);
    assert_eq!(asked(&seen, "TC2", "2026-03-03T01:00:00Z", &other), [""; 0]);
}

#[test]
fn a_seal_a_digit_off_is_asked_about() {
    for (a, b, near) in [
        ("20417", "20418", true),
        ("20417", "20471", true),
        ("20417", "2041", true),
        ("20417", "20433", true),
        ("20417", "20417", false),
        ("20417", "31528", false),
        ("17", "18", false),
        ("", "1", false),
    ] {
        assert_eq!(seal_near(a, b), near, "{a} {b}");
    }
    let asked = |text: &str, known: Option<&str>| {
        let problems = seals_near(&report(text).entries, &|tag| {
            assert_eq!(tag.as_str(), "GRC");
            known.map(str::to_owned)
        });
        problems.warnings.into_iter().map(|p| p.path).collect::<Vec<_>>()
    };
    assert_eq!(asked(&bypass(r#", "seal_found": "20417""#), Some("20411")), ["entries[0].seal_found"]);
    assert_eq!(asked(&bypass(r#", "seal_found": "20417""#), Some("20417")), [""; 0]);
    assert_eq!(asked(&bypass(r#", "seal_found": "20417""#), None), [""; 0]);
    assert_eq!(asked(&bypass(r#", "seal_found": "broken""#), Some("broke")), [""; 0]);
    let again = sample::EXAMPLE.replace("\"by\": \"not_known\"", "\"seal_found\": \"20438\"");
    assert_eq!(asked(&again, Some("20417")), ["entries[3].seal_found"], "the seal of this very report");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn no_report_makes_the_look_panic(report in sample::report(), live in any::<bool>(), now in sample::stamp()) {
        let look = check(&report, &roster(), &people(), &Zone::utc(), now.at, live);
        prop_assert!(report.entries.is_empty() || look.is_refused(), "nobody sampled is in the book");
        let _ = seals_near(&report.entries, &|_| Some("20417".to_owned()));
        let _ = same_again(&report.entries, &report.author, &[(Tag::from("A"), now.at, SignIn::from("b.c"))], &Zone::utc());
    }
}
