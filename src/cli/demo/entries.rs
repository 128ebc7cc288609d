//! What a crew writes down on an ordinary run.
use serde_json::{Value, json};

use super::{
    form::{Leg, entry},
    shop::Owing,
    stories,
    year::Year,
};
use crate::base::{
    Instant,
    instant::{DAY, MINUTE},
};

impl Year<'_> {
    pub fn make(&mut self, kind: &str, at: Instant, fields: Value) -> Value {
        entry(kind, "at", at, fields, &mut self.dice, &self.calendar)
    }

    pub fn make_with(&mut self, kind: &str, time_field: &str, at: Instant, fields: Value) -> Value {
        entry(kind, time_field, at, fields, &mut self.dice, &self.calendar)
    }

    /// Starts, what was found off, the look at the cutout, and the troubles of the run, by time.
    pub fn entries_of_run(&mut self, ix: usize, leg: &Leg) -> Vec<Value> {
        let mut entries = Vec::new();
        // A battery that does not hold has the engine stopped and started more often.
        let often = if self.units[ix].name == stories::WEAKENS { 0.6 } else { 0.22 };
        if self.dice.chance(often) {
            self.start_engine(ix, leg.start.plus(2 * MINUTE), &mut entries);
        }
        self.found_off(ix, leg.start.plus(12 * MINUTE), &mut entries);
        if self.dice.chance(0.86) {
            let seen = self.cutout_closed(ix, leg.start.plus(15 * MINUTE));
            entries.push(seen);
        }
        self.troubles(ix, leg, &mut entries);
        entries
    }

    pub fn cutout_closed(&mut self, ix: usize, at: Instant) -> Value {
        let seal = self.units[ix].seal.to_string();
        self.make("position", at, json!({"device": "GRC", "seen": "closed", "seal": seal}))
    }

    /// One start in forty fails the first time.
    fn start_engine(&mut self, ix: usize, at: Instant, entries: &mut Vec<Value>) {
        let cold = matches!(self.calendar.month(at), 11 | 12 | 1 | 2);
        let long = at.since(self.units[ix].last_end) > 24 * 60 * MINUTE;
        let weak = self.units[ix].name == stories::WEAKENS;
        let worn = if weak { at.since(self.calendar.starts) as f64 / (36 * DAY) as f64 } else { 0.0 };
        let drop = worn + if cold { 2.4 } else { 0.0 };
        let mut attempt = |year: &mut Self, number: u32, outcome: &str| {
            let (rest, cranking) =
                (year.dice.between(65.2, 68.4) - drop / 2.0, year.dice.between(50.5, 55.5) - drop);
            let fields = json!({
                "attempt": number, "after_long_shutdown": if long { "yes" } else { "no" },
                "test_cock_result": if long { "clear" } else { "not_looked" }, "motors": "electric",
                "battery_rest_v": tenths(rest), "battery_cranking_v": tenths(cranking),
                "main_reservoir_psi": year.dice.whole(92, 138), "outcome": outcome,
            });
            let made = year.make("engine_start", at.plus(i64::from(number - 1) * 4 * MINUTE), fields);
            entries.push(made);
        };
        let fails = self.dice.chance(if cold { 0.04 } else { 0.02 });
        if fails {
            let outcome =
                self.dice.weighted(&[("no_fire", 0.5), ("slow_crank", 0.3), ("started_then_stopped", 0.2)]);
            attempt(self, 1, outcome);
        }
        attempt(self, if fails { 2 } else { 1 }, "running");
    }

    /// Devices that an earlier crew had left off, as this one finds them.
    fn found_off(&mut self, ix: usize, at: Instant, entries: &mut Vec<Value>) {
        let off = |owed: &super::shop::Owed| match owed.owing {
            Owing::DeviceOff => owed.device.clone(),
            _ => None,
        };
        let devices: Vec<String> = self.units[ix].owed.iter().filter_map(off).collect();
        for device in devices {
            if self.dice.chance(0.7) {
                let fields = json!({"device": device, "seen": "tripped", "note": "As handed over"});
                let made = self.make_with("position", "found_at", at, fields);
                entries.push(made);
            }
        }
    }
}

/// As a gauge is read: one figure after the point.
pub fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
