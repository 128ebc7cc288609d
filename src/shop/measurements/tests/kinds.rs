//! What each kind says beyond the vectors: what does not apply, what is asked about, what never counts.
use super::super::{
    Judged, Measured, Temperature, Verdict,
    breaker::{self, Breaker, Test},
    fuse::FuseComparison,
    ground_relay::{GroundRelayTest, Unit},
    insulation::{Edition, Insulation, InsulationClass, Object, Reading, Rule, Wound},
    source::Sure,
};
use crate::rules::fact::FuseFact;

fn circuit(ir1_mohm: f64) -> Insulation {
    Insulation {
        object: Object::PowerCircuit,
        of: Some("traction motor 3".into()),
        machine: None,
        wound: None,
        rated_v: None,
        is_new: None,
        edition: None,
        test_v: Some(500.0),
        ir1_mohm,
        ir10_mohm: None,
        temperature: Some(Temperature::fahrenheit(77.0)),
        rule: None,
        class: None,
        reading: None,
        limit_mohm: None,
        limit_from: None,
        ground_confirmed: None,
    }
}

fn resistance(judged: &Judged) -> &str {
    &judged.part("insulation resistance").unwrap().says
}

#[test]
fn without_a_temperature_the_reading_is_kept_and_judged_by_nothing() {
    let judged = Insulation { temperature: None, ..circuit(0.01) }.judge();
    assert_eq!((judged.verdict, &judged.corrected), (Verdict::DoesNotApply, &None));
    assert!(resistance(&judged).contains("no temperature was stated"), "{judged:?}");
    assert!(judged.parts[0].reckoned[0].contains("0.01 MΩ"));
}

#[test]
fn the_arithmetic_can_be_followed() {
    let judged = Insulation { temperature: Some(Temperature::fahrenheit(99.0)), ..circuit(0.5) }.judge();
    let steps = judged.parts[0].reckoned.join("\n");
    assert!(steps.contains("0.5 MΩ at 99 °F × 2^((99 − 77) ÷ 22) = 0.5 × 2 = 1 MΩ at 77 °F"), "{steps}");
    let corrected = judged.corrected.unwrap();
    assert_eq!(
        (corrected.values, corrected.rule.as_str(), corrected.base.as_str()),
        (vec![1.0], "halve_per_22f", "77 °F")
    );
}

#[test]
fn figures_by_different_rules_are_not_compared() {
    let judged = Insulation { rule: Some(Rule::DoublePer15C), ..circuit(50.0) }.judge();
    assert_eq!(judged.verdict, Verdict::DoesNotApply);
    assert!(resistance(&judged).contains("different rules"));
    // A limit typed in stands where its writer says.
    let typed =
        Insulation { limit_mohm: Some(60.0), limit_from: Some("maker's sheet 12".into()), ..circuit(50.0) };
    let judged = typed.judge();
    assert_eq!(judged.verdict, Verdict::Fail);
    assert_eq!(
        (judged.parts[0].sources[0].what.as_str(), judged.parts[0].sources[0].sure),
        ("maker's sheet 12", Sure::TypedIn)
    );
}

#[test]
fn what_is_not_stated_is_never_guessed() {
    let winding = |ir1, object, wound, edition, rated_v| Insulation {
        object,
        wound,
        edition,
        rated_v,
        temperature: Some(Temperature::celsius(40.0)),
        ..circuit(ir1)
    };
    let armature =
        |ir1, edition| winding(ir1, Object::Armature, Some(Wound::Later), edition, None).judge().verdict;
    // Without an edition: above both minima, below both, between them.
    assert_eq!(armature(100.0, None), Verdict::Pass);
    assert_eq!(armature(4.9, None), Verdict::Fail);
    assert_eq!(armature(50.0, None), Verdict::DoesNotApply);
    assert_eq!(armature(50.0, Some(Edition::Y2013)), Verdict::Pass);
    // kV + 1 for later field windings is not confirmed.
    let field = winding(500.0, Object::FieldWinding, Some(Wound::Later), None, Some(600.0)).judge();
    assert_eq!(field.verdict, Verdict::DoesNotApply);
    assert!(resistance(&field).contains("not confirmed"));
    let unknown = winding(500.0, Object::Armature, None, None, None).judge();
    assert_eq!(unknown.verdict, Verdict::DoesNotApply);
    assert_eq!(winding(500.0, Object::Cable, None, None, None).judge().verdict, Verdict::DoesNotApply);
}

