//! What goes wrong on a run, each device at its own rate.
use serde_json::{Value, json};

use super::{
    entries::tenths,
    fleet::DeviceRow,
    form::Leg,
    shop::{Owed, Owing},
    stories,
    year::Year,
};
use crate::base::{
    Instant,
    instant::{HOUR, MINUTE},
};

/// System, what was written, what it lets the unit do.
const DEFECTS: [(&str, &str, &str); 14] = [
    ("sanding", "No sand from the left rear nozzle", "yes"),
    ("cab", "Engineer's seat will not lock", "yes"),
    ("cab", "Side window does not shut", "yes"),
    ("wipers", "Right wiper stops half way", "yes"),
    ("headlight", "One ditch light out", "yes"),
    ("horn", "Horn weak below 100 psi", "yes"),
    ("cooling_water", "Water drips at the sight glass", "yes"),
    ("fuel", "Fuel gauge reads empty, dip says half", "yes"),
    ("load", "Load swings in notch 6 and above", "yes"),
    ("brake", "Independent slow to release", "restricted"),
    ("multiple_unit", "Jumper socket cover missing, rear", "restricted"),
    ("dynamic_brake", "No dynamic brake above notch 4", "restricted"),
    ("wheel_slip", "Wheel slip light on for no reason", "restricted"),
    ("traction", "Loud knock from the front truck", "no"),
];

