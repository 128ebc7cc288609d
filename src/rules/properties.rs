//! What must hold for any facts at all.
mod put_away;

use std::collections::BTreeMap;

use proptest::{prelude::*, sample::select};

use super::{
    Beside, Dossier, DossierKey, Fact, Judgement, Told,
    dossier::Subject,
    fact::{FuseFact, Hand, On, ResetFact, RunFact, Withdrawn},
    figures::{ClassDays, ClassFigures, Cranking, DeviceFigures},
    judge,
    sample::{Railway, at, bypass, device, entry, fact, position, start, trip_with, word},
    service_days::{DaySet, ServiceDays},
};
use crate::{
    base::{
        Day, Instant, ReportId, Tag,
        instant::{DAY, MINUTE},
    },
    reports::vocabulary::{
        After, Basis, FuseResult, GroundReset, Left, MayGoOn, Mode, Outcome, Purpose, ResetResult,
        RunPosition, ShutdownCause, Signs, YesNo,
    },
};

pub(super) const BEGIN: &str = "2026-01-01T00:00:00Z";

fn any_told() -> impl Strategy<Value = Told> {
    let reset = (0..4_000_i64, select(Basis::ALL), proptest::option::of(select(ResetResult::ALL)));
    let resets = proptest::collection::vec(reset, 0..3);
    let fuse = || proptest::option::of((1..4_u8).prop_map(|n| fuse_of(f64::from(n) * 30.0)));
    let bypass_parts = (
        0..3_u8,
        proptest::option::of(0..600_i64),
        select(Purpose::ALL),
        select(YesNo::ALL),
        proptest::option::of(select(vec!["20417", "20418", "broken", "none"])),
    );
    let seen = || select(vec!["on", "off", "tripped", "open", "closed", "not_looked"]);
    prop_oneof![
        (resets, select(Left::ALL)).prop_map(|(resets, left)| trip_told(resets, left)),
        (0..5_u32, select(GroundReset::ALL)).prop_map(|(operations, reset)| Told::Ground {
            operations,
            last_at: Some(at(BEGIN).plus(30 * DAY)),
            mode: Some(Mode::Motoring),
            reset: Some(reset),
            after: Some(After::LoadsAgain),
        }),
        bypass_parts.prop_map(bypass_told),
        (select(FuseResult::ALL), fuse(), fuse()).prop_map(|(result, fitted, replaced_by)| Told::Fuse {
            device: "D1".into(),
            result,
            fitted,
            replaced_by,
            basis: None,
        }),
        (select(Outcome::ALL), 40..70_u8).prop_map(|(outcome, volts)| Told::Start {
            outcome,
            attempt: None,
            motors: Some(word("electric")),
            battery_cranking_v: Some(f64::from(volts)),
            test_cock: None,
        }),
        select(ShutdownCause::ALL)
            .prop_map(|cause| Told::Shutdown { cause: Some(cause), warning_notice: None }),
        select(MayGoOn::ALL).prop_map(|go| Told::Defect {
            system: None,
            text: Some("x".into()),
            may_go_on: Some(go),
            restriction: None,
            warning_notice: None,
        }),
        (seen(), proptest::option::of(seen())).prop_map(|(seen, to)| position(BEGIN, "D1", seen, to).told),
        any::<(bool, bool)>().prop_map(|(new_life, no_fault_found)| Told::RepairClosed {
            new_life,
            no_fault_found,
            from: None
        }),
        Just(Told::Released),
        Just(Told::StartRepaired),
        Just(Told::RepairAnswered { entries: vec![] }),
        (any::<bool>(), select(vec!["D1", "D2", "D3"])).prop_map(|(here, device)| Told::Operated {
            device: device.into(),
            on: if here { On::Itself { with: vec!["QHB 405".into()] } } else { On::Other("QHB 405".into()) },
        }),
        proptest::option::of(select(vec!["D1", "D2"]))
            .prop_map(|device| Told::Mended { device: device.map(Into::into) }),
    ]
}

fn fuse_of(rating: f64) -> FuseFact {
    FuseFact {
        rating_a: Some(rating),
        rating_v: Some(250.0),
        speed: Some(word("slow")),
        body: Some("B".into()),
    }
}

