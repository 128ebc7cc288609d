use std::collections::BTreeMap;

use serde_json::Value;

use super::{
    filing::{Arrives, Filed},
    *,
};
use crate::{
    base::{Clock, Day},
    book::Channel,
    cli::import::{self, List},
    desk::{
        Desk, DeskOptions,
        begin::{self, NewBook},
        reports::{FileReport, Filer},
        verify::{self, Verdict},
    },
};

/// Small, and with everything in it.
fn small() -> Options {
    Options {
        units: 24,
        classes: 3,
        spread: Some(4.0),
        bad_share: 0.05,
        season: 0.4,
        gaps: 1.0,
        missing: 0.05,
        wet: 0.3,
        weak_batteries: 0.2,
        shared_causes: 40.0,
        ..USUAL
    }
}

fn made(options: &Options) -> (Fleet, Vec<Filed>) {
    let fleet = Fleet::of(options);
    let filed = reports(&fleet);
    (fleet, filed)
}

#[test]
fn the_same_options_give_the_same_bytes_and_another_seed_others() {
    let options = small();
    let (one, again) = (files(&options), files(&options));
    assert!(one == again);
    let other = files(&Options { seed: 2, ..options });
    assert!(one[4].1 != other[4].1, "reports of another seed");
    assert_eq!(one[0], other[0], "people are the same in every fleet");
}

#[test]
fn one_more_option_does_not_move_what_happened() {
    let bare = Fleet::of(&small().bare());
    let late = Fleet::of(&Options { late: 0.5, missing: 0.5, round_times: 0.9, gaps: 2.0, ..small().bare() });
    assert!(bare.pairs.iter().zip(&late.pairs).all(|(a, b)| a.happened == b.happened));
}

