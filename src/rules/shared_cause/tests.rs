use proptest::{prelude::*, sample::select};

use crate::{
    base::{
        Day, EntryId, UnitName,
        instant::{DAY, MINUTE},
    },
    roster::{DeviceKind, Place, UnitCard},
    rules::{
        Beside, Dossier, DossierKey, Fact, Finding, Told,
        dossier::Subject,
        figures::{ClassDays, ClassFigures, DeviceFigures},
        judge,
        sample::{Railway, at, device, entry, fact, operated, operated_on, report_id},
        service_days::{DaySet, ServiceDays},
        shared_words::by_chance_in_words,
    },
};

/// Eight breakers on panel P1, of which B1 to B4 hang on F (and F on M, in the battery box), one fuse elsewhere; 500
/// units, each device once in `gap` service days on the others.
fn railway(gap: i64) -> Railway {
    let mut devices: Vec<_> =
        (1..=8).map(|n| device(&format!("B{n}"), |d| d.feed = (n <= 4).then(|| "F".into()))).collect();
    let outside = || Place::Outside { at: "battery box".into() };
    devices.push(device("F", |d| (d.place, d.feed) = (outside(), Some("M".into()))));
    devices.push(device("M", |d| d.place = outside()));
    devices.push(device("S", |d| (d.place, d.kind) = (outside(), DeviceKind::Fuse)));
    let mut railway = Railway::with(devices);
    let card = railway.roster.units[&UnitName::from("QHB 412")].as_ref().clone();
    let another = UnitCard { unit: "QHB 431".into(), ..card };
    railway.roster.units.insert(another.unit.clone(), another.into());
    let reports: DaySet = (19_000..20_700).map(Day).collect();
    railway.days = ServiceDays::of(railway.roster.unit(&"QHB 412".into()), &reports, &[], &railway.zone);
    let units = || (0..500).map(|n| UnitName::from(format!("QHX {n}")));
    let of = |tag: &str| DeviceFigures {
        class: "C1".into(),
        device: tag.into(),
        legend: format!("{tag} LEGEND"),
        // Evenly spread, so that the class counts as two.
        occurrences: units().map(|unit| (unit, 4)).collect(),
        total: 2_000,
    };
    let tags = ["B1", "B2", "B3", "B4", "B5", "B6", "B7", "B8", "F", "M", "S", "ground_relay"];
    railway.figures = Some(ClassFigures {
        as_of: at("2026-02-01T00:00:00Z"),
        up_to_seq: 1,
        devices: tags.map(of).into(),
        unit_days: units().map(|unit| (unit, 4 * gap)).collect(),
        class_days: [("C1".into(), ClassDays { days: 2_000 * gap, units: 500, squares: 0 })].into(),
        repairs: 0,
        cranking: Vec::new(),
        monthly: None,
        derived: Default::default(),
    });
    railway
}

/// `10:02 B1` on 3 March in Chicago, told by one report.
fn of_one_report(all: &[&str]) -> Vec<Fact> {
    all.iter().map(|told| told_by(1, told)).collect()
}

fn told_by(report: u64, told: &str) -> Fact {
    operated(&clock(told), report, &told[6..], &[])
}

fn clock(told: &str) -> String {
    format!("2026-03-03T{}:00-06:00", &told[..5])
}

fn mended(when: &str, device: Option<&str>) -> Fact {
    fact(when, Told::Mended { device: device.map(Into::into) })
}

fn found(railway: &Railway, facts: Vec<Fact>) -> Vec<Finding> {
    railway.judge(Subject::Together, facts).findings
}

/// As the dossier of another unit than `QHB 412`.
fn found_on(railway: &Railway, unit: &str, facts: Vec<Fact>) -> Vec<Finding> {
    let key = DossierKey { unit: unit.into(), subject: Subject::Together };
    let beside = Beside { days: &railway.days, weather: &railway.weather, runs: &[], earlier: &[] };
    judge(&key, &Dossier::of(facts), beside, &railway.ground()).findings
}

