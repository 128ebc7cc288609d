use proptest::prelude::*;

use super::*;
use crate::reports::{Json, content_sha256, json::parse, sample};

fn read(text: &str) -> Read<Report> {
    read_report(&parse(text.as_bytes()).unwrap())
}

/// `path code` of each refusal.
fn refusals(text: &str) -> Vec<String> {
    let problems = read(text).err().unwrap_or_default();
    for problem in &problems.refusals {
        assert!(problem.says.ends_with(['.', '?']) && problem.says.len() < 400, "{}", problem.says);
    }
    problems.refusals.iter().map(|p| format!("{} {}", p.path, p.code)).collect()
}

/// The example with one spot changed.
fn changed(from: &str, to: &str) -> String {
    assert!(sample::EXAMPLE.contains(from), "the example has no {from}");
    sample::EXAMPLE.replacen(from, to, 1)
}

const EMPTY: &str = r#"{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10", "unit": "QHB 412", "author": "n.okafor",
    "run": {"started": "2026-03-02T21:40:00-06:00"}, "entries": [], "signed_at": "2026-03-03T05:14:00-06:00"}"#;

/// A report with one entry of a kind, `at` given, and the rest of it.
fn entry(kind: &str, rest: &str) -> String {
    let time = if kind == "bypass" { "opened_at" } else { "at" };
    EMPTY.replace(
        "[]",
        &format!(
            r#"[{{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "{kind}", "{time}": "2026-03-02T23:00:00Z" {rest}}}]"#
        ),
    )
}

#[test]
fn the_example_of_the_contract_is_read_whole() {
    let (report, problems) = read(sample::EXAMPLE).unwrap();
    assert_eq!(problems, Problems::default());
    assert_eq!(report.entries.len(), 9);
    let kinds: std::collections::BTreeSet<&str> =
        report.entries.iter().map(|e| e.what.kind().as_str()).collect();
    assert_eq!(kinds.len(), 8, "the example has every kind");
    assert!(report.entries[3].when.is_found());
}