fn trip_told(resets: Vec<(i64, Basis, Option<ResetResult>)>, left: Left) -> Told {
    let after = |m: i64| Some(at(BEGIN).plus(m * 10 * MINUTE));
    let resets = resets.into_iter().map(|(m, basis, result)| ResetFact { at: after(m), basis, result });
    trip_with(BEGIN, "D1", resets.collect(), left).told
}

fn bypass_told(parts: (u8, Option<i64>, Purpose, YesNo, Option<&str>)) -> Told {
    let (by, closed, purpose, running, seal) = parts;
    bypass(BEGIN, "D1", |b| {
        b.by = [Hand::NotKnown, Hand::Person("a.lind".into()), Hand::Person("b.sato".into())]
            [usize::from(by)]
        .clone();
        b.closed_at = closed.map(|m| at(BEGIN).plus(m * 100 * MINUTE));
        b.purpose = Some(purpose);
        b.engine_running = running;
        b.seal_found = seal.map(str::to_owned);
    })
    .told
}

prop_compose! {
    fn any_fact()(
        told in any_told(), minutes in 0..5_000_i64, found in any::<bool>(), run in proptest::option::of(0..3_i64),
        position in proptest::option::of(select(RunPosition::ALL)), signs in proptest::option::of(select(Signs::ALL)),
        engine in select(YesNo::ALL), withdrawn in 0..8_u8, author in select(vec!["a.lind", "c.rey"]),
    ) -> Fact {
        let when = at(BEGIN).plus(minutes * 10 * MINUTE);
        let withdrawn = (withdrawn == 0).then(|| Withdrawn { seq: 99, by: author.into(), at: when.plus(DAY), reason: "r".into() });
        Fact {
            at: when, found, author: author.into(), position, signs, engine, withdrawn,
            run: run.map(|r| at(BEGIN).plus(r * 10 * DAY)), ..fact(BEGIN, told)
        }
    }
}

/// Facts with ids of their own, some of them sharing an entry as versions do.
fn any_facts() -> impl Strategy<Value = Vec<Fact>> {
    proptest::collection::vec(any_fact(), 0..25).prop_map(|mut facts| {
        for (i, fact) in facts.iter_mut().enumerate() {
            let n = i as u64;
            (fact.entry, fact.seq) =
                (entry(if fact.withdrawn.is_some() { n.saturating_sub(1) } else { n }), n);
            fact.report = ReportId(uuid::Uuid::from_u64_pair(3, n));
        }
        facts
    })
}

fn any_subject() -> impl Strategy<Value = Subject> {
    prop_oneof![
        Just(Subject::Device("D1".into())),
        Just(Subject::Device(Tag::GROUND_RELAY.into())),
        Just(Subject::Device(Tag::ENGINE_START.into())),
        Just(Subject::GroundProtection),
        Just(Subject::Unit),
        Just(Subject::Together),
    ]
}

/// `D1` is everything at once, on a railway where one in 30 days is normal.
pub(super) fn railway() -> Railway {
    railway_where(false)
}

fn railway_where(d1_is_a_cutout: bool) -> Railway {
    let mut railway = Railway::with(vec![device("D1", |d| {
        (d.keep_on_running, d.ground_protection) = (true, d1_is_a_cutout);
        (d.rating_a, d.rating_v) = (Some(60.0), Some(250.0));
        (d.speed, d.body) = (Some(word("slow")), Some("B".into()));
        d.crew_resets.times = Some(1);
    })]);
    railway.authorise("a.lind", "2026-01-10", None);
    let devices = ["D1", Tag::ENGINE_START, Tag::GROUND_RELAY].map(|tag| DeviceFigures {
        class: "C1".into(),
        device: tag.into(),
        legend: tag.into(),
        occurrences: BTreeMap::from([("QHB 401".into(), 40)]),
        total: 40,
    });
    railway.figures = Some(ClassFigures {
        as_of: at(BEGIN),
        up_to_seq: 1,
        devices: devices.into(),
        unit_days: BTreeMap::new(),
        class_days: [("C1".into(), ClassDays { days: 1_200, units: 4, squares: 0 })].into(),
        repairs: 0,
        cranking: (0..20).map(|n| cranking_row(at(BEGIN).plus(n * 14 * DAY))).collect(),
        monthly: None,
        derived: Default::default(),
    });
    let class = railway.roster.classes.get_mut("C1").and_then(std::sync::Arc::get_mut).unwrap();
    let schedule = std::sync::Arc::get_mut(&mut class.schedules[0]).unwrap();
    schedule.start.cranking_min_v = Some(48.0);
    railway
}