#[test]
fn three_breakers_of_a_panel_in_four_minutes() {
    let facts = of_one_report(&["10:02 B1", "10:03 B6", "10:06 B7"]);
    let entries: Vec<EntryId> = facts.iter().map(|f| f.entry).collect();
    let [line] = &found(&railway(90), facts)[..] else { panic!("one line") };
    assert_eq!(
        line.sentence,
        "3 breakers of panel P1 tripped within 4 minutes on 3 March 2026: B1 10:02, B6 10:03, B7 10:06. By chance about \
         once in 490 fleet-years. Look at what they share, the feed or the panel's wiring, before the breakers."
    );
    assert_eq!(line.since, at(&clock("10:06")), "complete with the third");
    assert_eq!(line.entries, entries);
    assert_eq!(line.key, format!("shared_cause:QHB 412:-:panel P1:{}", entries[0]));
    // statistics.md i01: once in 490 years of 500 units.
    let expected = line.figures["expected_per_fleet_year"].as_f64().unwrap();
    assert!((expected / (500.0 * 4.056_482_751_61e-6) - 1.0).abs() < 1e-9, "{expected}");
    assert_eq!(line.figures["among"], 8);
    // 90 service days, of which every calendar day is one here.
    assert_eq!(line.until, Some(at("2026-06-02T00:00:00-05:00")));
    // Each: 30 x ((2 + 1) / (2 x 90 + 365) - 1 / 90).
    assert!((line.rank.unwrap() - 0.0).abs() < 1e-9, "one in a year is less than a sister unit has");
}

#[test]
fn the_rank_is_the_sum_of_what_its_devices_will_have_extra() {
    let railway = railway(2_000);
    let [line] = &found(&railway, of_one_report(&["10:02 B1", "10:03 B6", "10:06 B7"]))[..] else {
        panic!("one line")
    };
    let weight = railway.figures.as_ref().unwrap().prior_weight(&"C1".into(), &"B1".into());
    let each = 30.0 * ((weight + 1.0) / (weight * 2_000.0 + 365.0) - 1.0 / 2_000.0);
    assert!((line.rank.unwrap() - 3.0 * each).abs() < 1e-9, "{:?} {each}", line.rank);
}

#[test]
fn what_is_a_group_and_of_what() {
    for (what, facts, want) in [
        ("two", of_one_report(&["10:02 B1", "10:03 B6"]), None),
        ("one of them twice", of_one_report(&["10:02 B1", "10:03 B6", "10:04 B1"]), None),
        ("eleven minutes", of_one_report(&["10:02 B1", "10:03 B6", "10:13 B7"]), None),
        ("ten minutes", of_one_report(&["10:03 B1", "10:04 B6", "10:13 B7"]), Some("panel P1")),
        (
            "a feed has less else hanging on it",
            of_one_report(&["10:03 B1", "10:04 B2", "10:13 B4"]),
            Some("feed F"),
        ),
        (
            "more of the panel than of the feed",
            of_one_report(&["10:03 B1", "10:04 B2", "10:05 B4", "10:06 B8"]),
            Some("panel P1"),
        ),
        ("by the feed's feed", of_one_report(&["10:03 B1", "10:04 B2", "10:05 F"]), Some("feed M")),
        ("nothing in common", of_one_report(&["10:03 B1", "10:04 F", "10:05 S"]), None),
        ("not on the schedule", of_one_report(&["10:03 X1", "10:04 X2", "10:05 X3"]), None),
        (
            "memories rounded alike",
            vec![told_by(1, "10:15 B1"), told_by(2, "10:15 B6"), told_by(3, "10:15 B7")],
            None,
        ),
        ("two of them", vec![told_by(1, "10:15 B1"), told_by(1, "10:15 B6"), told_by(2, "10:15 B7")], None),
        ("rounded in one report", of_one_report(&["10:15 B1", "10:15 B6", "10:15 B7"]), Some("panel P1")),
        (
            "reports with clocks",
            vec![told_by(1, "10:14 B1"), told_by(2, "10:14 B6"), told_by(3, "10:14 B7")],
            Some("panel P1"),
        ),
    ] {
        let found = found(&railway(90), facts);
        let marks: Vec<_> = found.iter().map(|f| f.key.split(':').nth(3).unwrap()).collect();
        assert_eq!(marks, Vec::from_iter(want), "{what}");
    }
}

#[test]
fn what_chance_brings_about_often_is_no_line() {
    let three = || of_one_report(&["10:02 B1", "10:03 B6", "10:06 B7"]);
    let five = || of_one_report(&["10:02 B1", "10:03 B6", "10:06 B7", "10:07 B8", "10:08 B5"]);
    assert_eq!(found(&railway(20), three()), [], "one in 20 days each: once in 5 fleet-years");
    let [line] = &found(&railway(20), five())[..] else { panic!("five are too many") };
    assert_eq!(line.since, at(&clock("10:07")), "the fourth was one too many");
    assert!(
        line.sentence.starts_with("5 breakers of panel P1 tripped within 6 minutes"),
        "{}",
        line.sentence
    );
}

