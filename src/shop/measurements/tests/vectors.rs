//! The test vectors of the standards notes, run against the functions that the book uses, not against copies. Each names
//! its section and how sure that is there: C read in the text, C-old an older edition, 2nd at second hand, D reckoned.
//! `cargo test --lib vectors -- --nocapture` prints how many ran and which were left out, and why.
use std::collections::BTreeSet;

use super::store::{pages, reports, run_sql};
use crate::{
    base::{Clock, Day, SignIn},
    book::Channel,
    desk::{Desk, DeskOptions, begin, reports::FileReport, reports::Filer, world::is_late},
    people::{Act, Role, person::sign_in},
    reports::vocabulary::{Basis, FuseResult, FuseSpeed, Handling, Left, ShutdownCause},
    rules::{
        Finding, Rule, Told,
        dossier::Subject,
        fact::{FuseFact, ResetFact},
        fuse::{FuseMatch, compare},
        sample::{Railway, at, bypass, device, fact, repair, trip_with},
    },
    shop::{
        inspections::{self, Due, InspectionKind, Standing, Wanted},
        measurements::{
            Judged, Measured, Temperature, Verdict, battery,
            battery::{Battery, GravityRule, LowCell},
            breaker::{Breaker, Test},
            dead::{Found, TestedDead},
            fuse::handled,
            insulation::{Edition, Insulation, InsulationClass, Machine, Object, Rule as Correction, Wound},
            limits::kv_plus_one,
            lock_out::{LockOut, Step},
            polarization, written_for,
        },
        tag,
    },
};

type Ran = Result<(), String>;

/// `Err` with what did not hold.
macro_rules! holds {
    ($($what:expr),* $(,)?) => { $(let holds: bool = $what; if !holds { return Err(stringify!($what).to_owned()); })* };
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 0.5e-2 * b.abs().max(0.01)
}