fn cranking_row(when: Instant) -> Cranking {
    Cranking { class: "C1".into(), fortnight: super::cranking::fortnight(when), volts: 52.0, units: 9 }
}

fn runs() -> Vec<RunFact> {
    let run = |days: i64| RunFact {
        report: ReportId(uuid::Uuid::from_u64_pair(4, days.unsigned_abs())),
        unit: "QHB 412".into(),
        author: "c.rey".into(),
        started: at(BEGIN).plus(days * DAY),
        ended: Some(at(BEGIN).plus(days * DAY + 300 * MINUTE)),
        symbol: None,
        moved: days % 2 == 0,
        position: None,
    };
    (0..30).step_by(3).map(run).collect()
}

pub(super) fn judged(
    railway: &Railway,
    subject: &Subject,
    dossier: &Dossier,
    days: &ServiceDays,
    runs: &[RunFact],
) -> Judgement {
    let key = DossierKey { unit: "QHB 412".into(), subject: subject.clone() };
    judge(&key, dossier, Beside { days, weather: &railway.weather, runs, earlier: &[] }, &railway.ground())
}

pub(super) fn days_of(reports: &DaySet, railway: &Railway) -> ServiceDays {
    ServiceDays::of(railway.roster.unit(&"QHB 412".into()), reports, &[], &railway.zone)
}