#[test]
fn too_little_known_is_no_line() {
    let facts = || of_one_report(&["10:02 B1", "10:03 B6", "10:06 B7"]);
    let without_figures = Railway { figures: None, ..railway(90) };
    assert_eq!(found(&without_figures, facts()), []);
    let changed = |change: fn(&mut ClassFigures)| {
        let mut railway = railway(90);
        railway.figures.as_mut().map(change);
        found(&railway, facts())
    };
    let one_unit = changed(|f| {
        f.class_days = [("C1".into(), ClassDays { days: 365, units: 1, squares: 0 })].into();
        f.unit_days = [("QHB 412".into(), 365)].into();
    });
    assert_eq!(one_unit, [], "nobody to compare with");
    let never_seen = changed(|f| f.devices.iter_mut().for_each(|d| d.total = 0));
    assert_eq!(never_seen.len(), 1, "180,000 days without any say enough");
    let hardly_known = changed(|f| {
        f.devices.iter_mut().for_each(|d| d.total = 1);
        f.class_days = [("C1".into(), ClassDays { days: 40, units: 500, squares: 0 })].into();
    });
    assert_eq!(hardly_known, [], "one in 40 days may well be one in 13");
    let mut nameless = railway(90);
    nameless.roster.units.remove(&UnitName::from("QHB 412"));
    assert_eq!(found(&nameless, facts()), [], "a unit off the roster has no schedule");
}

#[test]
fn a_repair_that_answers_it_ends_it() {
    let facts = || of_one_report(&["10:02 B1", "10:03 B2", "10:06 B3"]);
    let quiet = Some(at("2026-06-02T00:00:00-05:00"));
    let when = "2026-03-10T12:00:00Z";
    for (what, when, device, ends) in [
        ("of the unit", when, None, true),
        ("of one of them", when, Some("B2"), true),
        ("of the feed", when, Some("F"), true),
        ("of what hangs on it, too", when, Some("B4"), true),
        ("of something else", when, Some("B8"), false),
        ("before it happened", "2026-03-03T16:00:00Z", Some("B2"), false),
    ] {
        let facts = [facts(), vec![mended(when, device)]].concat();
        let [line] = &found(&railway(90), facts)[..] else { panic!("{what}: one line") };
        assert_eq!(line.until, if ends { Some(at(when)) } else { quiet }, "{what}");
    }
}

#[test]
fn groups_of_one_source_are_one_line_while_it_is_open() {
    let group = |day: &str| -> Vec<Fact> {
        ["10:00", "10:01", "10:02"]
            .iter()
            .zip(["B1", "B6", "B7"])
            .map(|(clock, device)| operated(&format!("{day}T{clock}:00Z"), 1, device, &[]))
            .collect()
    };
    let again = [group("2026-03-03"), group("2026-03-20")].concat();
    let [line] = &found(&railway(90), again.clone())[..] else { panic!("one line") };
    assert!(
        line.sentence.starts_with(
            "2 such groups since 3 March 2026, the last: 3 breakers of panel P1 tripped within 2 minutes on 20 March 2026: \
             B1 05:00, B6 05:01, B7 05:02. By chance"
        ),
        "{}",
        line.sentence
    );
    assert_eq!((line.since, line.entries.len()), (at("2026-03-03T10:02:00Z"), 6));
    let mended_between = [again, vec![mended("2026-03-10T00:00:00Z", None)]].concat();
    let until: Vec<_> = found(&railway(90), mended_between).into_iter().map(|f| (f.since, f.until)).collect();
    assert_eq!(until.len(), 2);
    assert!(until.contains(&(at("2026-03-03T10:02:00Z"), Some(at("2026-03-10T00:00:00Z")))), "{until:?}");
    let long_after = [group("2026-01-03"), group("2026-04-20")].concat();
    assert_eq!(found(&railway(90), long_after).len(), 2, "the first had been quiet for 90 days");
}

