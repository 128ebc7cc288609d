//! The year as the contract and the rules see it.
use std::{collections::BTreeMap, sync::Arc};

use serde_json::Value;

use super::{fleet::rows, *};
use crate::{
    base::{UnitName, instant::DAY, zone::Day},
    desk::body::HoldReason,
    reports::{json, kinds::What, reading, report::Report},
    roster::{Class, Roster, Schedule, UnitCard},
    rules::{
        Dossier, DossierKey, Fact, Finding, Ground, Rule, Told,
        dossier::Subject,
        figures::{Taken, figures_from, in_outline},
        judge::{Beside, judge},
        sample::fact,
        service_days::{DaySet, Held, ServiceDays},
    },
};

fn read(report: &Value) -> Report {
    let text = report.to_string();
    let tree = json::parse(text.as_bytes()).unwrap_or_else(|why| panic!("{}: {text}", why.says()));
    let (report, problems) = reading::read_report(&tree).unwrap_or_else(|why| panic!("{why:?}: {text}"));
    assert_eq!(problems.warnings, [], "{text}");
    report
}

fn ends() -> Instant {
    Instant::parse("2026-07-14T09:20:00-05:00").unwrap()
}

fn year(seed: u64, ends: Instant) -> Vec<Event> {
    history(seed, ends, &Zone::named(ZONE).unwrap())
}

#[test]
fn the_contract_takes_every_report_and_amendment() {
    for event in year(SEED, ends()) {
        match &event.act {
            Act::Report(report) => {
                let read = read(report);
                assert!(read.entries.iter().all(|entry| entry.when.at() <= read.signed_at.at));
                if let Some(run) = &read.run {
                    let within = |at: Instant| {
                        run.started.is_some_and(|s| s.at <= at)
                            && run.ended.is_none_or(|ended| at <= ended.at)
                    };
                    assert!(read.entries.iter().all(|entry| within(entry.when.at())), "{report}");
                }
            }
            Act::Amended(amendment) => {
                let text = amendment.to_string();
                let tree = json::parse(text.as_bytes()).unwrap();
                let (_, problems) =
                    reading::read_amendment(&tree).unwrap_or_else(|why| panic!("{why:?}: {text}"));
                assert_eq!(problems.warnings, []);
            }
            _ => {}
        }
    }
}

/// Units and classes, as much of them as burst looks at.
fn roster() -> Roster {
    #[derive(serde::Deserialize)]
    struct Row {
        unit: String,
        class: String,
        in_service: String,
    }
    let mut roster = Roster::default();
    for row in rows::<Row>(UNITS) {
        let (unit, class) = (UnitName::from(row.unit), crate::base::ClassName::from(row.class));
        let in_service = Day::parse(&row.in_service).unwrap();
        let card =
            UnitCard { unit: unit.clone(), class: class.clone(), in_service, retired: None, home_shop: None };
        roster.units.insert(unit, Arc::new(card));
        let schedule = Schedule {
            class: class.clone(),
            effective: Instant(0),
            start: Default::default(),
            panels: vec![],
            devices: vec![],
            checks: vec![],
        };
        let class_of = Class { name: class.clone(), schedules: vec![Arc::new(schedule)] };
        roster.classes.entry(class).or_insert_with(|| Arc::new(class_of));
    }
    roster
}

#[derive(Default)]
struct Known {
    dossiers: BTreeMap<DossierKey, Vec<Fact>>,
    reports: BTreeMap<UnitName, DaySet>,
    holds: BTreeMap<UnitName, Vec<Held>>,
    figures: Option<Instant>,
}

impl Known {
    fn add(&mut self, unit: &str, device: &str, at: Instant, told: Told) {
        let key = DossierKey { unit: unit.into(), subject: Subject::Device(device.into()) };
        self.dossiers.entry(key).or_default().push(fact(&at.to_z(), told));
    }

