//! Arbitrary reports for the properties of any room: every kind, every word, every optional field.
use proptest::{collection::vec, option::of, prelude::*, sample::select};
use uuid::Uuid;

use super::{
    Amendment, Entry, Report, Run, What, When,
    entry::{AtHow, DeviceRef, Seal, Who},
    kinds::{
        BreakerTrip, Bypass, Defect, EngineStart, Fuse, FuseCheck, GroundRelay, Position, Reset, Shutdown,
    },
    vocabulary::*,
};
use crate::base::{
    AmendmentId, EntryId, Instant, ReportId, SignIn, Stamp, Tag, UnitName,
    instant::{DAY, SECOND},
};

macro_rules! any_word {
    ($($name:ident: $type:ty,)*) => {$( pub fn $name() -> impl Strategy<Value = $type> { select(<$type>::ALL) } )*};
}
any_word! {
    occasion: Occasion, run_position: RunPosition, weather: Weather, throttle: Throttle, at_how: AtHow, signs: Signs,
    yes_no: YesNo, basis: Basis, reset_result: ResetResult, left: Left, mode: Mode, circuit: Circuit,
    ground_reset: GroundReset, after: After, authorised_how: AuthorisedHow, purpose: Purpose, protection: Protection,
    fuse_result: FuseResult, tested_with: TestedWith, handling: Handling, fuse_speed: FuseSpeed, test_cock: TestCock,
    motors: Motors, outcome: Outcome, cause: ShutdownCause, may_go_on: MayGoOn, seen: Seen, seal_word: SealWord,
}

/// Whole microseconds of the years 2000 to 2100, any offset in minutes.
pub fn stamp() -> impl Strategy<Value = Stamp> {
    let seconds = (DAY * 365 * 30 / SECOND)..(DAY * 365 * 130 / SECOND);
    (seconds, prop_oneof![Just(0), 0..SECOND], -1439..1440_i16)
        .prop_map(|(s, micros, offset_min)| Stamp { at: Instant(s * SECOND + micros), offset_min })
}

/// As it is stored: tidied already.
pub fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-zA-Z0-9 .,'/-]{1,30}",
        "\\PC{1,30}",
        Just("=1+1".to_owned()),
        Just("\"quoted\", {\"a\": 1}\nsecond line".to_owned())
    ]
    .prop_filter_map("says nothing", |typed| crate::base::text::tidy(&typed))
}

pub fn person() -> impl Strategy<Value = SignIn> {
    "[a-z]\\.[a-z]{2,8}".prop_map(SignIn::from)
}

pub fn unit() -> impl Strategy<Value = UnitName> {
    ("[A-Z]{1,4}", 1..1_000_000_u32, "[A-Z]?").prop_map(|(m, n, end)| UnitName::from(format!("{m} {n}{end}")))
}

pub fn who() -> impl Strategy<Value = Who> {
    prop_oneof![person().prop_map(Who::Person), text().prop_map(Who::Named), Just(Who::NotKnown)]
}

pub fn device() -> impl Strategy<Value = DeviceRef> {
    prop_oneof![
        3 => "[A-Z]{1,3}[0-9]{0,2}".prop_map(|tag| DeviceRef::Tag(Tag::from(tag))),
        1 => text().prop_map(DeviceRef::NotListed)
    ]
}

pub fn seal() -> impl Strategy<Value = Seal> {
    prop_oneof!["[0-9]{3,8}".prop_map(Seal::Number), seal_word().prop_map(Seal::Word)]
}

/// A gauge's figure, to the millionth at the finest.
pub fn figure() -> impl Strategy<Value = f64> {
    prop_oneof![
        (-1000_i32..1000).prop_map(f64::from),
        (0_i32..20_000).prop_map(|n| f64::from(n) / 10.0),
        (-2_000_000_000_i32..2_000_000_000).prop_map(|n| f64::from(n) / 1e6)
    ]
}

