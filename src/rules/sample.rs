//! Short ways to write facts down in tests.
use std::{
    collections::BTreeMap,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

use serde::de::DeserializeOwned;
use uuid::Uuid;

use super::{
    Beside, Dossier, DossierKey, Fact, Ground, Thresholds, Told,
    dossier::Subject,
    earlier::Earlier,
    fact::{BypassFact, Hand, On, PositionFact, ResetFact},
    figures::{ClassDays, ClassFigures, Derived, DeviceFigures},
    service_days::{DaySet, ServiceDays},
    weather::WeatherDays,
};
use crate::{
    base::{Day, EntryId, Instant, ReportId, Zone},
    people::{Authorisation, People, Person, Role, authorisation::Scope},
    reports::vocabulary::{AtHow, Basis, Left, YesNo},
    roster::{Class, Device, DeviceKind, Place, Roster, Schedule, UnitCard},
};

pub fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap_or_else(|| panic!("{text} is no time"))
}

pub fn word<T: DeserializeOwned>(word: &str) -> T {
    serde_json::from_value(word.into()).unwrap_or_else(|e| panic!("{word}: {e}"))
}

/// Entry ids in the order of writing, the same in every run of one test.
pub fn entry(n: u64) -> EntryId {
    EntryId(Uuid::from_u64_pair(0x0198_f3a2_6c1e_7d3a, n))
}

/// The same for reports.
pub fn report_id(n: u64) -> ReportId {
    ReportId(Uuid::from_u64_pair(1, n))
}

pub fn fact(when: &str, told: Told) -> Fact {
    static NEXT: AtomicU64 = AtomicU64::new(1);
    let n = NEXT.fetch_add(1, Ordering::Relaxed);
    Fact {
        entry: entry(n),
        report: report_id(n),
        seq: n,
        at: at(when),
        at_how: AtHow::Clock,
        found: false,
        author: "n.okafor".into(),
        recorded_at: at(when),
        run: None,
        position: None,
        signs: None,
        engine: YesNo::NotKnown,
        withdrawn: None,
        told,
    }
}

pub fn trip(when: &str, device: &str, left: Left) -> Fact {
    trip_with(when, device, vec![], left)
}

pub fn trip_with(when: &str, device: &str, resets: Vec<ResetFact>, left: Left) -> Fact {
    fact(when, Told::Trip { device: device.into(), resets, left })
}

pub fn reset(when: &str, result: &str) -> ResetFact {
    ResetFact { at: Some(at(when)), basis: Basis::LookedNoSign, result: Some(word(result)) }
}

pub fn position(when: &str, device: &str, seen: &str, moved_to: Option<&str>) -> Fact {
    fact(
        when,
        Told::Position(Box::new(PositionFact {
            device: device.into(),
            seen: word(seen),
            moved_to: moved_to.map(word),
            by: Hand::Person("n.okafor".into()),
            why: None,
            reference: None,
            seal: None,
        })),
    )
}

pub fn ground(when: &str, operations: u32) -> Fact {
    fact(when, Told::Ground { operations, last_at: None, mode: None, reset: None, after: None })
}

/// A first attempt with the electric motors.
pub fn start(when: &str, outcome: &str, volts: Option<f64>) -> Fact {
    let motors = Some(word("electric"));
    let outcome = word(outcome);
    let told = Told::Start { outcome, attempt: Some(1), motors, battery_cranking_v: volts, test_cock: None };
    fact(when, told)
}

pub fn repair(when: &str) -> Fact {
    fact(when, Told::RepairClosed { new_life: false, no_fault_found: false, from: None })
}

/// An operation of the unit itself, coupled to `with`, as report `report` tells it by the clock.
pub fn operated(when: &str, report: u64, device: &str, with: &[&str]) -> Fact {
    let on = On::Itself { with: with.iter().map(|unit| (*unit).into()).collect() };
    Fact { report: report_id(report), ..fact(when, Told::Operated { device: device.into(), on }) }
}