    fn of(events: &[Event], zone: &Zone) -> Self {
        let mut all = Self::default();
        for event in events {
            match &event.act {
                Act::Report(report) => all.report(&read(report), zone),
                Act::RepairClosed { unit, device: Some(device), at, new_life, .. } => {
                    all.add(
                        unit,
                        device,
                        *at,
                        Told::RepairClosed { new_life: *new_life, no_fault_found: false, from: None },
                    );
                }
                Act::Held { unit, at, reason, .. } => {
                    all.holds.entry(unit.as_str().into()).or_default().push(Held {
                        from: *at,
                        until: None,
                        off_clock: HoldReason::parse(reason).is_some_and(HoldReason::leaves_the_clock),
                    });
                }
                Act::Released { unit, at, .. } => {
                    let last = all.holds.get_mut(unit.as_str()).and_then(|holds| holds.last_mut());
                    last.expect("released what was held").until = Some(*at);
                }
                Act::ClassFigures { as_of } => all.figures = Some(*as_of),
                _ => {}
            }
        }
        all
    }

    fn report(&mut self, report: &Report, zone: &Zone) {
        self.reports.entry(report.unit.clone()).or_default().insert(zone.day_of(report.signed_at.at));
        for entry in &report.entries {
            if let What::BreakerTrip(trip) = &entry.what {
                let device = trip.device.tag().unwrap();
                let told = Told::Trip { device: device.clone(), resets: vec![], left: trip.left };
                self.add(report.unit.as_str(), device.as_str(), entry.when.at(), told);
            }
        }
    }

    /// Bursts of all devices, under the figures last taken.
    fn bursts(self, roster: &Roster, zone: &Zone) -> Vec<Finding> {
        let days = |unit: &UnitName| {
            let holds = self.holds.get(unit).map_or(&[][..], Vec::as_slice);
            ServiceDays::of(roster.unit(unit), &self.reports[unit], holds, zone)
        };
        let clocks: BTreeMap<UnitName, ServiceDays> =
            roster.units.keys().map(|u| (u.clone(), days(u))).collect();
        let dossiers: BTreeMap<DossierKey, Dossier> =
            self.dossiers.into_iter().map(|(key, facts)| (key, Dossier::of(facts))).collect();
        let (people, thresholds, weather) = Default::default();
        let before = Ground { roster, people: &people, zone, figures: None, thresholds: &thresholds };
        let (pairs, cranked) = in_outline(&dossiers);
        let taken = Taken { as_of: self.figures.unwrap(), up_to_seq: u64::MAX, ground: &before };
        let figures = figures_from(&taken, &clocks, &pairs, &cranked);
        let ground =
            Ground { roster, people: &people, zone, figures: Some(&figures), thresholds: &thresholds };
        let judged = dossiers.iter().map(|(key, dossier)| {
            judge(
                key,
                dossier,
                Beside { days: &clocks[&key.unit], weather: &weather, runs: &[], earlier: &[] },
                &ground,
            )
        });
        judged.flat_map(|judged| judged.findings).filter(|finding| finding.rule == Rule::Burst).collect()
    }
}

/// Whenever the demo is tried, the repeat trip is on the board, and next to nothing else of its kind.
#[test]
fn the_repeat_trip_is_a_burst_on_any_day() {
    let (zone, roster) = (Zone::named(ZONE).unwrap(), roster());
    for days in [0, 17, 95, 188, 260] {
        let ends = ends().plus(days * DAY);
        let bursts = Known::of(&year(SEED, ends), &zone).bursts(&roster, &zone);
        let open: Vec<&Finding> = bursts.iter().filter(|finding| finding.open_at(ends)).collect();
        for finding in &open {
            println!("{ends} {} {:?} {}", finding.key, finding.rank, finding.sentence);
        }
        assert!(open.iter().any(|f| f.key.starts_with("burst:QHB 412:TC2")), "{ends}: {open:#?}");
        assert!(open.len() <= 5, "{ends}: {open:#?}");
    }
}