proptest! {
    // No files of failing cases beside the sources: a failure prints its least case.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_arrival_leaves_no_trace(facts in any_facts(), subject in any_subject(), seed in any::<u64>()) {
        let railway = railway();
        let whole = Dossier::of(facts.clone());
        let mut shuffled: Vec<Fact> = facts;
        shuffled.sort_by_key(|f| f.seq.wrapping_mul(seed | 1).rotate_left(17));
        let mut grown = Dossier::default();
        shuffled.into_iter().for_each(|f| grown.add(f));
        let (mut runs_there, runs_back) = (runs(), runs());
        runs_there.reverse();
        let one = judged(&railway, &subject, &whole, &railway.days, &runs_back);
        prop_assert_eq!(&one, &judged(&railway, &subject, &grown, &railway.days, &runs_there));

        let mut keys: Vec<_> = one.findings.iter().map(|f| &f.key).collect();
        keys.dedup();
        prop_assert_eq!(keys.len(), one.findings.len(), "one key, one finding");
        for finding in &one.findings {
            prop_assert!(finding.until.is_none_or(|until| finding.since <= until), "{:?}", finding);
            prop_assert!(!finding.sentence.is_empty() && !finding.entries.is_empty());
        }
    }

    #[test]
    fn as_of_a_moment_only_what_had_happened_counts(facts in any_facts(), subject in any_subject(), minutes in 0..5_000_i64) {
        let railway = railway();
        let then = at(BEGIN).plus(minutes * 10 * MINUTE);
        let early = Dossier::of(facts.iter().filter(|f| f.at <= then).cloned().collect());
        let cut = Dossier::of(facts).up_to(then);
        prop_assert_eq!(
            judged(&railway, &subject, &cut, &railway.days, &runs()),
            judged(&railway, &subject, &early, &railway.days, &runs())
        );
    }

    /// Of what is open as of T by the whole history, ground protection opened by then is open by the history up to T.
    #[test]
    fn a_bypass_open_then_is_open_as_of_then(facts in any_facts(), minutes in 0..5_000_i64) {
        // By the schedule: a tag that only a later entry calls a cutout was none before.
        let railway = railway_where(true);
        let then = at(BEGIN).plus(minutes * 10 * MINUTE);
        let open = |dossier: &Dossier| -> Vec<(Tag, Instant)> {
            let judged = judged(&railway, &Subject::GroundProtection, dossier, &railway.days, &runs());
            let open = judged.bypasses.iter().filter(|b| !b.withdrawn && b.open_at(then));
            open.map(|b| (b.device.clone(), b.begins())).collect()
        };
        let whole = Dossier::of(facts);
        let early = open(&whole.up_to(then));
        for one in open(&whole) {
            prop_assert!(early.contains(&one), "{:?} not in {:?}", one, early);
        }
    }

    #[test]
    fn service_days_past_the_settled_moment_change_nothing(
        hours in proptest::collection::vec(0..2_000_i64, 0..14), repairs in proptest::collection::vec(0..2_000_i64, 0..2),
        reports in proptest::collection::vec(0..140_i32, 0..12), more in 0..200_i32,
    ) {
        let railway = railway();
        let first = railway.zone.day_of(at(BEGIN));
        let mut reports: DaySet = reports.iter().map(|d| first.plus(*d)).collect();
        let when = |h: i64| at(BEGIN).plus(h * 60 * MINUTE);
        let trips = hours.iter().map(|h| Fact { at: when(*h), ..trip_with(BEGIN, "D1", vec![], Left::On) });
        let mended = repairs.iter().map(|h| Fact { at: when(*h), ..fact(BEGIN, Told::RepairClosed { new_life: false, no_fault_found: false, from: None }) });
        let dossier = Dossier::of(trips.chain(mended).collect());
        let subject = Subject::Device("D1".into());
        let before = days_of(&reports, &railway);
        let was = judged(&railway, &subject, &dossier, &before, &[]);
        reports.insert(first.plus(more));
        let after = days_of(&reports, &railway);
        let changed = (-60..400).map(|d| first.plus(d)).find(|d| before.counts(*d) != after.counts(*d));
        let in_all = after.up_to(Day(i32::MAX));
        if changed.is_none_or(|day: Day| was.rests.stands(railway.zone.start_of(day), in_all)) {
            prop_assert_eq!(was, judged(&railway, &subject, &dossier, &after, &[]));
        }
    }

    /// Parts are a matter of the facts alone, and together they are the dossier.
    #[test]
    fn the_parts_of_a_dossier_are_the_same_in_whatever_order_it_grew(facts in any_facts(), seed in any::<u64>()) {
        let whole = Dossier::of(facts.clone());
        let mut shuffled = facts;
        shuffled.sort_by_key(|f| f.seq.wrapping_mul(seed | 1).rotate_left(17));
        let mut grown = Dossier::default();
        shuffled.into_iter().for_each(|f| grown.add(f));
        let parts: Vec<&[Fact]> = whole.parts().collect();
        prop_assert_eq!(&parts, &grown.parts().collect::<Vec<_>>());
        prop_assert_eq!(parts.concat(), whole.facts());
    }

    #[test]
    fn service_days_past_the_settled_moment_change_no_line_about_starting(
        days in proptest::collection::vec(0..120_i64, 8..20), fail in proptest::collection::vec(0..120_i64, 0..4),
        reports in proptest::collection::vec(0..140_i32, 0..12), more in 0..200_i32,
    ) {
        let railway = railway();
        let first = railway.zone.day_of(at(BEGIN));
        let mut reports: DaySet = reports.iter().map(|d| first.plus(*d)).collect();
        let when = |d: i64| at(BEGIN).plus(d * DAY + 12 * 60 * MINUTE).to_z();
        // From 52 V it falls by a volt in twelve days: most draws find it weakening at some start.
        let starts = days.iter().map(|d| start(&when(*d), "running", Some(52.0 - *d as f64 / 12.0)));
        let failed = fail.iter().map(|d| start(&when(*d), "no_fire", None));
        let dossier = Dossier::of(starts.chain(failed).collect());
        let before = days_of(&reports, &railway);
        let was = judged(&railway, &Subject::Unit, &dossier, &before, &[]);
        reports.insert(first.plus(more));
        let after = days_of(&reports, &railway);
        let changed = (-60..400).map(|d| first.plus(d)).find(|d| before.counts(*d) != after.counts(*d));
        let in_all = after.up_to(Day(i32::MAX));
        if changed.is_none_or(|day: Day| was.rests.stands(railway.zone.start_of(day), in_all)) {
            prop_assert_eq!(was, judged(&railway, &Subject::Unit, &dossier, &after, &[]));
        }
    }

    #[test]
    fn a_dossier_unpacks_to_what_was_packed(facts in any_facts()) {
        let dossier = Dossier::of(facts);
        let packed = postcard::to_stdvec(&dossier).unwrap();
        prop_assert_eq!(postcard::from_bytes::<Dossier>(&packed).unwrap(), dossier);
    }
}