impl Year<'_> {
    pub fn troubles(&mut self, ix: usize, leg: &Leg, entries: &mut Vec<Value>) {
        let days = self.gap_days(ix, leg.end) * self.units[ix].luck;
        let class = self.units[ix].class.clone();
        let mut found: Vec<(Instant, Value)> = Vec::new();
        for device in self.fleet.of_class(&class).to_vec() {
            let Some(mean) = device.mean_days else { continue };
            let already =
                self.units[ix].owed.iter().any(|owed| owed.device.as_deref() == Some(device.tag.as_str()));
            let wet = if device.kind == "relay" { self.wetness(ix, leg) } else { 1.0 };
            if !already && self.dice.chance(1.0 - (-days * wet / mean).exp()) {
                let at = self.during(leg);
                found.extend(self.trouble(ix, &device, at).map(|entry| (at, entry)));
            }
        }
        // Whose battery weakens has no other repair, which would begin its story afresh.
        let weakens = self.units[ix].name == stories::WEAKENS;
        if self.dice.chance(days / 110.0) && !weakens {
            let at = self.during(leg);
            found.push((at, self.defect(ix, at)));
        }
        if self.dice.chance(days / 420.0) && !weakens {
            let at = leg.end.minus(3 * MINUTE);
            found.push((at, self.shutdown(ix, at)));
        }
        found.sort_by_key(|(at, _)| *at);
        entries.extend(found.into_iter().map(|(_, entry)| entry));
    }

    /// Wet days bring out the leaks to the frame; one unit leaks wherever rain gets in.
    fn wetness(&self, ix: usize, leg: &Leg) -> f64 {
        let leaks = self.units[ix].name == stories::LEAKS;
        match self.calendar.weather(leg.start) {
            "rain" | "high_water" if leaks => 24.0,
            _ if leaks => 0.1,
            "rain" | "high_water" => 2.6,
            "snow" | "blowing_snow" | "fog" => 1.4,
            _ => 0.6,
        }
    }

    fn during(&mut self, leg: &Leg) -> Instant {
        let minutes = leg.end.since(leg.start) / MINUTE;
        leg.start.plus(self.dice.minutes(25, (minutes - 12).max(30)))
    }

    fn trouble(&mut self, ix: usize, device: &DeviceRow, at: Instant) -> Option<Value> {
        match device.kind.as_str() {
            "breaker" => Some(self.trip(ix, device, at)),
            "fuse" => Some(self.blown(ix, device, at)),
            "relay" if at > self.units[ix].quiet_ground_until => Some(self.ground(ix, at)),
            _ => None,
        }
    }

    /// A breaker trip, with one reset where the schedule and the last day allow one.
    fn trip(&mut self, ix: usize, device: &DeviceRow, at: Instant) -> Value {
        let signs =
            self.dice.weighted(&[("none", 0.86), ("not_looked", 0.07), ("smell", 0.04), ("heat", 0.03)]);
        let looked = matches!(signs, "none");
        let last = self.units[ix].last_reset.get(&device.tag);
        let rested = last.is_none_or(|last| at.since(*last) > 26 * HOUR);
        let may = rested && looked && device.crew_resets != Some(0);
        let mut fields = self.running(ix);
        let mut left = "tripped";
        if may {
            let result =
                self.dice.weighted(&[("held", 0.86), ("tripped_again", 0.1), ("would_not_latch", 0.04)]);
            fields["resets"] = json!([self.reset(device, at, result)]);
            self.units[ix].last_reset.insert(device.tag.clone(), at.plus(10 * MINUTE));
            if result == "held" {
                left = "on";
            }
        }
        if left != "on" || self.dice.chance(0.05) {
            let owing = if left == "on" { Owing::Look } else { Owing::DeviceOff };
            self.owe(ix, Some(device.tag.clone()), owing, device.stops_the_unit() && left != "on");
        }
        fields["device"] = device.tag.clone().into();
        fields["signs"] = signs.into();
        fields["left"] = left.into();
        fields["at_how"] = self.dice.weighted(&[("clock", 0.75), ("about", 0.25)]).into();
        self.make("breaker_trip", at, fields)
    }

    fn reset(&mut self, device: &DeviceRow, at: Instant, result: &str) -> Value {
        let basis = match (device.crew_resets, device.overload_by_design.as_str()) {
            (None, _) => "told_by_shop",
            (_, "yes") => "overload_known",
            _ => self.dice.weighted(&[("looked_no_sign", 0.75), ("standing_instruction", 0.25)]),
        };
        let told_by = (basis == "told_by_shop").then(|| self.dice.pick(&self.fleet.foremen).clone());
        let after = at.plus(self.dice.minutes(3, 9));
        json!({"at": self.calendar.stamp(after), "basis": basis, "told_by": told_by, "result": result})
    }

    fn blown(&mut self, ix: usize, device: &DeviceRow, at: Instant) -> Value {
        self.owe(ix, Some(device.tag.clone()), Owing::Fuse, true);
        let fields = json!({
            "device": device.tag, "result": "blown", "tested_with": "indicator", "fitted": four_figures(device),
            "note": "Not touched, shop called",
        });
        self.make("fuse_check", at, fields)
    }

    fn ground(&mut self, ix: usize, at: Instant) -> Value {
        let operations = if self.dice.chance(0.15) { 2 } else { 1 };
        let locked = self.dice.chance(0.05);
        // Nobody has looked for the leak yet.
        let locked = locked && self.units[ix].name != stories::LEAKS;
        if (locked || self.dice.chance(0.12)) && self.units[ix].name != stories::LEAKS {
            self.owe(ix, Some("ground_relay".to_owned()), Owing::Ground, locked);
        }
        let mut fields = self.running(ix);
        fields["device"] = Value::Null;
        fields["operations"] = operations.into();
        fields["last_at"] = self.calendar.stamp(at.plus(i64::from(operations - 1) * 7 * MINUTE)).into();
        fields["mode"] = self.dice.weighted(&[("motoring", 0.8), ("braking", 0.2)]).into();
        fields["circuit"] = self.dice.weighted(&[("high_voltage", 0.8), ("not_known", 0.2)]).into();
        fields["reset"] =
            if locked { "locked_out" } else { self.dice.weighted(&[("by_hand", 0.7), ("itself", 0.3)]) }
                .into();
        fields["after"] = if locked { "isolated" } else { "loads_again" }.into();
        fields["weather"] = self.calendar.weather(at).into();
        self.make("ground_relay", at, fields)
    }

    fn defect(&mut self, ix: usize, at: Instant) -> Value {
        let (system, text, may_go_on) = *self.dice.pick(&DEFECTS);
        self.owe(ix, None, Owing::Defect(text), may_go_on == "no");
        let restriction = (may_go_on == "restricted").then_some("trail only until looked at");
        self.make(
            "defect",
            at,
            json!({"system": system, "text": text, "may_go_on": may_go_on, "restriction": restriction}),
        )
    }

    fn shutdown(&mut self, ix: usize, at: Instant) -> Value {
        let cause = self.dice.weighted(&[
            ("crew", 0.5),
            ("low_water", 0.28),
            ("fuel_cut_off", 0.18),
            ("crankcase_device", 0.04),
        ]);
        if cause != "crew" {
            let stops = cause == "crankcase_device";
            self.owe(ix, None, Owing::Defect("Engine shut itself down"), stops);
        }
        let notice = (cause == "crankcase_device").then_some("Do not start. Stay away, open nothing.");
        self.make("shutdown", at, json!({"cause": cause, "water_drained": "no", "warning_notice": notice}))
    }

    /// Where the train was and what the unit was doing.
    fn running(&mut self, ix: usize) -> Value {
        if self.is_yard(ix) {
            return json!({"place": "yard", "throttle": self.dice.weighted(&[("idle", 0.3), ("run_2", 0.4), ("run_4", 0.3)])});
        }
        let throttle = self.dice.weighted(&[
            ("idle", 0.1),
            ("run_3", 0.1),
            ("run_5", 0.2),
            ("run_8", 0.45),
            ("brake_4", 0.15),
        ]);
        let place = self.mile_post();
        let load =
            if throttle == "run_8" { Some(tenths(self.dice.between(480.0, 720.0)).round()) } else { None };
        json!({"place": place, "throttle": throttle, "speed_mph": self.dice.whole(8, 52), "load_a": load})
    }

    fn owe(&mut self, ix: usize, device: Option<String>, owing: Owing, at_once: bool) {
        self.units[ix].owed.push(Owed { device, owing, at_once });
    }
}

/// The four figures of the schedule, by which one fuse may stand in for another.
pub fn four_figures(device: &DeviceRow) -> Value {
    json!({"rating_a": device.rating_a, "rating_v": device.rating_v, "speed": device.speed, "body": device.body})
}
