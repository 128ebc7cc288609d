//! Which dossiers an entry belongs to, and what of it the rules see.
use std::collections::BTreeSet;

use super::{
    dossier::Subject,
    fact::{BypassFact, Fact, FuseFact, Hand, PositionFact, ResetFact, Told},
    running::keeps_on,
};
use crate::{
    base::{EntryId, Instant, ReportId, SignIn, Tag},
    reports::{
        Entry, Report, What,
        entry::{DeviceRef, Seal, Who},
        kinds::{Bypass, Fuse, Position, Reset},
        vocabulary::{AtHow, RunPosition, Signs, Throttle, YesNo},
    },
    roster::Schedule,
};

/// What a fact takes over from its report, and from the page that holds this version of the entry.
#[derive(Clone, Debug)]
pub struct Source {
    pub report: ReportId,
    pub seq: u64,
    pub author: SignIn,
    pub recorded_at: Instant,
    /// When the run began.
    pub run: Option<Instant>,
    pub position: Option<RunPosition>,
}

impl Source {
    pub fn of(report: &Report, seq: u64, recorded_at: Instant) -> Self {
        Self {
            report: report.id,
            seq,
            author: report.author.clone(),
            recorded_at,
            run: report.run_began(),
            position: report.position,
        }
    }
}

/// The facts one entry gives, each with whose dossier it goes to. `schedule`: the one in force at the entry's
/// time; `None` for a unit off the roster.
///
/// What might be about a cutout goes to ground protection even where no schedule says so: an entry may yet
/// name the same tag as one.
pub fn route(source: &Source, entry: &Entry, schedule: Option<&Schedule>) -> Vec<(Subject, Fact)> {
    let fact = fact(source, entry);
    subjects(entry, schedule).into_iter().map(|subject| (subject, fact.clone())).collect()
}

/// The dossiers an entry belongs to.
pub fn subjects(entry: &Entry, schedule: Option<&Schedule>) -> Vec<Subject> {
    let mut subjects = Vec::with_capacity(2);
    let device = entry.what.device().map(tag_of);
    match &entry.what {
        What::GroundRelay(_) => {
            subjects.push(Subject::Device(Tag::GROUND_RELAY.into()));
            subjects.push(Subject::GroundProtection);
        }
        What::EngineStart(_) => {
            subjects.push(Subject::Device(Tag::ENGINE_START.into()));
            subjects.push(Subject::Unit);
        }
        What::Shutdown(_) | What::Defect(_) => subjects.push(Subject::Unit),
        What::BreakerTrip(_) | What::FuseCheck(_) | What::Bypass(_) | What::Position(_) => {
            subjects.extend(device.clone().map(Subject::Device));
        }
    }
    if let Some(tag) = &device {
        of_position(&entry.what, schedule, tag, &mut subjects);
    }
    let alarming = matches!(entry.signs, Some(Signs::Smoke | Signs::Arcing));
    if alarming && !subjects.contains(&Subject::GroundProtection) {
        subjects.push(Subject::GroundProtection);
    }
    subjects
}

/// The dossiers an entry can belong to by any schedule, each once.
pub fn any_subjects(entry: &Entry) -> BTreeSet<Subject> {
    subjects(entry, None).into_iter().chain([Subject::GroundProtection, Subject::Unit]).collect()
}

fn of_position(what: &What, schedule: Option<&Schedule>, tag: &Tag, subjects: &mut Vec<Subject>) {
    let listed = schedule.and_then(|s| s.device(tag));
    let cutout = listed.is_none_or(|d| d.ground_protection);
    match what {
        What::Bypass(_) => subjects.push(Subject::GroundProtection),
        What::Position(_) if cutout => subjects.push(Subject::GroundProtection),
        What::BreakerTrip(_) if listed.is_some() && cutout => subjects.push(Subject::GroundProtection),
        _ => {}
    }
    if matches!(what, What::Position(_)) && schedule.is_some_and(|s| keeps_on(s, tag).is_some()) {
        subjects.push(Subject::Unit);
    }
}

/// A device known only by its plate counts under a tag made of the plate's words: it must not be lost.
pub fn tag_of(device: &DeviceRef) -> Tag {
    match device {
        DeviceRef::Tag(tag) => tag.clone(),
        DeviceRef::NotListed(legend) => {
            let words: Vec<&str> = legend.split_whitespace().collect();
            Tag::from(format!("not listed: {}", words.join(" ").to_uppercase()))
        }
    }
}