/// The same of another unit, whose report names this one.
pub fn operated_on(when: &str, report: u64, device: &str, unit: &str) -> Fact {
    let on = On::Other(unit.into());
    Fact { report: report_id(report), ..fact(when, Told::Operated { device: device.into(), on }) }
}

/// An opening by `a.lind`, ordered by nobody, for an insulation test with the engine shut down.
pub fn bypass(when: &str, device: &str, change: impl FnOnce(&mut BypassFact)) -> Fact {
    let mut told = BypassFact {
        device: device.into(),
        by: Hand::Person("a.lind".into()),
        authorised_by: None,
        authorised_how: None,
        authorised_at: None,
        reference: None,
        purpose: Some(word("insulation_test")),
        engine_running: YesNo::No,
        power_taken: YesNo::No,
        protection: Some(word("lock")),
        seal_found: None,
        closed_at: None,
        closed_by: None,
        seal_applied: None,
    };
    change(&mut told);
    fact(when, Told::Bypass(Box::new(told)))
}

pub fn device(tag: &str, change: impl FnOnce(&mut Device)) -> Device {
    let mut device = Device {
        tag: tag.into(),
        legend: format!("{tag} LEGEND"),
        kind: DeviceKind::Breaker,
        place: Place::OnPanel { panel: "P1".into(), row: 1, column: 1 },
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
        restricts_off: vec![],
        ground_protection: false,
        safety_device: false,
        severity: None,
    };
    change(&mut device);
    device
}

pub fn new_life(when: &str) -> Fact {
    fact(when, Told::RepairClosed { new_life: true, no_fault_found: false, from: None })
}

/// A trip of TC2 at noon UTC of each day.
pub fn trips(days: &[&str]) -> Vec<Fact> {
    days.iter().map(|day| trip(&format!("{day}T12:00:00Z"), "TC2", Left::On)).collect()
}

/// A railway whose sister units average one operation of TC2 in so many service days, 40 of theirs known.
pub fn with_gap(gap: i64) -> Railway {
    let mut railway = Railway::with(vec![device("TC2", |_| {})]);
    let occurrences = BTreeMap::from([("QHB 401".into(), 20), ("QHB 402".into(), 20)]);
    let devices = vec![DeviceFigures {
        class: "C1".into(),
        device: "TC2".into(),
        legend: "TC2 LEGEND".into(),
        occurrences,
        total: 40,
    }];
    railway.figures = Some(ClassFigures {
        as_of: at("2026-02-01T00:00:00Z"),
        up_to_seq: 1,
        devices,
        unit_days: [("QHB 401".into(), 365), ("QHB 402".into(), 365)].into(),
        class_days: [("C1".into(), ClassDays { days: 40 * gap, units: 20, squares: 80 * gap * gap })].into(),
        repairs: 0,
        cranking: Vec::new(),
        monthly: None,
        derived: Derived::default(),
    });
    railway
}

/// A railway of one class `C1` with units `QHB 401` to `QHB 420`.
pub struct Railway {
    pub roster: Roster,
    pub people: People,
    pub zone: Zone,
    pub figures: Option<ClassFigures>,
    pub days: ServiceDays,
    pub weather: WeatherDays,
    pub thresholds: Thresholds,
}

