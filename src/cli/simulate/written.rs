//! One report, as its crew would have written it.
use super::{
    dice::{Dice, Matter},
    filing::{Arrives, Filed, Happening, Run, Written, moment, quarter},
    fleet::{self, Fleet, is_fuse, plate, whole},
    lists::crew,
};
use crate::{
    base::{EntryId, Instant, ReportId, Stamp, Tag, instant::MINUTE},
    reports::{
        Entry, Report, Run as Journey, What, When,
        entry::DeviceRef,
        kinds::{BreakerTrip, EngineStart, Fuse, FuseCheck, GroundRelay, Reset},
        vocabulary::{
            After, AtHow, Basis, Circuit, FuseResult, FuseSpeed, GroundReset, Left, Mode, Motors, Occasion,
            Outcome, ResetResult, RunPosition, Signs, Throttle, Weather, YesNo,
        },
    },
};

/// Volts while cranking: a sound battery's, what it is less in the coldest month, and what a failing one loses a day.
const CRANKING: f64 = 52.0;
const COLD: f64 = 4.0;
const FAILING: f64 = 0.12;
/// Under this the engine does not turn.
const TOO_LOW: f64 = 38.0;

pub fn report(fleet: &Fleet, unit: usize, run: &Run<'_>, start: Instant, dice: &mut Dice) -> Filed {
    let options = &fleet.options;
    let (began, ended) = (moment(start, run.starts), moment(start, run.ends));
    let signed = ended.plus(10 * MINUTE);
    let mut written: Vec<Written> = Vec::with_capacity(run.happenings.len() + 1);
    if options.weak_batteries > 0.0 {
        written.push(engine_start(fleet, unit, run.starts, began, dice));
    }
    for happening in run.happenings {
        written.push(entry(fleet, unit, happening, (start, ended), dice));
    }
    let id = ReportId(dice.id(signed));
    let (lost, late, days) =
        (dice.chance(options.missing), dice.chance(options.late), dice.between(2.0, 40.0));
    let report = Report {
        id,
        unit: fleet::unit_name(unit),
        author: crew(dice.under(options.units as usize)),
        occasion: Occasion::Run,
        is_final: true,
        run: Some(Journey {
            symbol: Some(format!("S{}", 10 + dice.under(90))),
            from: None,
            to: None,
            started: Some(Stamp::utc(began)),
            ended: Some(Stamp::utc(ended)),
        }),
        position: Some(RunPosition::Lead),
        consist: Vec::new(),
        weather: Some(weather(fleet, run.ends)),
        remarks: None,
        entries: Vec::with_capacity(written.len()),
        signed_at: Stamp::utc(signed),
    };
    let arrives = match (lost, late) {
        (true, _) => Arrives::Never,
        (_, true) => Arrives::Late(moment(signed, days)),
        _ => Arrives::InTime(signed.plus(MINUTE)),
    };
    filed(report, unit, arrives, written)
}

fn filed(mut report: Report, unit: usize, arrives: Arrives, written: Vec<Written>) -> Filed {
    let rounded = written.iter().filter_map(|w| Some((w.entry.id, w.rounded?))).collect();
    let pairs = written.iter().map(|w| w.pair).collect();
    report.entries = written.into_iter().map(|w| w.entry).collect();
    Filed { report, unit, arrives, rounded, pairs }
}

fn weather(fleet: &Fleet, day: f64) -> Weather {
    let wet = fleet.wet_days.get(whole(day)).copied().unwrap_or(false);
    if wet { Weather::Rain } else { Weather::Dry }
}

fn entry(
    fleet: &Fleet,
    unit: usize,
    of: &Happening,
    (start, ended): (Instant, Instant),
    dice: &mut Dice,
) -> Written {
    let truly = moment(start, of.day);
    let at = Some(quarter(truly)).filter(|_| dice.chance(fleet.options.round_times));
    let at = at.filter(|rounded| *rounded <= ended);
    let entry = blank(at.unwrap_or(truly), what(fleet, of.device, at.unwrap_or(truly)), dice);
    let pair = unit * fleet.options.devices as usize + of.device;
    Written { entry, rounded: at.map(|_| truly), pair: Some(pair) }
}