#[tokio::test]
async fn the_files_go_through_import_and_the_book_is_clean() {
    let options = small();
    let files: BTreeMap<_, _> = files(&options).into_iter().collect();
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("book.db");
    let clock = Clock::standing_at(crate::base::Zone::utc().start_of(options.ends().plus(45)));
    let book =
        NewBook { railway: "Simford".into(), mark: "SIM".into(), time_zone: "Etc/UTC".into(), demo: false };
    begin::create(&path, &book, &clock).await.unwrap();
    let desk = Desk::open(&path, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap();
    for (list, name, rows) in [
        (List::People, "people.csv", 62),
        (List::Schedules, "schedules.csv", 3),
        (List::Units, "units.csv", 24),
        (List::Authorisations, "authorisations.csv", 1),
    ] {
        let done =
            import::list(&desk, list, files[name].as_bytes(), Some(options.starts), None).await.unwrap();
        assert!(done.rejects.is_empty(), "{name}: {:?}", done.rejects[0].reason);
        assert_eq!(done.kept.new, rows, "{name}");
    }
    let filer = Filer { by: None, channel: Channel::Import };
    for line in files["reports.jsonl"].lines() {
        let act = FileReport::read(line.as_bytes(), &filer, &desk.world(), desk.clock().now()).unwrap();
        let receipt = desk.act(act).await.unwrap();
        assert!(receipt.is_new && receipt.warnings.is_empty(), "{:?}: {line}", receipt.warnings);
    }
    desk.close().await;
    assert!(matches!(verify::verify(&path).await.unwrap(), Verdict::Clean { .. }));
}

/// What the reports hold, by unit and device, is what the truth says they hold.
#[test]
fn the_truth_agrees_with_the_reports() {
    let (fleet, filed) = made(&small());
    let truth = truth(&fleet, &filed);
    let mut told: BTreeMap<(String, String), u64> = BTreeMap::new();
    for line in lines(&filed).lines() {
        let report: Value = serde_json::from_str(line).unwrap();
        for entry in report["entries"].as_array().unwrap() {
            let device = match entry["kind"].as_str().unwrap() {
                "ground_relay" => "ground_relay",
                "engine_start" => continue,
                _ => entry["device"].as_str().unwrap(),
            };
            *told.entry((report["unit"].as_str().unwrap().into(), device.into())).or_default() += 1;
        }
    }
    let (mut happened, mut lost) = (0, 0);
    for pair in truth["pairs"].as_array().unwrap() {
        let key = (pair["unit"].as_str().unwrap().to_owned(), pair["device"].as_str().unwrap().to_owned());
        let (all, in_reports) = (pair["happened"].as_u64().unwrap(), pair["in_reports"].as_u64().unwrap());
        assert_eq!(told.remove(&key).unwrap_or(0), in_reports, "{pair}");
        assert!(in_reports <= all, "{pair}");
        happened += all;
        lost += all - in_reports;
    }
    assert!(told.is_empty(), "{told:?}");
    assert!(happened > 1_000 && lost > 50 && lost < happened / 2, "{lost} of {happened}");
    for (name, least) in [
        ("shared_causes", 10),
        ("nobody_wrote", 10),
        ("reports_lost", 10),
        ("reports_late", 10),
        ("times_rounded", 100),
        ("wet_units", 3),
        ("weak_batteries", 1),
    ] {
        let many = truth[name].as_array().unwrap().len();
        assert!(many >= least, "{many} {name}");
    }
}

#[test]
fn nobody_writes_while_nobody_writes_and_late_is_late() {
    let (fleet, filed) = made(&small());
    let start = crate::base::Zone::utc().start_of(fleet.options.starts);
    for one in &filed {
        let ended = one.report.run.as_ref().unwrap().ended.unwrap().at;
        for (from, until) in &fleet.units[one.unit].silent {
            let within = filing::moment(start, *from) <= ended && ended < filing::moment(start, *until);
            assert!(!within, "{} was written in a gap", one.report.id);
        }
        match one.arrives {
            Arrives::Late(at) => assert!(at.hours_since(one.report.signed_at.at) >= 47.9),
            Arrives::InTime(at) => assert!(at.hours_since(one.report.signed_at.at) < 1.0),
            Arrives::Never => {}
        }
        for (entry, truly) in &one.rounded {
            let entry = one.report.entries.iter().find(|e| e.id == *entry).unwrap();
            assert_eq!(entry.when.at().0 % 900_000_000, 0);
            assert!(entry.when.at().since(*truly).abs() <= 450_000_000);
        }
    }
}

/// Over many pairs: as many occurrences as the rates promise, and after a jump that many times more.
#[test]
fn rates_and_jumps_are_what_they_say() {
    let options = Options { units: 200, bad_share: 0.5, jump: 4.0, ..USUAL }.bare();
    let fleet = Fleet::of(&options);
    let (mut expected, mut seen) = ([0.0; 2], [0_u32; 2]);
    for pair in &fleet.pairs {
        let from = pair.jump.map_or(options.days(), |jump| jump.day);
        expected[0] += pair.class_rate * from;
        expected[1] += 4.0 * pair.class_rate * (options.days() - from);
        let before = pair.happened.partition_point(|day| *day < from);
        seen[0] += u32::try_from(before).unwrap();
        seen[1] += u32::try_from(pair.happened.len() - before).unwrap();
    }
    for (expected, seen) in expected.into_iter().zip(seen) {
        let z = (f64::from(seen) - expected) / expected.sqrt();
        assert!(expected > 4_000.0 && z.abs() < 4.0, "{seen} for {expected}");
    }
    let gaps = fleet.kinds.iter().map(|kind| 1.0 / kind.rate);
    assert!(gaps.clone().all(|gap| (90.0..=1_500.0).contains(&gap)));
}

#[test]
fn a_unit_is_never_silent_for_long_unless_it_says_so() {
    let (_, filed) = made(&Options { units: 30, ..USUAL }.bare());
    let mut days: BTreeMap<usize, Vec<Day>> = BTreeMap::new();
    for one in &filed {
        let day = crate::base::Zone::utc().day_of(one.report.signed_at.at);
        days.entry(one.unit).or_default().push(day);
    }
    for (unit, mut days) in days {
        days.sort();
        let (first, last) = (days[0], days[days.len() - 1]);
        assert!(first.0 - USUAL.starts.0 <= 13 && USUAL.ends().0 - last.0 <= 14, "unit {unit}");
        assert!(days.windows(2).all(|two| two[1].0 - two[0].0 <= 13), "unit {unit}");
    }
}