#[test]
fn an_unsteady_reading_never_passes_and_can_fail() {
    let read = |ir1, reading| Insulation { reading: Some(reading), ..circuit(ir1) }.judge().verdict;
    assert_eq!(read(5.0, Reading::Rising), Verdict::Pass);
    assert_eq!(read(5.0, Reading::Steady), Verdict::Pass);
    assert_eq!(read(5.0, Reading::Unsteady), Verdict::DoesNotApply);
    assert_eq!(read(0.5, Reading::Unsteady), Verdict::Fail);
}

#[test]
fn the_index_says_nothing_beyond_windings_or_without_a_class_between_the_two() {
    let of = |object, class, ir10| Insulation { object, class, ir10_mohm: Some(ir10), ..circuit(100.0) };
    let verdict = |i: Insulation| i.judge().part("polarization index").and_then(|p| p.verdict);
    assert_eq!(
        verdict(of(Object::PowerCircuit, Some(InsulationClass::F), 120.0)),
        Some(Verdict::DoesNotApply)
    );
    assert_eq!(
        verdict(of(Object::RandomWound, Some(InsulationClass::F), 120.0)),
        Some(Verdict::DoesNotApply)
    );
    assert_eq!(verdict(of(Object::FormWound, None, 170.0)), Some(Verdict::DoesNotApply));
    assert_eq!(verdict(of(Object::FormWound, None, 210.0)), Some(Verdict::Pass));
    assert_eq!(verdict(of(Object::FormWound, None, 90.0)), Some(Verdict::Fail));
}

#[test]
fn kilohms_and_swapped_readings_are_asked_about() {
    let asked = |i: &Insulation| i.doubts().into_iter().map(|d| d.field).collect::<Vec<_>>();
    assert_eq!(asked(&circuit(1_500.0)), ["ir1_mohm"]);
    assert!(circuit(1_500.0).doubts()[0].says.contains("write 1.5"));
    assert!(asked(&circuit(999.0)).is_empty());
    let swapped = Insulation { ir10_mohm: Some(100.0), ..circuit(200.0) };
    assert!(swapped.doubts()[0].says.contains("each other's place"));
    let mixed = Insulation { ir10_mohm: Some(900.0), ..circuit(1.0) };
    assert!(mixed.doubts()[0].says.contains("kilohms"));
    assert_eq!(Insulation { limit_mohm: Some(1.0), ..circuit(1.0) }.wrong()[0].field, "limit_from");
    assert_eq!(circuit(-1.0).wrong()[0].field, "ir1_mohm");
    assert_eq!(circuit(f64::NAN).wrong()[0].field, "ir1_mohm");
}

fn breaker(seconds: Option<f64>, most_s: Option<f64>) -> Breaker {
    Breaker {
        device: Some("TC2".into()),
        test: Test::InverseTime,
        rated_a: Some(60.0),
        percent: Some(300.0),
        seconds,
        did_not_trip: seconds.is_none(),
        most_s,
        least_s: None,
        limit_from: most_s.map(|_| "maker's curve 4".into()),
        set_a: None,
        tripped_at_a: None,
    }
}

#[test]
fn no_published_time_judges_a_breaker() {
    // The vector that is left out: 60 A at 600 V would have 160 s in a table nobody here has read.
    for seconds in [1.0, 160.0, 161.0, 9_999.0] {
        let judged = breaker(Some(seconds), None).judge();
        assert_eq!(judged.verdict, Verdict::DoesNotApply, "{seconds}");
    }
    assert_eq!(breaker(Some(100.0), Some(100.0)).judge().verdict, Verdict::Pass);
    assert_eq!(breaker(Some(100.1), Some(100.0)).judge().verdict, Verdict::Fail);
    assert_eq!(breaker(None, Some(100.0)).judge().verdict, Verdict::Fail);
}

#[test]
fn the_railways_own_table_is_read_and_the_closest_row_taken() {
    let rows = breaker::read_rows("30, 250, 45\n100, 600, 150\n100; 250; 130\n400,,300\n").unwrap();
    let most = |a, v| breaker::row_for(&rows, a, v).map(|row| row.most_s);
    assert_eq!(most(30.0, Some(250.0)), Some(45.0));
    assert_eq!(most(60.0, Some(240.0)), Some(130.0));
    assert_eq!(most(60.0, Some(600.0)), Some(150.0));
    assert_eq!(most(60.0, None), Some(300.0), "a row for some volts says nothing where they are not known");
    assert_eq!(most(401.0, Some(250.0)), None);
    assert!(breaker::read_rows("60, 160").unwrap_err().starts_with("Line 1"));
    assert!(breaker::read_rows("60, x, 160").is_err() && breaker::read_rows(" \n").is_err());
}