fn fact(source: &Source, entry: &Entry) -> Fact {
    Fact {
        entry: entry.id,
        report: source.report,
        seq: source.seq,
        at: entry.when.at(),
        at_how: entry.at_how,
        found: entry.when.is_found(),
        author: source.author.clone(),
        recorded_at: source.recorded_at,
        run: source.run,
        position: source.position,
        signs: entry.signs,
        engine: match entry.throttle {
            Some(Throttle::EngineOff) => YesNo::No,
            Some(Throttle::NotKnown) | None => YesNo::NotKnown,
            Some(_) => YesNo::Yes,
        },
        withdrawn: None,
        told: told(&entry.what),
    }
}

fn told(what: &What) -> Told {
    match what {
        What::BreakerTrip(t) => Told::Trip {
            device: tag_of(&t.device),
            resets: t.resets.iter().map(reset).collect(),
            left: t.left,
        },
        What::GroundRelay(g) => Told::Ground {
            operations: g.operations.unwrap_or(1),
            last_at: g.last_at.map(|s| s.at),
            mode: g.mode,
            reset: g.reset,
            after: g.after,
        },
        What::Bypass(b) => Told::Bypass(Box::new(bypass(b))),
        What::FuseCheck(f) => Told::Fuse {
            device: tag_of(&f.device),
            result: f.result,
            fitted: f.fitted.as_ref().map(fuse),
            replaced_by: f.replaced_by.as_ref().map(fuse),
            basis: f.basis,
        },
        What::EngineStart(s) => Told::Start {
            outcome: s.outcome,
            attempt: s.attempt,
            motors: s.motors,
            battery_cranking_v: s.battery_cranking_v,
            test_cock: s.test_cock_result,
        },
        What::Shutdown(s) => Told::Shutdown { cause: s.cause, warning_notice: s.warning_notice.clone() },
        What::Defect(d) => Told::Defect {
            system: d.system.clone(),
            text: d.text.clone(),
            may_go_on: d.may_go_on,
            restriction: d.restriction.clone(),
            warning_notice: d.warning_notice.clone(),
        },
        What::Position(p) => Told::Position(Box::new(position(p))),
    }
}

fn reset(r: &Reset) -> ResetFact {
    ResetFact { at: r.at.map(|s| s.at), basis: r.basis, result: r.result }
}

fn fuse(f: &Fuse) -> FuseFact {
    FuseFact { rating_a: f.rating_a, rating_v: f.rating_v, speed: f.speed, body: f.body.clone() }
}

fn hand(who: &Who) -> Hand {
    match who {
        Who::Person(sign_in) => Hand::Person(sign_in.clone()),
        Who::Named(name) => Hand::Named(name.clone()),
        Who::NotKnown => Hand::NotKnown,
    }
}

fn seal(seal: &Option<Seal>) -> Option<String> {
    seal.as_ref().map(|s| s.in_words().to_owned())
}

fn bypass(b: &Bypass) -> BypassFact {
    BypassFact {
        device: tag_of(&b.device),
        by: b.by.as_ref().map_or(Hand::NotKnown, hand),
        authorised_by: b.authorised_by.as_ref().map(hand),
        authorised_how: b.authorised_how.map(|how| how.as_str().to_owned()),
        authorised_at: b.authorised_at.map(|s| s.at),
        reference: b.reference.clone(),
        purpose: b.purpose,
        engine_running: b.engine_running.unwrap_or(YesNo::NotKnown),
        power_taken: b.power_taken.unwrap_or(YesNo::NotKnown),
        protection: b.protection,
        seal_found: seal(&b.seal_found),
        closed_at: b.closed_at.map(|s| s.at),
        closed_by: b.closed_by.as_ref().map(hand),
        seal_applied: seal(&b.seal_applied),
    }
}

fn position(p: &Position) -> PositionFact {
    PositionFact {
        device: tag_of(&p.device),
        seen: p.seen,
        moved_to: p.moved_to,
        by: p.by.as_ref().map_or(Hand::NotKnown, hand),
        why: p.why.clone(),
        reference: p.reference.clone(),
        seal: seal(&p.seal),
    }
}