fn exactly(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

fn day(text: &str) -> Day {
    Day::parse(text).unwrap()
}

type Vector = (&'static str, &'static str, fn() -> Ran);

const VECTORS: &[Vector] = &[
    ("V01", "1.5 C", v01),
    ("V02", "1.5 C", v02),
    ("V03", "1.5 C", v03),
    ("V04", "1.5 C", v04),
    ("V05", "1.6 C+D", v05),
    ("V06", "1.6 C+D", v06),
    ("V07", "1.7 C+D", v07),
    ("V08", "1.4(c)(1) C", v08),
    ("V09", "1.4(c)(1) C", v09),
    ("V10", "1.4(b)(2)-(4) C", v10),
    ("V11", "1.4(b)(1) C", v11),
    ("V12", "1.4(c)(2) C", v12),
    ("V13", "1.4(d)(2) C", v13),
    ("V14", "1.6(h) C", v14),
    ("V15", "1.4(a) C", v15),
    ("V16", "1.3 C-old", v16),
    ("V18", "1.8 C+D", v18),
    ("V19", "1.8 229.101(b) C", v19),
    ("V24", "0.2-0.3 C+D", v24),
    ("V25", "2.13a 2nd", v25),
    ("V26", "2.13b 2nd", v26),
    ("V27", "2.6 2nd+D", v27),
    ("V28", "2.2 2nd", v28),
    ("V29", "2.2 2nd+D", v29),
    ("V30", "2.8 C+D", v30),
    ("V31", "2.3 C", v31),
    ("V32", "2.9 2nd+D", v32),
    ("V33", "2.10 2nd", v33),
    ("V34", "2.10 2nd", v34),
    ("V35", "5.1 C+D", v35),
    ("V36", "5.1 Note C", v36),
    ("V37", "5.1 C", v37),
    ("V38", "5.8 2nd", v38),
    ("V39", "5.7 C", v39),
    ("V40", "3.4 2nd", v40),
    ("V42", "5.6 C", v42),
    ("V43", "5.6 C", v43),
    ("V44", "4.1 C", v44),
    ("V45", "4.1 C+D", v45),
    ("V46", "4.3 D", v46),
    ("V47", "4.2 C+D", v47),
    ("V48", "4.4 2nd", v48),
    ("V49", "4.4 D", v49),
    ("V50", "4.6 C", v50),
    ("V51", "4.7 C", v51),
    ("V52", "4.8 C", v52),
    ("V53", "4.8 C", v53),
];

const LEFT_OUT: &[(&str, &str)] = &[(
    "V41",
    "3.3 M: the published table of most times at 300 % is not confirmed, so it is nowhere built in",
)];

#[test]
fn vectors_of_the_standards_notes() {
    let mut broken = Vec::new();
    for (name, source, run) in VECTORS {
        if let Err(why) = run() {
            broken.push(format!("{name} ({source}): {why}"));
        }
    }
    let asked: BTreeSet<String> =
        (1..=16).chain(18..=19).chain(24..=53).map(|n| format!("V{n:02}")).collect();
    let known: BTreeSet<String> =
        VECTORS.iter().map(|v| v.0).chain(LEFT_OUT.iter().map(|v| v.0)).map(str::to_owned).collect();
    assert_eq!(asked, known, "each is run or named as left out");
    let told: String = LEFT_OUT.iter().map(|(name, why)| format!("\n  left out: {name}: {why}")).collect();
    println!("{} of {} test vectors ran.{told}", VECTORS.len(), asked.len());
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

// Dates and records

fn v01() -> Ran {
    let (used, none) = (BTreeSet::from([day("2026-03-01"), day("2026-03-02")]), BTreeSet::new());
    holds!(inspections::days_missed(&used, &none) == [day("2026-03-01"), day("2026-03-02")]);
    let zone = crate::base::Zone::utc();
    let both = ["2026-03-01T00:10:00Z", "2026-03-02T23:50:00Z"].map(|when| zone.day_of(at(when)));
    holds!(inspections::days_missed(&used, &both.into()).is_empty());
    Ok(())
}

fn v02() -> Ran {
    let whole = Wanted {
        carrier: "Quarry & Harrow",
        unit: "QHB 412",
        place: "Slate Gap",
        at: Some(at("2026-03-01T06:00:00Z")),
        conditions: "none",
        signature: Some("r.dunmore"),
    };
    holds!(whole.missing().is_empty());
    for (less, field) in [
        (Wanted { carrier: " ", ..whole }, "carrier"),
        (Wanted { unit: "412", ..whole }, "unit"),
        (Wanted { unit: "QHB", ..whole }, "unit"),
        (Wanted { place: "", ..whole }, "place"),
        (Wanted { at: None, ..whole }, "at"),
        (Wanted { conditions: "", ..whole }, "conditions"),
        (Wanted { signature: None, ..whole }, "signature"),
    ] {
        holds!(less.missing() == [field]);
    }
    Ok(())
}

fn v03() -> Ran {
    let (x, other) = (SignIn::from("r.dunmore"), SignIn::from("a.lind"));
    let refused = |by: Option<&SignIn>| inspections::repair_unsigned(Some("jumper replaced"), by, &other);
    holds!(refused(Some(&x)).is_some(), refused(None).is_some(), refused(Some(&other)).is_none());
    holds!(inspections::repair_unsigned(None, None, &other).is_none());
    Ok(())
}

/// A book with one report in it, looked at by `look`, which gets its file.
fn with_book(look: impl AsyncFnOnce(Desk, std::path::PathBuf) -> Ran) -> Ran {
    tokio::runtime::Runtime::new().unwrap().block_on(async {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("book.db");
        let book = begin::NewBook {
            railway: "Quarry & Harrow".into(),
            mark: "QHB".into(),
            time_zone: "America/Chicago".into(),
            demo: false,
        };
        let clock = Clock::standing_at(at("2026-01-01T12:00:00Z"));
        let options = DeskOptions { clock: clock.clone(), ..DeskOptions::default() };
        let desk = begin::begin(&path, &book, &"ada".into(), "x".into(), options).await.unwrap();
        let report = br#"{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10", "unit": "QHB 412", "author": "ada", "occasion": "daily_inspection",
            "entries": [], "signed_at": "2026-01-01T06:00:00-06:00"}"#;
        let filer = Filer { by: Some("ada".into()), channel: Channel::Token };
        let act = FileReport::read(report, &filer, &desk.world(), clock.now()).map_err(|e| format!("{e:?}"))?;
        desk.act(act).await.map_err(|e| e.says())?;
        clock.set(at("2026-04-03T12:00:00Z"));
        look(desk, path).await
    })
}

fn v04() -> Ran {
    holds!(inspections::KEPT_DAYS == 92, day("2026-01-01").plus(inspections::KEPT_DAYS) == day("2026-04-03"));
    with_book(async |desk, path| {
        holds!(reports(&desk).await == 1);
        let refused = run_sql(&path, "DELETE FROM page WHERE seq = (SELECT max(seq) FROM page)").await;
        holds!(refused.is_err_and(|why| why.contains("never removed")));
        Ok(())
    })
}

fn v05() -> Ran {
    let last = |days| inspections::last_lawful_day(InspectionKind::Periodic, day("2025-12-31"), days);
    holds!(last(92) == Some(day("2026-04-02")), last(184) == Some(day("2026-07-03")));
    Ok(())
}

fn v06() -> Ran {
    let last = |days| inspections::last_lawful_day(InspectionKind::MechanicalDaily, day("2026-01-01"), days);
    holds!(last(184) == Some(day("2026-02-03")), last(92).is_none());
    Ok(())
}

fn v07() -> Ran {
    holds!(
        inspections::last_lawful_day(InspectionKind::Annual, day("2026-01-01"), 92)
            == Some(day("2027-01-04"))
    );
    Ok(())
}

fn v08() -> Ran {
    let done = at("2026-03-01T10:00:00Z");
    holds!(!is_late(done, at("2026-03-02T10:00:00Z")), is_late(done, at("2026-03-02T10:00:01Z")));
    Ok(())
}

fn v09() -> Ran {
    holds!(written_for("r.dunmore", Some("a.lind")).is_some_and(|says| says.contains("done by a.lind")));
    holds!(written_for("r.dunmore", Some("R.Dunmore")).is_none(), written_for("r.dunmore", None).is_none());
    Ok(())
}

fn v10() -> Ran {
    // No role has an act that edits or removes; the file itself refuses, and the bytes stay.
    holds!(Act::ALL.iter().all(|act| !act.as_str().contains("delete") && !act.as_str().contains("edit")));
    holds!(Act::AmendEntry.roles().contains(&Role::Crew));
    with_book(async |desk, path| {
        let before = pages(&desk).await;
        for sql in [
            "UPDATE page SET blob = '{}'",
            "DELETE FROM page",
            "INSERT OR REPLACE INTO page SELECT seq, '{}', leaf FROM page WHERE seq = 1",
        ] {
            holds!(run_sql(&path, sql).await.is_err());
        }
        holds!(pages(&desk).await == before);
        Ok(())
    })
}

fn v11() -> Ran {
    for typed in ["n.okafor", " N.Okafor ", "Ｎ.ＯＫＡＦＯＲ"] {
        holds!(sign_in(typed).is_some_and(|name| name.as_str() == "n.okafor"));
    }
    Ok(())
}

fn v12() -> Ran {
    let due =
        |kind, done: Option<&str>, today| Due::of("QHB 412".into(), kind, done.map(day), 92, day(today));
    let periodic = |today| due(InspectionKind::Periodic, Some("2026-01-01"), today);
    holds!(periodic("2026-03-19").is_some_and(|due| !due.is_notice()));
    holds!(periodic("2026-03-20").is_some_and(|due| due.is_notice() && due.standing == Standing::Soon));
    holds!(periodic("2026-04-03").is_some_and(|due| due.standing == Standing::Soon));
    holds!(periodic("2026-04-04").is_some_and(|due| due.is_notice() && due.standing == Standing::Overdue));
    holds!(due(InspectionKind::Daily, Some("2026-01-01"), "2026-04-04").is_none());
    Ok(())
}

fn v13() -> Ran {
    holds!(inspections::answer_by(day("2026-03-01")) == day("2026-03-16"));
    Ok(())
}

fn v14() -> Ran {
    let inspection = Some(at("2026-03-01T12:00:00Z"));
    let on_list = |when| inspections::is_since(inspection, at(when));
    holds!(
        on_list("2026-03-01T12:00:01Z"),
        !on_list("2026-03-01T12:00:00Z"),
        !on_list("2026-02-01T12:00:00Z")
    );
    holds!(inspections::is_since(None, at("2026-02-01T12:00:00Z")));
    Ok(())
}

fn v15() -> Ran {
    for word in ["daily inspection record on board", "cab copy", "tag", "paper is what counts"] {
        holds!(inspections::PAPER.contains(word));
    }
    Ok(())
}

fn v16() -> Ran {
    let whole = |name: &str| if name == "restrictions" { "none" } else { "said" };
    holds!(tag::filled(whole).is_ok_and(|fields| fields.len() == 7));
    for (missing, _) in tag::FIELDS {
        let refused = tag::filled(|name| if name == missing { "  " } else { whole(name) });
        holds!(refused.is_err_and(|says| says.len() == 1 && says[0].0 == missing));
    }
    Ok(())
}

// Electrical classes

fn v18() -> Ran {
    let on = |machine, ground_confirmed| {
        Insulation { machine: Some(machine), ground_confirmed, limit_mohm: None, ..winding(200.0) }.judge()
    };
    let says_229 = |judged: &Judged| {
        judged.part("ground").is_some_and(|p| p.says.contains("a non-complying condition, and"))
    };
    for machine in [Machine::TractionMotor, Machine::Generator] {
        let found = on(machine, Some(true));
        holds!(found.verdict == Verdict::Fail, says_229(&found));
    }
    holds!(!says_229(&on(Machine::Other, Some(true))));
    // Cause not known: a defect to look for.
    let unknown = on(Machine::TractionMotor, Some(false));
    holds!(
        unknown.verdict == Verdict::Pass,
        unknown.part("ground").is_some_and(|p| p.says.contains("not yet a non-complying condition"))
    );
    Ok(())
}

fn v19() -> Ran {
    let stopped = |notice: Option<&str>| {
        let cause = Some(ShutdownCause::CrankcaseDevice);
        fact("2026-03-01T10:00:00Z", Told::Shutdown { cause, warning_notice: notice.map(str::to_owned) })
    };
    let open = |facts| {
        let found = Railway::with(vec![]).judge(Subject::Unit, facts).findings;
        found.iter().any(|f| f.rule == Rule::Reported && f.until.is_none())
    };
    holds!(open(vec![stopped(None)]), open(vec![stopped(Some("crankcase device"))]));
    holds!(!open(vec![stopped(Some("crankcase device")), repair("2026-03-02T10:00:00Z")]));
    Ok(())
}

fn v24() -> Ran {
    let railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
    let opened = || bypass("2026-03-01T10:00:00Z", "GRC", |_| {});
    let still_open = |facts| {
        let judged = railway.judge(Subject::GroundProtection, facts);
        judged.findings.into_iter().find(|f| f.rule == Rule::StillOpen)
    };
    let released = fact("2026-03-01T12:00:00Z", Told::Released);
    let at_release = still_open(vec![opened(), released]);
    holds!(at_release.is_some_and(
        |f| f.since == at("2026-03-01T12:00:00Z") && f.sentence.contains("released into service")
    ));
    // Open at the next day's inspection: the line stands, secured or not.
    holds!(
        still_open(vec![opened()]).is_some_and(|f| f.since < at("2026-03-02T06:00:00Z") && f.until.is_none())
    );
    Ok(())
}

// Insulation resistance

fn winding(ir1_mohm: f64) -> Insulation {
    Insulation {
        object: Object::Armature,
        of: None,
        machine: None,
        wound: Some(Wound::Later),
        rated_v: None,
        is_new: None,
        edition: Some(Edition::Y2013),
        test_v: None,
        ir1_mohm,
        ir10_mohm: None,
        temperature: Some(Temperature::celsius(40.0)),
        rule: None,
        class: None,
        reading: None,
        limit_mohm: None,
        limit_from: None,
        ground_confirmed: None,
    }
}

fn at_40(mohm: f64, celsius: f64) -> f64 {
    Correction::HalvePer10C.correct(mohm, Temperature::celsius(celsius))
}

fn v25() -> Ran {
    holds!(exactly(at_40(200.0, 20.0), 50.0), exactly(at_40(25.0, 50.0), 50.0));
    Ok(())
}

fn v26() -> Ran {
    holds!(exactly(at_40(3.0, 70.0), 24.0));
    Ok(())
}

fn v27() -> Ran {
    holds!(
        exactly(at_40(100.0, 30.0), 50.0),
        (at_40(40.0, 45.0) - 56.57).abs() < 0.005,
        exactly(at_40(7.3, 40.0), 7.3)
    );
    Ok(())
}

fn v28() -> Ran {
    let verdict = |mohm, edition| Insulation { edition: Some(edition), ..winding(mohm) }.judge().verdict;
    holds!(verdict(5.0, Edition::Y2013) == Verdict::Pass, verdict(4.99, Edition::Y2013) == Verdict::Fail);
    holds!(verdict(100.0, Edition::Y2000) == Verdict::Pass, verdict(99.9, Edition::Y2000) == Verdict::Fail);
    Ok(())
}

fn v29() -> Ran {
    for (volts, mohm) in [(600.0, 1.6), (480.0, 1.48), (1200.0, 2.2), (4160.0, 5.16)] {
        holds!(exactly(kv_plus_one(volts).mohm, mohm));
        let old = |ir1| {
            Insulation { wound: Some(Wound::Before1970), rated_v: Some(volts), ..winding(ir1) }
                .judge()
                .verdict
        };
        holds!(old(mohm) == Verdict::Pass, old(mohm - 0.01) == Verdict::Fail);
    }
    Ok(())
}

fn v30() -> Ran {
    let army = |mohm, fahrenheit| {
        let temperature = Some(Temperature::fahrenheit(fahrenheit));
        Insulation { object: Object::PowerCircuit, temperature, ..winding(mohm) }.judge().verdict
    };
    holds!(army(1.0, 77.0) == Verdict::Pass, army(0.99, 77.0) == Verdict::Fail);
    holds!(army(0.5, 99.0) == Verdict::Pass, army(0.49, 99.0) == Verdict::Fail);
    holds!(army(2.0, 55.0) == Verdict::Pass, army(1.99, 55.0) == Verdict::Fail);
    Ok(())
}

fn v31() -> Ran {
    let control = |mohm, new| {
        Insulation { object: Object::ControlCircuit, is_new: Some(new), temperature: None, ..winding(mohm) }
            .judge()
            .verdict
    };
    holds!(control(0.5, false) == Verdict::Pass, control(0.49, false) == Verdict::Fail);
    holds!(control(1.0, true) == Verdict::Pass, control(0.99, true) == Verdict::Fail);
    Ok(())
}

fn pi(ir1: f64, ir10: f64, class: InsulationClass) -> (Verdict, String) {
    let of = Insulation { ir10_mohm: Some(ir10), class: Some(class), ..winding(ir1) };
    let part = polarization::judge(&of).unwrap();
    (part.verdict.unwrap(), part.says)
}

fn v32() -> Ran {
    holds!(
        pi(1000.0, 2000.0, InsulationClass::F).0 == Verdict::Pass,
        pi(1000.0, 1990.0, InsulationClass::F).0 == Verdict::Fail
    );
    holds!(pi(1000.0, 1500.0, InsulationClass::A).0 == Verdict::Pass);
    Ok(())
}

fn v33() -> Ran {
    let (verdict, says) = pi(5000.1, 5000.2, InsulationClass::F);
    holds!(verdict == Verdict::DoesNotApply, says.contains("says nothing"));
    holds!(pi(5000.0, 5000.2, InsulationClass::F).0 == Verdict::Fail);
    let brittle = |ir10| pi(100.0, ir10, InsulationClass::F).1.contains("brittle");
    holds!(brittle(810.0), !brittle(800.0));
    Ok(())
}

fn v34() -> Ran {
    holds!(exactly(polarization::index(1000.0, 2000.0), 2.0));
    Ok(())
}

// Breakers, fuses, resets

fn reset(when: &str, basis: Basis) -> ResetFact {
    ResetFact { at: Some(at(when)), basis, result: None }
}

fn again(resets: Vec<ResetFact>) -> Vec<Finding> {
    let railway = Railway::with(vec![device("TC2", |_| {})]);
    let facts = resets.into_iter().map(|r| {
        let when = r.at.unwrap().minus(crate::base::instant::MINUTE).to_z();
        trip_with(&when, "TC2", vec![r], Left::On)
    });
    let mut found = railway.judge_device("TC2", facts.collect());
    found.retain(|f| f.rule == Rule::ReclosedAgain);
    found
}

fn v35() -> Ran {
    let (first, second) = ("2026-03-01T10:00:00Z", "2026-03-01T11:00:00Z");
    holds!(again(vec![reset(first, Basis::Examined)]).is_empty());
    holds!(again(vec![reset(first, Basis::NotDetermined)]).is_empty());
    let twice = again(vec![reset(first, Basis::NotDetermined), reset(second, Basis::NotDetermined)]);
    holds!(twice.len() == 1, twice[0].since == at(second));
    Ok(())
}

fn v36() -> Ran {
    let overload = |when| reset(when, Basis::OverloadKnown);
    holds!(again(vec![overload("2026-03-01T10:00:00Z"), overload("2026-03-01T11:00:00Z")]).is_empty());
    Ok(())
}

fn v37() -> Ran {
    let railway = Railway::with(vec![device("SF", |_| {})]);
    let blown = |when: &str| {
        let (replaced_by, basis) =
            (Some(fuse(30.0, 250.0, FuseSpeed::Slow, "B")), Some(Basis::NotDetermined));
        fact(
            when,
            Told::Fuse { device: "SF".into(), result: FuseResult::Blown, fitted: None, replaced_by, basis },
        )
    };
    let found =
        railway.judge_device("SF", vec![blown("2026-03-01T10:00:00Z"), blown("2026-03-01T11:00:00Z")]);
    holds!(found.iter().any(|f| f.rule == Rule::ReclosedAgain && f.since == at("2026-03-01T11:00:00Z")));
    Ok(())
}

fn fuse(a: f64, v: f64, speed: FuseSpeed, body: &str) -> FuseFact {
    FuseFact { rating_a: Some(a), rating_v: Some(v), speed: Some(speed), body: Some(body.into()) }
}

fn v38() -> Ran {
    let of = |speed| {
        device("SF", |d| {
            (d.rating_a, d.rating_v, d.speed, d.body) =
                (Some(30.0), Some(250.0), Some(speed), Some("B".into()));
        })
    };
    let slow = of(FuseSpeed::Slow);
    let fitted = |a, v, body| compare(&slow, &fuse(a, v, FuseSpeed::Slow, body));
    holds!(
        matches!(fitted(35.0, 250.0, "B"), FuseMatch::Wrong(_)),
        matches!(fitted(30.0, 125.0, "B"), FuseMatch::Wrong(_))
    );
    holds!(matches!(
        compare(&of(FuseSpeed::Normal), &fuse(30.0, 250.0, FuseSpeed::Slow, "B")),
        FuseMatch::Wrong(_)
    ));
    holds!(
        fitted(30.0, 600.0, "B") == FuseMatch::Same,
        matches!(fitted(25.0, 250.0, "B"), FuseMatch::Caution(_))
    );
    holds!(matches!(compare(&slow, &fuse(30.0, 250.0, FuseSpeed::Fast, "B")), FuseMatch::Caution(_)));
    holds!(matches!(fitted(30.0, 250.0, "C"), FuseMatch::Wrong(_)));
    Ok(())
}

fn v39() -> Ran {
    holds!(handled(Some(Handling::EnergisedNoTool)).is_some());
    holds!(handled(Some(Handling::InsulatedTool)).is_none(), handled(Some(Handling::DeEnergised)).is_none());
    Ok(())
}

fn v40() -> Ran {
    let at = |tripped: f64| {
        let breaker = Breaker {
            device: None,
            test: Test::Instantaneous,
            rated_a: None,
            percent: None,
            seconds: None,
            did_not_trip: false,
            most_s: None,
            least_s: None,
            limit_from: None,
            set_a: Some(4000.0),
            tripped_at_a: Some(tripped),
        };
        breaker.judge().verdict
    };
    holds!(
        at(2800.0) == Verdict::Pass,
        at(5600.0) == Verdict::Pass,
        at(2775.0) == Verdict::Fail,
        at(5601.0) == Verdict::Fail
    );
    holds!(at(4240.0) == Verdict::Pass, at(5392.0) == Verdict::Pass, at(5224.0) == Verdict::Pass);
    Ok(())
}

fn v42() -> Ran {
    let removed = |by: &str, away: Option<bool>, told: Option<bool>| LockOut {
        lock: "17".into(),
        step: Step::Removed,
        what: None,
        place: None,
        applied_by: "a.lind".into(),
        removed_by: Some(by.into()),
        absence_ensured: away,
        told_before_resuming: told,
    };
    let refused = |lock: LockOut| !lock.wrong().is_empty() || lock.judge().verdict == Verdict::Fail;
    holds!(!refused(removed("A.Lind", None, None)));
    for (away, told) in [
        (None, None),
        (Some(true), None),
        (None, Some(true)),
        (Some(false), Some(true)),
        (Some(true), Some(false)),
    ] {
        holds!(refused(removed("r.dunmore", away, told)));
    }
    holds!(!refused(removed("r.dunmore", Some(true), Some(true))));
    Ok(())
}

fn v43() -> Ran {
    let test = |volts, before, after| TestedDead {
        circuit: "traction".into(),
        volts: Some(volts),
        tester: None,
        checked_before: before,
        checked_after: after,
        locked_or_tagged: Some(true),
        found: Found::Dead,
    };
    let warned = |test: TestedDead| !test.judge().warnings.is_empty();
    holds!(
        warned(test(601.0, None, None)),
        warned(test(601.0, Some(true), None)),
        warned(test(601.0, Some(true), Some(false)))
    );
    holds!(!warned(test(601.0, Some(true), Some(true))), !warned(test(600.0, None, None)));
    Ok(())
}

// Battery

fn at_80f(gravity: f64, fahrenheit: f64) -> f64 {
    GravityRule::Per10F.correct(gravity, Temperature::fahrenheit(fahrenheit))
}

fn v44() -> Ran {
    holds!(exactly(at_80f(1.250, 20.0), 1.226), exactly(at_80f(1.235, 100.0), 1.243));
    Ok(())
}

fn v45() -> Ran {
    for (read, fahrenheit, want) in
        [(1.265, 80.0, 1.265), (1.280, 60.0, 1.272), (1.200, 160.0, 1.232), (1.300, 0.0, 1.268)]
    {
        holds!(exactly(at_80f(read, fahrenheit), want));
    }
    Ok(())
}

fn v46() -> Ran {
    holds!(exactly(GravityRule::Per10F.correction(Temperature::fahrenheit(30.0)), -0.020));
    Ok(())
}

fn v47() -> Ran {
    let metric = |gravity, celsius| GravityRule::PerC.correct(gravity, Temperature::celsius(celsius));
    holds!(exactly(metric(1.270, 30.0), 1.277), exactly(metric(1.250, 0.0), 1.236));
    Ok(())
}

fn v48() -> Ran {
    for (volts, share) in [(12.65, 100.0), (12.45, 75.0), (12.24, 50.0), (12.06, 25.0), (11.89, 0.0)] {
        holds!(exactly(battery::charge(volts, 6), share));
    }
    Ok(())
}

fn v49() -> Ran {
    let share = |volts| battery::charge(volts, 32);
    holds!((share(67.5) - 100.0).abs() < 1.0, (share(65.3) - 50.0).abs() < 2.0, share(63.4) < 2.0);
    Ok(())
}

fn v50() -> Ran {
    holds!(exactly(battery::cut_over(32), 76.8), exactly(battery::cut_over(56), 134.4));
    Ok(())
}

fn cells(gravities: &[f64], charging_v: &[f64]) -> Judged {
    let battery = Battery {
        name: "B17".into(),
        cells: Some(32),
        gravities: gravities.to_vec(),
        temperature: Some(Temperature::fahrenheit(80.0)),
        rule: GravityRule::Per10F,
        full_gravity: Some(1.280),
        low_cell: LowCell::Points40,
        rested_v: None,
        charging_v: charging_v.to_vec(),
        level: None,
    };
    Measured::Battery(battery).judge()
}

fn v51() -> Ran {
    let charge = |lowest: f64| cells(&[lowest], &[]).part("charge").cloned().unwrap();
    holds!(charge(1.180).verdict == Some(Verdict::Fail), charge(1.180).says.contains("starting failure"));
    holds!(charge(1.181).verdict == Some(Verdict::Pass), !charge(1.181).says.contains("starting failure"));
    Ok(())
}

fn v52() -> Ran {
    let spread =
        |lowest: f64| cells(&[1.270, lowest], &[]).part("spread between cells").and_then(|p| p.verdict);
    holds!(spread(1.230) == Some(Verdict::Fail), spread(1.231) == Some(Verdict::Pass));
    holds!(LowCell::ALL.iter().map(|l| l.points()).collect::<BTreeSet<_>>() == BTreeSet::from([20, 25, 40]));
    Ok(())
}

fn v53() -> Ran {
    // Seven at 2.4286 and one at 2.20 have an average of 2.40.
    let mut volts = vec![2.428_571_428_571_43; 7];
    volts.push(2.20);
    let low = |volts: &[f64]| cells(&[], volts).part("volts on charge").cloned().unwrap();
    holds!(near(volts.iter().sum::<f64>() / 8.0, 2.40), low(&volts).verdict == Some(Verdict::Fail));
    holds!(low(&volts).says.contains("cell 8"));
    volts[7] = 2.25;
    holds!(low(&volts).verdict == Some(Verdict::Pass));
    Ok(())
}