#[test]
fn a_relay_has_to_pick_up_and_reset() {
    let relay = |picked_up, reset, at, least| GroundRelayTest {
        device: None,
        picked_up,
        at,
        unit: Unit::Volts,
        reset,
        least,
        most: None,
        limit_from: least.map(|_| "builder's manual".into()),
    };
    let verdict = |r: GroundRelayTest| r.judge().verdict;
    assert_eq!(verdict(relay(true, Some(true), Some(12.5), None)), Verdict::Pass);
    assert_eq!(verdict(relay(true, Some(true), Some(11.0), Some(12.0))), Verdict::Fail);
    assert_eq!(verdict(relay(true, None, None, None)), Verdict::DoesNotApply);
    assert_eq!(verdict(relay(true, Some(false), None, None)), Verdict::Fail);
    assert_eq!(verdict(relay(false, Some(true), None, None)), Verdict::Fail);
}

#[test]
fn three_known_figures_are_no_match() {
    let belongs = FuseFact { rating_a: Some(30.0), rating_v: Some(250.0), ..FuseFact::default() };
    let judged =
        FuseComparison { device: None, belongs: belongs.clone(), fitted: belongs, handling: None }.judge();
    assert_eq!(judged.verdict, Verdict::DoesNotApply);
    assert!(judged.parts[0].says.contains("speed, body"), "{judged:?}");
}

#[test]
fn every_kind_is_read_back_as_it_was_kept() {
    for measured in [
        Measured::Insulation(circuit(0.4)),
        Measured::Breaker(breaker(Some(3.0), None)),
        Measured::Fuse(FuseComparison {
            device: None,
            belongs: FuseFact::default(),
            fitted: FuseFact::default(),
            handling: None,
        }),
    ] {
        let text = serde_json::to_string(&measured).unwrap();
        assert!(text.contains(&format!("\"kind\":\"{}\"", measured.kind().as_str())), "{text}");
        assert_eq!(serde_json::from_str::<Measured>(&text).unwrap(), measured);
        let judged = measured.judge();
        let text = serde_json::to_string(&judged).unwrap();
        assert_eq!(serde_json::from_str::<Judged>(&text).unwrap(), judged);
    }
}

mod properties {
    use proptest::prelude::*;

    use super::{
        super::super::{Temperature, Verdict, against_all, battery::GravityRule, insulation::Rule},
        circuit,
    };

    proptest! {
        #[test]
        fn correcting_is_fair(mohm in 0.001..10_000.0f64, c in -40.0..120.0f64, rule in 0..3usize) {
            let rule = Rule::ALL[rule];
            let corrected = rule.correct(mohm, Temperature::celsius(c));
            prop_assert!(corrected > 0.0);
            // The same temperature by either scale, and a hotter winding counts for more.
            let f = Temperature::fahrenheit(c * 9.0 / 5.0 + 32.0);
            prop_assert!((rule.correct(mohm, f) / corrected - 1.0).abs() < 1e-9);
            prop_assert!(rule.correct(mohm, Temperature::celsius(c + 1.0)) > corrected);
            prop_assert!((rule.correct(2.0 * mohm, Temperature::celsius(c)) / corrected - 2.0).abs() < 1e-9);
        }

        #[test]
        fn more_megohms_never_turn_a_pass_into_a_fail(a in 0.001..200.0f64, b in 0.001..200.0f64, f in 20.0..200.0f64) {
            let (less, more) = if a < b { (a, b) } else { (b, a) };
            let verdict = |mohm| {
                let temperature = Some(Temperature::fahrenheit(f));
                super::Insulation { temperature, ..circuit(mohm) }.judge().verdict
            };
            prop_assert!(!(verdict(less) == Verdict::Pass && verdict(more) == Verdict::Fail));
        }

        #[test]
        fn between_minima_there_is_no_verdict(value in 0.0..10.0f64, a in 0.0..10.0f64, b in 0.0..10.0f64) {
            let (least, most) = (a.min(b), a.max(b));
            let verdict = against_all(value, &[least, most]);
            let between = value > least + 1e-6 && value < most - 1e-6;
            prop_assert!(!between || verdict == Verdict::DoesNotApply);
            prop_assert!(value < most + 1e-6 || verdict == Verdict::Pass);
        }

        #[test]
        fn the_two_gravity_rules_agree_but_for_their_bases(c in -20.0..60.0f64) {
            let at = Temperature::celsius(c);
            let by_f = GravityRule::Per10F.correction(at) - GravityRule::Per10F.correction(Temperature::celsius(20.0));
            prop_assert!((by_f - GravityRule::PerC.correction(at)).abs() < 0.001);
        }
    }
}