impl Railway {
    pub fn with(devices: Vec<Device>) -> Self {
        let schedule = Schedule {
            class: "C1".into(),
            effective: at("2020-01-01T00:00:00Z"),
            start: Default::default(),
            panels: vec![],
            devices,
            checks: vec![],
        };
        let mut roster = Roster::default();
        let class = Class { name: "C1".into(), schedules: vec![Arc::new(schedule)] };
        roster.classes.insert("C1".into(), Arc::new(class));
        for n in 401..=420 {
            let unit = crate::base::UnitName::from(format!("QHB {n}"));
            let card = UnitCard {
                unit: unit.clone(),
                class: "C1".into(),
                in_service: Day(0),
                retired: None,
                home_shop: None,
            };
            roster.units.insert(unit, Arc::new(card));
        }
        let reports: DaySet = (19_000..20_550).map(Day).collect();
        let zone = Zone::named("America/Chicago").unwrap();
        let days = ServiceDays::of(roster.unit(&"QHB 412".into()), &reports, &[], &zone);
        Self {
            roster,
            people: People::default(),
            zone,
            figures: None,
            days,
            weather: WeatherDays::default(),
            thresholds: Thresholds::default(),
        }
    }

    /// The same occurrences spread so evenly over the units that the class counts as two.
    pub fn even(&mut self) {
        let Some(figures) = &mut self.figures else { return };
        let units: Vec<_> = (401..=440).map(|n| crate::base::UnitName::from(format!("QHB {n}"))).collect();
        let days = figures.class_days.values().map(|c| c.days).sum::<i64>() / 40;
        figures.unit_days = units.iter().map(|unit| (unit.clone(), days)).collect();
        figures.devices[0].occurrences = units.into_iter().map(|unit| (unit, 1)).collect();
        figures.class_days.values_mut().for_each(|c| c.units = 40);
    }

    pub fn ground(&self) -> Ground<'_> {
        Ground {
            roster: &self.roster,
            people: &self.people,
            zone: &self.zone,
            figures: self.figures.as_ref(),
            thresholds: &self.thresholds,
        }
    }

    pub fn employ(&mut self, sign_in: &str, role: Role) {
        let person = Person {
            sign_in: sign_in.into(),
            role,
            added_at: Instant(0),
            active: true,
            last: Default::default(),
        };
        self.people.persons.insert(sign_in.into(), Arc::new(person));
    }

    pub fn authorise(&mut self, person: &str, from: &str, to: Option<&str>) -> &mut Authorisation {
        let grant = Authorisation {
            seq: 7,
            person: person.into(),
            scope: Scope::All,
            from: Day::parse(from).unwrap(),
            to: to.and_then(Day::parse),
            basis: None,
            granted_by: "m.ruiz".into(),
            proposed_by: None,
            recorded_at: at("2020-01-01T00:00:00Z"),
            from_list: false,
            revoked_at: None,
            revoked: None,
        };
        self.people.authorisations.push(Arc::new(grant));
        Arc::get_mut(self.people.authorisations.last_mut().unwrap()).unwrap()
    }

    pub fn judge(&self, subject: Subject, facts: Vec<Fact>) -> crate::rules::Judgement {
        self.judge_with(subject, facts, &[])
    }

    /// A device whose part came from another unit.
    pub fn judge_after(
        &self,
        tag: &str,
        facts: Vec<Fact>,
        earlier: &[Earlier],
    ) -> Vec<crate::rules::Finding> {
        self.judge_beside(Subject::Device(tag.into()), facts, &[], earlier).findings
    }

    pub fn judge_with(
        &self,
        subject: Subject,
        facts: Vec<Fact>,
        runs: &[crate::rules::fact::RunFact],
    ) -> crate::rules::Judgement {
        self.judge_beside(subject, facts, runs, &[])
    }

    fn judge_beside(
        &self,
        subject: Subject,
        facts: Vec<Fact>,
        runs: &[crate::rules::fact::RunFact],
        earlier: &[Earlier],
    ) -> crate::rules::Judgement {
        let key = DossierKey { unit: "QHB 412".into(), subject };
        crate::rules::judge(
            &key,
            &Dossier::of(facts),
            Beside { days: &self.days, weather: &self.weather, runs, earlier },
            &self.ground(),
        )
    }

    pub fn judge_device(&self, tag: &str, facts: Vec<Fact>) -> Vec<crate::rules::Finding> {
        self.judge(Subject::Device(tag.into()), facts).findings
    }
}