#[test]
fn what_is_absent_has_its_default() {
    let (report, problems) = read(EMPTY).unwrap();
    assert_eq!((report.occasion, report.is_final), (Occasion::Run, true));
    assert_eq!(problems, Problems::default());
    let (report, _) =
        read(&entry("engine_start", r#", "outcome": "running", "place": "", "throttle": null"#)).unwrap();
    let start = &report.entries[0];
    assert_eq!((start.at_how, start.throttle, start.place.as_ref()), (AtHow::Clock, None, None));
    let yard = EMPTY.replace(
        r#""run": {"started": "2026-03-02T21:40:00-06:00"}"#,
        r#""occasion": "yard", "run": {"started": null}"#,
    );
    assert_eq!(read(&yard).unwrap().0.run, None);
}

#[test]
fn a_missing_basis_is_stored_as_not_determined_with_a_warning() {
    for (sent, path) in [
        (
            entry(
                "breaker_trip",
                r#", "device": "TC2", "left": "on", "resets": [{}, {"basis": "examined"}, {"basis": null}]"#,
            ),
            &["entries[0].resets[0].basis", "entries[0].resets[2].basis"][..],
        ),
        (
            entry("fuse_check", r#", "device": "SF", "result": "blown", "replaced_by": {"rating_a": 400}"#),
            &["entries[0].basis"],
        ),
        (entry("fuse_check", r#", "device": "SF", "result": "good""#), &[]),
    ] {
        let (report, problems) = read(&sent).unwrap();
        let warned: Vec<&str> = problems.warnings.iter().map(|p| p.path.as_str()).collect();
        assert_eq!(warned, path, "{sent}");
        let again = serde_json::to_vec(&report).unwrap();
        assert_eq!(read_report(&parse(&again).unwrap()).unwrap(), (report, Problems::default()), "said once");
    }
}

#[test]
#[expect(clippy::too_many_lines, reason = "one table")]
fn every_refusal_has_its_place_and_code() {
    let trip = r#", "device": "TC2", "left": "tripped""#;
    let trip_but = |rest: &str| entry("breaker_trip", &format!("{trip}, {rest}"));
    let table: &[(String, &[&str])] = &[
        ("[]".into(), &[" wrong_type"]),
        (
            "{}".into(),
            &[
                "id missing",
                "unit missing",
                "author missing",
                "run.started missing",
                "entries missing",
                "signed_at missing",
            ],
        ),
        (EMPTY.replace("[]", "null"), &["entries missing"]),
        (EMPTY.replace("[]", "{}"), &["entries wrong_type"]),
        (EMPTY.replace("[]", "[null, 1]"), &["entries[0] wrong_type", "entries[1] wrong_type"]),
        (EMPTY.replace("[]", "[{}]"), &["entries[0].id missing", "entries[0].kind missing"]),
        (
            changed("\"0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10\"", "\"{0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b1}\""),
            &["id wrong_type"],
        ),
        (changed("\"0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10\"", "7"), &["id wrong_type"]),
        (changed("\"QHB 412\"", "\"412\""), &["unit wrong_type"]),
        (changed("\"QHB 431\"", "\"431\""), &["consist[1] wrong_type"]),
        (changed("\"n.okafor\"", "\"not_known\""), &["author wrong_type"]),
        (changed("\"occasion\": \"run\"", "\"occasion\": \"trip\""), &["occasion not_allowed"]),
        (changed("\"final\": true", "\"final\": \"yes\""), &["final wrong_type"]),
        (changed("\"run\": {", "\"run\": 1, \"x\": {"), &["run wrong_type", "x unknown_field"]),
        (
            changed("\"started\": \"2026-03-02T21:40:00-06:00\"", "\"started\": null"),
            &["run.started missing"],
        ),
        (changed("21:40:00-06:00", "21:40:00"), &["run.started no_offset"]),
        (changed("2026-03-02T21:40:00-06:00", "yesterday"), &["run.started wrong_type"]),
        (changed("2026-03-02T21:40:00-06:00", "2026-02-30T21:40:00-06:00"), &["run.started wrong_type"]),
        (changed("2026-03-02T21:40:00-06:00", "0000-01-01T00:00:00+05:00"), &["run.started out_of_range"]),
        (changed("2026-03-02T21:40:00-06:00", "9999-12-31T23:59:59-06:00"), &["run.started out_of_range"]),
        (changed("\"symbol\"", "\"symbl\""), &["run.symbl unknown_field"]),
        (changed("\"position\": \"lead\"", "\"position\": 1"), &["position wrong_type"]),
        (changed("\"weather\": \"rain\"", "\"weather\": \"Rain\""), &["weather not_allowed"]),
        (changed("\"kind\": \"breaker_trip\"", "\"kind\": \"breaker\""), &["entries[0].kind not_allowed"]),
        (
            changed("\"device\": \"TC2\"", "\"devise\": \"TC2\""),
            &["entries[0].device missing", "entries[0].devise unknown_field"],
        ),
        (changed("\"speed_mph\": 38", "\"speed_mph\": \"38\""), &["entries[0].speed_mph wrong_type"]),
        (changed("\"operations\": 2", "\"operations\": 2.5"), &["entries[1].operations wrong_type"]),
        (changed("\"operations\": 2", "\"operations\": -1"), &["entries[1].operations out_of_range"]),
        (
            changed("\"operations\": 2", "\"operations\": 99999999999"),
            &["entries[1].operations out_of_range"],
        ),
        (
            changed("\"seal_found\": \"20417\"", "\"seal_found\": 20417"),
            &["entries[2].seal_found wrong_type"],
        ),
        (changed("\"by\": \"a.lind\"", "\"by\": \"A Lind\""), &["entries[2].by not_allowed"]),
        (
            changed("\"by\": \"a.lind\"", "\"by\": {\"nam\": \"A Lind\"}"),
            &["entries[2].by.name missing", "entries[2].by.nam unknown_field"],
        ),
        (changed("\"by\": \"a.lind\"", "\"by\": [\"a.lind\"]"), &["entries[2].by wrong_type"]),
        (
            changed("\"opened_at\"", "\"at\""),
            &["entries[2].opened_at missing", "entries[2].at unknown_field"],
        ),
        (trip_but(r#""found_at": "2026-03-02T23:00:00Z""#), &["entries[0].found_at not_allowed"]),
        (trip_but(r#""at_how": "clok""#), &["entries[0].at_how not_allowed"]),
        (trip_but(r#""resets": {}"#), &["entries[0].resets wrong_type"]),
        (
            trip_but(r#""resets": [{"result": "held", "after": 1}, 3]"#),
            &["entries[0].resets[0].after unknown_field", "entries[0].resets[1] wrong_type"],
        ),
        (trip_but(r#""outcome": "running""#), &["entries[0].outcome unknown_field"]),
        (entry("breaker_trip", ""), &["entries[0].device missing", "entries[0].left missing"]),
        (entry("breaker_trip", r#", "device": null, "left": "on""#), &["entries[0].device missing"]),
        (entry("breaker_trip", r#", "device": 2, "left": "on""#), &["entries[0].device wrong_type"]),
        (
            entry("breaker_trip", r#", "device": {"not_listed": " "}, "left": "on""#),
            &["entries[0].device.not_listed missing"],
        ),
        (
            entry("breaker_trip", r#", "device": "engine_start", "left": "on""#),
            &["entries[0].device not_allowed"],
        ),
        (
            entry("breaker_trip", &format!(r#", "device": "{}", "left": "on""#, "x".repeat(41))),
            &["entries[0].device out_of_range"],
        ),
        (entry("bypass", r#", "found_open_at": null"#), &["entries[0].device missing"]),
        (
            entry("fuse_check", r#", "fitted": {"amps": 3, "speed": "quick"}"#),
            &[
                "entries[0].device missing",
                "entries[0].result missing",
                "entries[0].fitted.speed not_allowed",
                "entries[0].fitted.amps unknown_field",
            ],
        ),
        (entry("engine_start", ""), &["entries[0].outcome missing"]),
        (entry("position", r#", "device": "TC2""#), &["entries[0].seen missing"]),
        (
            entry("shutdown", &format!(r#", "place": "{}""#, "x".repeat(201))),
            &["entries[0].place out_of_range"],
        ),
        (
            entry("shutdown", &format!(r#", "note": "{}""#, "é".repeat(10_001))),
            &["entries[0].note out_of_range"],
        ),
    ];
    for (sent, want) in table {
        assert_eq!(&refusals(sent), want, "{sent}");
    }
}

#[test]
fn what_may_stay_unsaid_or_unknown_is_taken() {
    for sent in [
        entry("shutdown", ""),
        entry("defect", ""),
        entry("ground_relay", r#", "device": null, "motors_cut_out": [3, "4"], "operations": 2.0"#),
        entry("breaker_trip", r#", "device": {"not_listed": "FAN 3"}, "left": "not_known""#),
        entry(
            "bypass",
            r#", "device": "GRC", "by": {"name": "the tall electrician"}, "seal_found": "not_known", "closed_by": null"#,
        ),
        changed("\"qhb 412\"".to_uppercase().as_str(), "\" qhb-0412\""),
        changed("\"author\": \"n.okafor\"", "\"author\": \"N.Okafor\""),
        changed("0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10", "0198F3A2-6C1E-7D3A-9B1F-2F0C5A9E7B10"),
    ] {
        assert!(read(&sent).is_ok(), "{sent}: {:?}", read(&sent));
    }
}

#[test]
fn sentences_point_the_way() {
    let says = |sent: String| {
        read(&sent).unwrap_err().refusals.into_iter().map(|p| p.says).collect::<Vec<_>>().join(" ")
    };
    assert!(
        says(changed("\"device\": \"TC2\"", "\"devise\": \"TC2\"")).ends_with("Did you mean \"device\"?")
    );
    assert!(says(changed("\"opened_at\"", "\"at\"")).ends_with("Did you mean \"opened_at\"?"));
    assert!(
        says(changed("\"left\": \"tripped\"", "\"left\": \"triped\""))
            .contains("Did you mean tripped? They are: on, off, tripped, cut_out, not_known.")
    );
    assert!(
        says(changed("\"left\": \"tripped\"", "\"left\": null"))
            .ends_with("One of: on, off, tripped, cut_out, not_known.")
    );
}

#[test]
fn a_hostile_report_costs_little() {
    let fields: Vec<String> = (0..150_000).map(|n| format!("\"f{n}\": 1")).collect();
    let entries = EMPTY.replace("[]", &format!("[{}]", vec!["{\"kind\":\"x\"}"; 120_000].join(",")));
    let resets = entry(
        "breaker_trip",
        &format!(r#", "device": "TC2", "left": "on", "resets": [{}]"#, vec!["{}"; 600_000].join(",")),
    );
    for sent in [format!("{{{}}}", fields.join(",")), entries] {
        assert_eq!(read_report_bytes(sent.as_bytes()).unwrap_err().refusals.len(), Problems::MOST);
    }
    let (report, problems) = read_report_bytes(resets.as_bytes()).unwrap();
    assert_eq!(problems.warnings.len(), Problems::MOST);
    assert!(matches!(&report.entries[0].what, What::BreakerTrip(trip) if trip.resets.len() == 600_000));
}

#[test]
fn bytes_that_are_no_report_are_one_problem() {
    for (sent, path) in [("{", ""), ("\"\u{0}", ""), (r#"{"id": 1, "id": 2}"#, "id")] {
        let problems = read_report_bytes(sent.as_bytes()).unwrap_err();
        assert_eq!((problems.refusals.len(), problems.refusals[0].path.as_str()), (1, path), "{sent}");
    }
}

#[test]
fn the_same_report_is_equal_however_it_is_spelled() {
    let (report, _) = read(sample::EXAMPLE).unwrap();
    for (what, sent) in [
        ("white space", sample::EXAMPLE.replace("\": ", "\"\t:\r\n  ")),
        (
            "null or absent",
            changed(", \"remarks\": null", "")
                .replace(", \"motors_cut_out\": []", "")
                .replace(", \"note\": null", ""),
        ),
        (
            "38.0",
            changed("\"speed_mph\": 38,", "\"speed_mph\": 38.0,")
                .replace("\"attempt\": 1,", "\"attempt\": 1e0,"),
        ),
        ("another offset", changed("2026-03-03T05:14:00-06:00", "2026-03-03T11:14:00.000Z")),
        ("the unit's spelling", changed("\"unit\": \"QHB 412\"", "\"unit\": \"qhb  00412\"")),
        ("escapes", changed("\"n.okafor\"", "\"n\\u002eokafor\"")),
        (
            "defaults left out",
            changed("\"occasion\": \"run\", \"final\": true,", "").replace("\"at_how\": \"clock\", ", ""),
        ),
        (
            "capital letters in ids",
            changed("0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "0198F3A2-6C1E-7D3A-9B1F-2F0C5A9E7B11"),
        ),
        (
            "key order",
            changed(
                "\"unit\": \"QHB 412\", \"author\": \"n.okafor\"",
                "\"author\": \"n.okafor\", \"unit\": \"QHB 412\"",
            ),
        ),
    ] {
        let (other, _) = read(&sent).unwrap_or_else(|p| panic!("{what}: {p:?}"));
        assert_eq!(report, other, "{what}");
        assert_eq!(content_sha256(&report), content_sha256(&other), "{what}");
    }
    for (what, sent) in [
        ("author", changed("n.okafor", "n.okaford")),
        ("a reading", changed("\"speed_mph\": 38", "\"speed_mph\": 38.1")),
        ("an instant", changed("05:14:00-06:00", "05:14:01-06:00")),
        (
            "the order of entries",
            sample::EXAMPLE.replace("5a9e7b11", "?").replace("5a9e7b12", "5a9e7b11").replace('?', "5a9e7b12"),
        ),
    ] {
        let (other, _) = read(&sent).unwrap_or_else(|p| panic!("{what}: {p:?}"));
        assert_ne!(report, other, "{what}");
        assert_ne!(content_sha256(&report), content_sha256(&other), "{what}");
    }
}

#[test]
fn an_amendment_replaces_a_whole_entry_or_withdraws_it() {
    let read = |text: &str| read_amendment(&parse(text.as_bytes()).unwrap());
    let withdrawn = r#"{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b30", "report": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10",
        "entry": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "author": "n.okafor", "at": "2026-03-03T06:00:00Z", "reason": "wrong unit", "replacement": null}"#;
    let (amendment, _) = read(withdrawn).unwrap();
    assert_eq!(amendment.replacement, None);
    let shutdown = |id: &str| {
        format!(
            r#"{{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b{id}", "kind": "shutdown", "at": "2026-03-03T06:00:00Z"}}"#
        )
    };
    assert!(read(&withdrawn.replace("null", &shutdown("11"))).is_ok());
    let other = read(&withdrawn.replace("null", &shutdown("12"))).unwrap_err();
    assert_eq!(other.refusals[0].path, "replacement.id");
    let missing = read("{}").unwrap_err();
    assert_eq!(missing.refusals.len(), 6);
}

/// What a hostile or broken sender might do to a good report.
fn mutated() -> impl Strategy<Value = Vec<u8>> {
    let spot = (any::<prop::sample::Index>(), any::<u8>(), 0..4_u8);
    proptest::collection::vec(spot, 1..6).prop_map(|spots| {
        let mut bytes = sample::EXAMPLE.as_bytes().to_vec();
        for (place, byte, how) in spots {
            let place = place.index(bytes.len());
            match how {
                0 => bytes[place] = byte,
                1 => drop(bytes.remove(place)),
                2 => bytes.insert(place, byte),
                _ => bytes[place] = b"\"{}[]:,0e-"[usize::from(byte) % 10],
            }
        }
        bytes
    })
}

/// Any tree at all, with the names of the contract in it.
fn tree() -> impl Strategy<Value = serde_json::Value> {
    let leaf = prop_oneof![
        Just(serde_json::Value::Null),
        any::<bool>().prop_map(Into::into),
        any::<f64>().prop_map(Into::into),
        any::<i64>().prop_map(Into::into),
        "\\PC{0,12}".prop_map(Into::into),
        prop::sample::select(vec![
            "bypass",
            "position",
            "breaker_trip",
            "2026-03-03T06:00:00Z",
            "9999-12-31T23:59:59-23:59"
        ])
        .prop_map(Into::into),
    ];
    let names = prop::sample::select(vec![
        "id",
        "kind",
        "entries",
        "run",
        "resets",
        "device",
        "at",
        "opened_at",
        "by",
        "name",
        "fitted",
        "replacement",
        "x",
    ]);
    leaf.prop_recursive(5, 60, 8, move |inner| {
        prop_oneof![
            proptest::collection::vec(inner.clone(), 0..6).prop_map(Into::into),
            proptest::collection::btree_map(names.clone().prop_map(str::to_owned), inner, 0..10)
                .prop_map(|map| serde_json::Value::Object(map.into_iter().collect())),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn what_is_written_out_is_read_back_the_same(report in sample::report()) {
        let written = serde_json::to_vec(&report).unwrap();
        let tree = parse(&written).unwrap();
        let (again, problems) = read_report(&tree).map_err(|p| TestCaseError::fail(format!("{p:?}")))?;
        prop_assert_eq!(problems, Problems::default());
        prop_assert_eq!(&again, &report);
        prop_assert_eq!(content_sha256(&again), content_sha256(&report));
        prop_assert_eq!(serde_json::to_vec(&again).unwrap(), written);
    }

    #[test]
    fn amendments_are_read_back_the_same(amendment in sample::amendment()) {
        let written = serde_json::to_vec(&amendment).unwrap();
        let read = read_amendment(&parse(&written).unwrap());
        prop_assert_eq!(read, Ok((amendment, Problems::default())));
    }

    #[test]
    fn offsets_do_not_change_the_content(report in sample::report(), offset in -1439..1440_i16) {
        let mut moved = report.clone();
        moved.signed_at.offset_min = offset;
        if let Some(started) = moved.run.as_mut().and_then(|run| run.started.as_mut()) { started.offset_min = offset; }
        prop_assert_eq!(&moved, &report);
        prop_assert_eq!(content_sha256(&moved), content_sha256(&report));
    }

    #[test]
    fn mutated_reports_never_panic(bytes in mutated()) {
        if let Ok(tree) = parse(&bytes) {
            let _ = read_report(&tree);
        }
    }

    #[test]
    fn random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        if let Ok(tree) = parse(&bytes) {
            let _ = read_report(&tree);
        }
    }

    #[test]
    fn any_tree_is_refused_or_read(tree in tree()) {
        let bytes = serde_json::to_vec(&tree).unwrap();
        if let Ok(tree) = parse(&bytes) {
            let _ = (read_report(&tree), read_entry(&tree), read_amendment(&tree));
            prop_assert!(!matches!(read_report(&tree), Err(p) if !p.is_refused()), "an error says why");
            prop_assert_ne!(&tree, &Json::Text("never".into()));
        }
    }
}

/// domain.md requires `run.started` only when the occasion is a run.
#[test]
fn away_from_a_run_a_symbol_needs_no_start() {
    let started = "\"started\": \"2026-03-02T21:40:00-06:00\"";
    let yard =
        changed("\"occasion\": \"run\"", "\"occasion\": \"yard\"").replace(started, "\"started\": null");
    let tree = json::parse(yard.as_bytes()).unwrap();
    let (report, _) = read_report(&tree).unwrap();
    assert_eq!(report.run_began(), None);
    assert_eq!(report.run.unwrap().symbol.as_deref(), Some("K17"));
}
