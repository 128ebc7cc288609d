//! What an instrument can show at all, and what it seldom shows. Outside the first is refused, outside the second asked.
//! The outer limits are wider than any gauge on a locomotive, so that no true reading is ever turned away: common
//! practice, no source. The inner ones are where a misread or mistyped figure is likelier than a true one.
use super::ask;
use crate::{
    base::{Code, Problems},
    reports::{
        Entry, What,
        kinds::{EngineStart, Fuse},
        reading::fields::{Path, refuse},
    },
};

struct Limit {
    /// As a sentence ends it, with its space: ` mph`.
    unit: &'static str,
    can_be: (f64, f64),
    usual: (f64, f64),
}

const SPEED: Limit = Limit { unit: " mph", can_be: (0.0, 200.0), usual: (0.0, 90.0) };
/// Below zero: dynamic braking, on meters that show it so.
const LOAD_A: Limit = Limit { unit: " A", can_be: (-5_000.0, 10_000.0), usual: (-1_500.0, 2_000.0) };
const LOAD_KLBF: Limit = Limit { unit: " klbf", can_be: (-300.0, 500.0), usual: (-120.0, 220.0) };
/// Batteries of 32 and of 56 cells, on charge up to 2.4 V a cell.
const BATTERY: Limit = Limit { unit: " V", can_be: (0.0, 200.0), usual: (40.0, 140.0) };
const CRANKING: Limit = Limit { unit: " V", can_be: (0.0, 200.0), usual: (15.0, 120.0) };
const RESERVOIR: Limit = Limit { unit: " psi", can_be: (0.0, 250.0), usual: (0.0, 155.0) };
const FUSE_A: Limit = Limit { unit: " A", can_be: (0.01, 10_000.0), usual: (0.1, 1_500.0) };
const FUSE_V: Limit = Limit { unit: " V", can_be: (1.0, 10_000.0), usual: (12.0, 4_000.0) };
const OPERATIONS: Limit = Limit { unit: " operations", can_be: (1.0, 10_000.0), usual: (1.0, 20.0) };
const ATTEMPT: Limit = Limit { unit: " attempts", can_be: (1.0, 1_000.0), usual: (1.0, 10.0) };
const RESETS: usize = 10;

pub fn of_entry(entry: &Entry, at: &Path, problems: &mut Problems) {
    SPEED.hold(entry.speed_mph, "speed_mph", at, problems);
    LOAD_A.hold(entry.load_a, "load_a", at, problems);
    LOAD_KLBF.hold(entry.load_klbf, "load_klbf", at, problems);
    match &entry.what {
        What::EngineStart(start) => of_start(start, at, problems),
        What::FuseCheck(check) => {
            of_fuse(check.fitted.as_ref(), "fitted", at, problems);
            of_fuse(check.replaced_by.as_ref(), "replaced_by", at, problems);
        }
        What::GroundRelay(ground) => {
            OPERATIONS.hold(ground.operations.map(f64::from), "operations", at, problems)
        }
        What::BreakerTrip(trip) if trip.resets.len() > RESETS => {
            let says = format!("{} resets of one trip are unusual. Is that right?", trip.resets.len());
            ask(problems, at, "resets", Code::Unusual, says);
        }
        _ => {}
    }
}

fn of_start(start: &EngineStart, at: &Path, problems: &mut Problems) {
    ATTEMPT.hold(start.attempt.map(f64::from), "attempt", at, problems);
    BATTERY.hold(start.battery_rest_v, "battery_rest_v", at, problems);
    CRANKING.hold(start.battery_cranking_v, "battery_cranking_v", at, problems);
    RESERVOIR.hold(start.main_reservoir_psi, "main_reservoir_psi", at, problems);
    if let (Some(rest), Some(cranking)) = (start.battery_rest_v, start.battery_cranking_v)
        && cranking > rest
    {
        let says = "The battery shows more while cranking than at rest. Are the two figures swapped?";
        ask(problems, at, "battery_cranking_v", Code::Unusual, says);
    }
}

fn of_fuse(fuse: Option<&Fuse>, field: &str, at: &Path, problems: &mut Problems) {
    let Some(fuse) = fuse else { return };
    let at = Path::Field(at, field);
    FUSE_A.hold(fuse.rating_a, "rating_a", &at, problems);
    FUSE_V.hold(fuse.rating_v, "rating_v", &at, problems);
}

impl Limit {
    fn hold(&self, figure: Option<f64>, field: &str, at: &Path, problems: &mut Problems) {
        let Some(figure) = figure else { return };
        let within = |(least, most): (f64, f64)| (least..=most).contains(&figure);
        let Self { unit, can_be: (least, most), .. } = self;
        if !within(self.can_be) {
            let says = format!(
                "This cannot be: it lies between {least} and {most}{unit}. Read it again, or leave it blank."
            );
            refuse::<()>(problems, &Path::Field(at, field), Code::OutOfRange, says);
        } else if !within(self.usual) {
            ask(problems, at, field, Code::Unusual, format!("{figure}{unit} is unusual. Is that right?"));
        }
    }
}