/// An act of the shop as a fact: a repair closed goes to the dossiers of the devices it was about (or the
/// unit's), a release to the unit's and to ground protection. `act`: an id of the act's own.
pub fn shop_fact(
    act: EntryId,
    at: Instant,
    by: &SignIn,
    (seq, recorded_at): (u64, Instant),
    told: Told,
) -> Fact {
    Fact {
        entry: act,
        report: ReportId(act.0),
        seq,
        at,
        at_how: AtHow::Clock,
        found: false,
        author: by.clone(),
        recorded_at,
        run: None,
        position: None,
        signs: None,
        engine: YesNo::NotKnown,
        withdrawn: None,
        told,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        base::Stamp,
        reports::{
            When,
            kinds::{BreakerTrip, EngineStart, GroundRelay},
            vocabulary::{Left, Occasion, Outcome, Seen},
        },
        rules::sample::{Railway, at, device, entry},
    };

    fn report() -> Report {
        Report {
            id: ReportId(uuid::Uuid::nil()),
            unit: "QHB 412".into(),
            author: "n.okafor".into(),
            occasion: Occasion::Run,
            is_final: true,
            run: None,
            position: Some(RunPosition::Lead),
            consist: vec![],
            weather: None,
            remarks: None,
            entries: vec![],
            signed_at: Stamp::utc(at("2026-03-03T11:14:00Z")),
        }
    }

    fn written(what: What) -> Entry {
        Entry {
            id: entry(1),
            when: When::Found(Stamp::utc(at("2026-03-03T05:12:00Z"))),
            at_how: AtHow::Clock,
            place: None,
            throttle: Some(Throttle::Run8),
            speed_mph: None,
            load_a: None,
            load_klbf: None,
            weather: None,
            signs: None,
            what,
            note: None,
        }
    }

    fn moved(tag: &str) -> What {
        What::Position(Position {
            device: DeviceRef::Tag(tag.into()),
            seen: Seen::On,
            moved_to: Some(Seen::Off),
            by: None,
            why: None,
            reference: None,
            seal: None,
        })
    }

    fn trip(device: DeviceRef) -> What {
        What::BreakerTrip(BreakerTrip { device, resets: vec![], left: Left::Tripped })
    }

    fn goes_to(entry: &Entry, on_roster: bool) -> Vec<String> {
        let railway = Railway::with(vec![
            device("MAIN", |_| {}),
            device("TC2", |_| {}),
            device("TLP", |d| (d.keep_on_running, d.feed) = (true, Some("MAIN".into()))),
            device("GRC", |d| d.ground_protection = true),
        ]);
        let schedule = railway.roster.schedule_at(&"QHB 412".into(), entry.when.at()).filter(|_| on_roster);
        let source = Source::of(&report(), 4, at("2026-03-03T11:15:00Z"));
        let name = |(subject, fact): (Subject, Fact)| {
            assert!(fact.found && fact.engine == YesNo::Yes && fact.seq == 4);
            match subject {
                Subject::Device(tag) => tag.to_string(),
                Subject::GroundProtection => "(ground)".to_owned(),
                Subject::Unit => "(unit)".to_owned(),
                Subject::Together => "(together)".to_owned(),
            }
        };
        route(&source, entry, schedule).into_iter().map(name).collect()
    }

    #[test]
    fn where_entries_go() {
        let ground = What::GroundRelay(GroundRelay {
            device: Some(DeviceRef::Tag("GR1".into())),
            operations: None,
            last_at: None,
            mode: None,
            circuit: None,
            reset: None,
            after: None,
            motors_cut_out: vec![],
        });
        let start = What::EngineStart(EngineStart {
            attempt: None,
            after_long_shutdown: None,
            test_cock_result: None,
            motors: None,
            battery_rest_v: None,
            battery_cranking_v: None,
            main_reservoir_psi: None,
            outcome: Outcome::NoFire,
        });
        for (what, on_roster, want) in [
            (trip(DeviceRef::Tag("TC2".into())), true, vec!["TC2"]),
            (trip(DeviceRef::NotListed("cab  heater 2".into())), true, vec!["not listed: CAB HEATER 2"]),
            (ground, true, vec!["ground_relay", "(ground)"]),
            (start, true, vec!["engine_start", "(unit)"]),
            (moved("TC2"), true, vec!["TC2"]),
            (moved("TC2"), false, vec!["TC2", "(ground)"]),
            (moved("TLP"), true, vec!["TLP", "(unit)"]),
            (moved("MAIN"), true, vec!["MAIN", "(unit)"]),
            (moved("GRC"), true, vec!["GRC", "(ground)"]),
            (trip(DeviceRef::Tag("GRC".into())), true, vec!["GRC", "(ground)"]),
        ] {
            assert_eq!(goes_to(&written(what.clone()), on_roster), want, "{what:?}");
        }
        let smoke = Entry { signs: Some(Signs::Smoke), ..written(trip(DeviceRef::Tag("TC2".into()))) };
        assert_eq!(goes_to(&smoke, true), ["TC2", "(ground)"]);
    }
}