/// `QHB 412` coupled to 405 and 431 (and 409, on which nothing happened); each tells of the others.
fn on_three(device: &str) -> Vec<(&'static str, Vec<Fact>)> {
    let times = [("QHB 405", "10:02", 1), ("QHB 412", "10:04", 2), ("QHB 431", "10:17", 3)];
    let all = ["QHB 405", "QHB 409", "QHB 412", "QHB 431"];
    let seen_by = |unit: &'static str| {
        let with: Vec<&str> = all.iter().copied().filter(|other| *other != unit).collect();
        let told = times.map(|(on, clock, report)| {
            let when = format!("2026-03-03T{clock}:00-06:00");
            if on == unit {
                operated(&when, report, device, &with)
            } else {
                operated_on(&when, report, device, on)
            }
        });
        (unit, told.into())
    };
    all.iter().map(|unit| seen_by(unit)).collect()
}

#[test]
fn one_device_on_three_units_of_a_consist_is_told_by_the_least_of_them() {
    let mut railway = railway(90);
    let told: Vec<(&str, Vec<Finding>)> =
        on_three("B1").into_iter().map(|(unit, facts)| (unit, found_on(&railway, unit, facts))).collect();
    let tellers: Vec<_> = told.iter().filter(|(_, found)| !found.is_empty()).map(|(unit, _)| *unit).collect();
    assert_eq!(tellers, ["QHB 405"]);
    let line = &told[0].1[0];
    assert_eq!(
        line.sentence,
        "B1 (B1 LEGEND) tripped on 3 units of one consist within 15 minutes on 3 March 2026: QHB 405 10:02, QHB 412 10:04, \
         QHB 431 10:17. By chance about once in 12000 fleet-years. Look at what they share, the jumper between QHB 405, QHB \
         412 and QHB 431, before the breakers."
    );
    assert_eq!(line.units, ["QHB 405", "QHB 412", "QHB 431"].map(UnitName::from));
    assert_eq!(
        (line.device.as_ref().map(|d| d.as_str()), line.figures["among"].as_u64()),
        (Some("B1"), Some(4))
    );
    // statistics.md i03: 6.519e-7 a year on one consist of four; 125 of them.
    let expected = line.figures["expected_per_fleet_year"].as_f64().unwrap();
    assert!((expected / (125.0 * 6.519_347_279_38e-7) - 1.0).abs() < 1e-9, "{expected}");
    // The least is not on the roster: the next one tells.
    railway.roster.units.remove(&UnitName::from("QHB 405"));
    let told: Vec<_> = on_three("B1")
        .into_iter()
        .flat_map(|(unit, facts)| {
            found_on(&railway, unit, facts).into_iter().map(move |f| (unit, f.units.len()))
        })
        .collect();
    assert_eq!(told, [("QHB 412", 3)]);
}

#[test]
fn two_of_a_consist_must_be_rare_and_not_rounded() {
    let with = &["QHB 431"];
    let two = |first: &str, second: &str| {
        vec![
            operated(&clock(first), 1, &first[6..], with),
            operated_on(&clock(second), 2, &second[6..], "QHB 431"),
        ]
    };
    let seldom = railway(1_500);
    for (what, railway, facts, want) in [
        ("one in 90 days each: 0.7 a year", &railway(90), two("10:02 B1", "10:05 B1"), 0),
        ("one in 1,500 days each", &seldom, two("10:02 B1", "10:05 B1"), 1),
        ("not the same device", &seldom, two("10:02 B1", "10:05 B2"), 0),
        ("sixteen minutes", &seldom, two("10:02 B1", "10:18 B1"), 0),
        ("the same rounded minute", &seldom, two("10:15 B1", "10:15 B1"), 0),
        ("relays", &seldom, two("10:02 ground_relay", "10:05 ground_relay"), 1),
    ] {
        assert_eq!(found(railway, facts).len(), want, "{what}");
    }
    // Only the other's report names us: nobody else sees it, so we tell of it although it is the lesser.
    let one_sided = |with: &[&str]| {
        vec![operated(&clock("10:02 B1"), 1, "B1", with), operated_on(&clock("10:05 B1"), 2, "B1", "QHB 401")]
    };
    assert_eq!(found(&seldom, one_sided(&[])).len(), 1);
    assert_eq!(found(&seldom, one_sided(&["QHB 401"])).len(), 0, "it tells of it itself");
}