prop_compose! {
    fn reset()(at in of(stamp()), basis in basis(), told_by in of(who()), result in of(reset_result())) -> Reset {
        Reset { at, basis, told_by, result }
    }
}
prop_compose! {
    fn fuse()(rating_a in of(figure()), rating_v in of(figure()), speed in of(fuse_speed()), body in of(text())) -> Fuse {
        Fuse { rating_a, rating_v, speed, body }
    }
}
prop_compose! {
    fn ground_relay()(
        device in of(device()), operations in of(any::<u32>()), last_at in of(stamp()), mode in of(mode()), circuit in of(circuit()),
        reset in of(ground_reset()), after in of(after()), motors_cut_out in vec(text(), 0..3),
    ) -> GroundRelay {
        GroundRelay { device, operations, last_at, mode, circuit, reset, after, motors_cut_out }
    }
}
prop_compose! {
    fn bypass()(
        (device, by, authorised_by, authorised_how, authorised_at) in
            (device(), of(who()), of(who()), of(authorised_how()), of(stamp())),
        (reference, purpose, engine_running, power_taken, protection) in
            (of(text()), of(purpose()), of(yes_no()), of(yes_no()), of(protection())),
        (seal_found, closed_at, closed_by, seal_applied) in (of(seal()), of(stamp()), of(who()), of(seal())),
    ) -> Bypass {
        Bypass {
            device, by, authorised_by, authorised_how, authorised_at, reference, purpose, engine_running, power_taken,
            protection, seal_found, closed_at, closed_by, seal_applied,
        }
    }
}
prop_compose! {
    fn fuse_check()(
        device in device(), result in fuse_result(), tested_with in of(tested_with()), fitted in of(fuse()),
        replaced_by in of(fuse()), basis in basis(), handling in of(handling()),
    ) -> FuseCheck {
        FuseCheck { device, result, tested_with, fitted, replaced_by, basis: Some(basis), handling }
    }
}
prop_compose! {
    fn engine_start()(
        attempt in of(any::<u32>()), after_long_shutdown in of(yes_no()), test_cock_result in of(test_cock()),
        motors in of(motors()), battery_rest_v in of(figure()), battery_cranking_v in of(figure()),
        main_reservoir_psi in of(figure()), outcome in outcome(),
    ) -> EngineStart {
        EngineStart {
            attempt, after_long_shutdown, test_cock_result, motors, battery_rest_v, battery_cranking_v,
            main_reservoir_psi, outcome,
        }
    }
}
prop_compose! {
    fn defect()(
        system in of(text()), text in of(text()), may_go_on in of(may_go_on()), restriction in of(text()),
        warning_notice in of(text()),
    ) -> Defect {
        Defect { system, text, may_go_on, restriction, warning_notice }
    }
}
prop_compose! {
    fn position()(
        device in device(), seen in seen(), moved_to in of(seen()), by in of(who()), why in of(text()),
        reference in of(text()), seal in of(seal()),
    ) -> Position {
        Position { device, seen, moved_to, by, why, reference, seal }
    }
}

/// The strategies of the kinds are boxed: as one value on the stack they overflow a test's thread.
pub fn what() -> impl Strategy<Value = What> {
    let trip = (device(), vec(reset(), 0..3), left());
    prop_oneof![
        trip.prop_map(|(device, resets, left)| What::BreakerTrip(BreakerTrip { device, resets, left }))
            .boxed(),
        ground_relay().prop_map(What::GroundRelay).boxed(),
        bypass().prop_map(What::Bypass).boxed(),
        fuse_check().prop_map(What::FuseCheck).boxed(),
        engine_start().prop_map(What::EngineStart).boxed(),
        (of(cause()), of(yes_no()), of(text()))
            .prop_map(|(cause, water_drained, warning_notice)| {
                What::Shutdown(Shutdown { cause, water_drained, warning_notice })
            })
            .boxed(),
        defect().prop_map(What::Defect).boxed(),
        position().prop_map(What::Position).boxed(),
    ]
}

prop_compose! {
    pub fn entry()(
        (id, found, stamp, at_how) in (any::<u128>(), any::<bool>(), stamp(), at_how()),
        (place, throttle, speed_mph, load_a) in (of(text()), of(throttle()), of(figure()), of(figure())),
        (load_klbf, weather, signs, what, note) in (of(figure()), of(weather()), of(signs()), what().boxed(), of(text())),
    ) -> Entry {
        let when = if found { When::Found(stamp) } else { When::At(stamp) };
        let id = EntryId(Uuid::from_u128(id));
        Entry { id, when, at_how, place, throttle, speed_mph, load_a, load_klbf, weather, signs, what, note }
    }
}

fn run() -> impl Strategy<Value = Run> {
    (of(text()), of(text()), of(text()), stamp(), of(stamp())).prop_map(
        |(symbol, from, to, started, ended)| Run { symbol, from, to, started: Some(started), ended },
    )
}

prop_compose! {
    pub fn report()(
        (id, unit, author, is_final) in (any::<u128>(), unit(), person(), any::<bool>()),
        (occasion, run) in prop_oneof![(Just(Occasion::Run), run().prop_map(Some)), (occasion(), run().prop_map(Some)),
            (select(&Occasion::ALL[1..]), Just(None))],
        (position, consist, weather, remarks) in (of(run_position()), vec(unit(), 0..4), of(weather()), of(text())),
        (entries, signed_at) in (vec(entry().boxed(), 0..5), stamp()),
    ) -> Report {
        let id = ReportId(Uuid::from_u128(id));
        Report { id, unit, author, occasion, is_final, run, position, consist, weather, remarks, entries, signed_at }
    }
}

prop_compose! {
    pub fn amendment()(
        id in any::<u128>(), report in any::<u128>(), author in person(), at in stamp(), reason in text(),
        entry in entry().boxed(), withdrawn in any::<bool>(),
    ) -> Amendment {
        let (id, report) = (AmendmentId(Uuid::from_u128(id)), ReportId(Uuid::from_u128(report)));
        Amendment { id, report, entry: entry.id, author, at, reason, replacement: (!withdrawn).then_some(entry) }
    }
}

/// The report that the contract shows, with every kind and true times, for tests that need one by heart.
pub const EXAMPLE: &str = include_str!("example.json");