fn blank(at: Instant, what: What, dice: &mut Dice) -> Entry {
    Entry {
        id: EntryId(dice.id(at)),
        when: When::At(Stamp::utc(at)),
        at_how: AtHow::Clock,
        place: None,
        throttle: Some(Throttle::Run5),
        speed_mph: None,
        load_a: None,
        load_klbf: None,
        weather: None,
        signs: Some(Signs::None),
        what,
        note: None,
    }
}

fn what(fleet: &Fleet, device: usize, at: Instant) -> What {
    if fleet.is_ground_relay(device) {
        return What::GroundRelay(GroundRelay {
            device: None,
            operations: Some(1),
            last_at: None,
            mode: Some(Mode::Motoring),
            circuit: Some(Circuit::HighVoltage),
            reset: Some(GroundReset::ByHand),
            after: Some(After::LoadsAgain),
            motors_cut_out: Vec::new(),
        });
    }
    let device_ref = DeviceRef::Tag(Tag::from(plate(device)));
    if is_fuse(device) {
        let fuse = Fuse {
            rating_a: Some(60.0),
            rating_v: Some(250.0),
            speed: Some(FuseSpeed::Slow),
            body: Some("B".to_owned()),
        };
        return What::FuseCheck(FuseCheck {
            device: device_ref,
            result: FuseResult::Blown,
            tested_with: None,
            fitted: Some(fuse.clone()),
            replaced_by: Some(fuse),
            basis: Some(Basis::Examined),
            handling: None,
        });
    }
    let reset = Reset {
        at: Some(Stamp::utc(at.plus(4 * MINUTE))),
        basis: Basis::LookedNoSign,
        told_by: None,
        result: Some(ResetResult::Held),
    };
    What::BreakerTrip(BreakerTrip { device: device_ref, resets: vec![reset], left: Left::On })
}

/// The start with which a run begins. A failing battery loses volts until the shop changes it, when it no longer turns
/// the engine.
fn engine_start(fleet: &Fleet, unit: usize, day: f64, at: Instant, dice: &mut Dice) -> Written {
    let volts = cranking_volts(fleet, unit, day);
    let runs = volts >= TOO_LOW;
    let start = EngineStart {
        attempt: Some(1),
        after_long_shutdown: Some(YesNo::No),
        test_cock_result: None,
        motors: Some(Motors::Electric),
        battery_rest_v: None,
        battery_cranking_v: Some(volts),
        main_reservoir_psi: None,
        outcome: if runs { Outcome::Running } else { Outcome::SlowCrank },
    };
    let mut entry = blank(at, What::EngineStart(start), dice);
    entry.throttle = Some(Throttle::Idle);
    Written { entry, rounded: None, pair: None }
}

/// In tenths of a volt, as a meter shows them.
fn cranking_volts(fleet: &Fleet, unit: usize, day: f64) -> f64 {
    let mut dice = Dice::of(fleet.options.seed, Matter::Battery, unit);
    let own = dice.between(-1.5, 1.5);
    let mut noise = Dice::of(fleet.options.seed, Matter::Battery, (unit + 1) << 20 | whole(day * 10.0));
    let noise = (0..4).map(|_| noise.between(-0.5, 0.5)).sum::<f64>();
    let cold = COLD * (std::f64::consts::TAU * (day - 14.0) / 365.0).cos().max(0.0);
    let failing = fleet.units[unit].weak_from.map_or(0.0, |from| (day - from).max(0.0) * FAILING);
    let volts = CRANKING + own + noise - cold - failing.min(CRANKING - 25.0);
    (volts * 10.0).round() / 10.0
}