#[test]
fn luck_is_told_in_fleet_years() {
    for (expected, want) in [
        (1.0 / 493.0, "By chance about once in 490 fleet-years."),
        (1.0 / 23.4, "By chance about once in 23 fleet-years."),
        (1.0 / 12_345.0, "By chance about once in 12000 fleet-years."),
        (1.0 / 3.12, "By chance about once in 3.1 fleet-years."),
        (2.0, "By chance about 2.0 times in a fleet-year."),
        (1e-9, "By chance less than once in a million fleet-years."),
        (0.0, "By chance less than once in a million fleet-years."),
    ] {
        assert_eq!(by_chance_in_words(expected), want);
    }
}

/// When (a day, a minute of a short while), which of three units, which device, and which of its reports.
type Drawn = (i64, i64, usize, &'static str, u64);
const COUPLED: [&str; 3] = ["QHB 405", "QHB 412", "QHB 431"];

fn operation() -> impl Strategy<Value = Drawn> {
    let device = select(vec!["B1", "B2", "B3", "B4", "B6", "B7", "F", "S"]);
    (select(vec![0_i64, 1, 40, 130]), 0..40_i64, 0..3_usize, device, 0..2_u64)
}

/// What one unit's dossier holds of them.
fn seen_from(unit: usize, all: &[Drawn]) -> Vec<Fact> {
    let fact = |(n, (day, minute, on, device, report)): (usize, &Drawn)| {
        let others: Vec<&str> = COUPLED.iter().copied().filter(|other| other != &COUPLED[*on]).collect();
        let when = "2026-03-03T16:00:00Z";
        let told = if *on == unit {
            operated(when, 0, device, &others)
        } else {
            operated_on(when, 0, device, COUPLED[*on])
        };
        let report = report_id(report * 3 + *on as u64);
        Fact {
            at: at(when).plus(day * DAY + minute * MINUTE),
            entry: entry(n as u64),
            report,
            seq: n as u64,
            ..told
        }
    };
    all.iter().enumerate().map(fact).collect()
}

proptest! {
    // No files of failing cases beside the sources: a failure prints its least case.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_operation_is_told_of_twice(all in proptest::collection::vec(operation(), 0..40), repaired in proptest::option::of(0..60_i64)) {
        let railway = railway(1_500);
        let mut alone: Vec<EntryId> = Vec::new();
        let mut coupled: Vec<EntryId> = Vec::new();
        for (unit, name) in COUPLED.iter().enumerate() {
            let mut facts = seen_from(unit, &all);
            facts.extend(repaired.map(|day| Fact { at: at("2026-03-03T16:00:00Z").plus(day * DAY), ..mended("2026-03-03T16:00:00Z", None) }));
            for line in found_on(&railway, name, facts) {
                prop_assert!(line.until.is_none_or(|until| line.since <= until), "{line:?}");
                prop_assert!(line.rank.is_some_and(f64::is_finite) && line.units.contains(&UnitName::from(*name)));
                prop_assert!(line.devices.len() >= 3 || line.units.len() >= 2);
                if line.device.is_none() { &mut alone } else { &mut coupled }.extend(line.entries);
            }
        }
        for mut told in [alone, coupled] {
            let all = told.len();
            told.sort();
            told.dedup();
            prop_assert_eq!(all, told.len());
        }
    }

    #[test]
    fn service_days_past_the_settled_moment_change_nothing(
        all in proptest::collection::vec(operation(), 0..40), heard in proptest::collection::vec(0..260_i32, 0..12), more in 0..300_i32,
    ) {
        let railway = railway(1_500);
        let first = Day(20_500);
        let mut heard: DaySet = heard.into_iter().map(|day| first.plus(day)).collect();
        let days = |heard: &DaySet| ServiceDays::of(railway.roster.unit(&"QHB 412".into()), heard, &[], &railway.zone);
        let judged = |days: &ServiceDays| {
            let key = DossierKey { unit: "QHB 412".into(), subject: Subject::Together };
            judge(&key, &Dossier::of(seen_from(1, &all)), Beside { days, weather: &railway.weather, runs: &[], earlier: &[] }, &railway.ground())
        };
        let before = days(&heard);
        let was = judged(&before);
        heard.insert(first.plus(more));
        let after = days(&heard);
        let changed = (-60..400).map(|d| first.plus(d)).find(|d| before.counts(*d) != after.counts(*d));
        let in_all = after.up_to(Day(i32::MAX));
        if changed.is_none_or(|day| was.rests.stands(railway.zone.start_of(day), in_all)) {
            prop_assert_eq!(was, judged(&after));
        }
    }
}
