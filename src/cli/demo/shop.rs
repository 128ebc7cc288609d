//! What the shop did about it: held, repaired, put back, released.
use serde_json::{Value, json};

use super::{form::Filing, history::Act, troubles::four_figures, year::Year};
use crate::base::{
    Instant,
    instant::{HOUR, MINUTE},
};

/// Something the shop still has to look at.
#[derive(Clone, Debug)]
pub struct Owed {
    /// A tag, or `ground_relay`.
    pub device: Option<String>,
    pub owing: Owing,
    /// The unit goes nowhere before.
    pub at_once: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Owing {
    DeviceOff,
    /// Closed and held, but somebody asked for a look.
    Look,
    Fuse,
    Ground,
    Defect(&'static str),
}

const BREAKER_CAUSES: [(&str, bool); 6] = [
    ("Breaker weak, replaced", true),
    ("Connection loose at the terminal strip, tightened", false),
    ("Wire chafed at the cabinet wall, repaired", false),
    ("Jumper damaged, replaced", false),
    ("Contactor coil shorted, replaced", true),
    ("No fault found", false),
];
const GROUND_CAUSES: [(&str, bool); 4] = [
    ("Wet cable entry at a traction motor, dried and sealed", false),
    ("Brush holder dirty, cleaned", false),
    ("Chafed motor lead found, repaired", false),
    ("No fault found, insulation above the limit", false),
];

impl Year<'_> {
    /// After a run: to the shop if something is owed that cannot wait, or because today it is looked at.
    pub fn perhaps_to_the_shop(&mut self, ix: usize) {
        let unit = &self.units[ix];
        let silent_next = unit.silent.is_some_and(|(from, to)| (from..to).contains(&unit.ready));
        let last_chance = unit.ready >= unit.until || silent_next;
        let (owes, at_once) = (!unit.owed.is_empty(), unit.owed.iter().any(|owed| owed.at_once));
        if owes && (at_once || last_chance || self.dice.chance(0.5)) {
            self.visit(ix);
        } else if !last_chance && self.dice.chance(0.004) {
            self.routine_insulation_test(ix);
        }
    }

    fn visit(&mut self, ix: usize) {
        let owed = std::mem::take(&mut self.units[ix].owed);
        let name = self.units[ix].name.clone();
        let held_at = self.units[ix].last_end.plus(self.dice.minutes(50, 240));
        let by = self.dice.pick(&self.fleet.electricians).clone();
        let foreman = self.dice.pick(&self.fleet.foremen).clone();
        let reason = owed.first().map_or_else(String::new, reason_of);
        self.put(held_at, Act::Held { unit: name.clone(), by: foreman.clone(), at: held_at, reason });
        let mut at = held_at.plus(self.dice.minutes(120, 22 * 60));
        let mut entries = Vec::new();
        for one in &owed {
            at = at.plus(20 * MINUTE);
            self.repair(ix, one, &by, at);
            entries.extend(self.put_back(ix, one, &by, at.plus(4 * MINUTE)));
        }
        entries.push(self.cutout_closed(ix, at.plus(10 * MINUTE)));
        let signed_at = at.plus(15 * MINUTE);
        self.file_in_shop(ix, &by, entries, signed_at);
        let released = signed_at.plus(self.dice.minutes(20, 120));
        let reason = "Work done, tried under load".to_owned();
        self.put(released, Act::Released { unit: name, by: foreman, at: released, reason });
        self.units[ix].ready = released.plus(self.dice.minutes(60, 9 * 60));
    }

    fn repair(&mut self, ix: usize, owed: &Owed, by: &str, at: Instant) {
        let (cause, new_life) = match owed.owing {
            Owing::DeviceOff | Owing::Look => *self.dice.pick(&BREAKER_CAUSES),
            Owing::Ground => *self.dice.pick(&GROUND_CAUSES),
            Owing::Fuse => ("Blown fuse, circuit examined, replaced by the same", true),
            Owing::Defect(_) => ("Repaired as reported", false),
        };
        self.repair_closed(ix, owed.device.as_deref(), by, at, cause, new_life);
    }

    /// Opened an hour or so before, with what was measured in between.
    pub fn repair_closed(
        &mut self,
        ix: usize,
        device: Option<&str>,
        by: &str,
        at: Instant,
        cause: &str,
        new_life: bool,
    ) {
        let opened = at.minus(self.shop_dice.minutes(52, 75));
        let id = self.paper_id(opened);
        let (unit, of) = (self.units[ix].name.clone(), device.map(str::to_owned));
        let by_whom = by.to_owned();
        self.put(opened, Act::RepairOpened { id, unit, device: of, by: by_whom, at: opened });
        self.tests_of_repair(ix, device, (by, at, id), cause);
        let (unit, device) = (self.units[ix].name.clone(), device.map(str::to_owned));
        let (by, cause) = (by.to_owned(), cause.to_owned());
        self.put(at, Act::RepairClosed { id, unit, device, by, at, cause, new_life });
    }

    /// The device as the electrician left it, so that the board and the next crew see it on again.
    fn put_back(&mut self, ix: usize, owed: &Owed, by: &str, at: Instant) -> Option<Value> {
        let tag = owed.device.clone()?;
        match owed.owing {
            Owing::DeviceOff => {
                let fields =
                    json!({"device": tag, "seen": "tripped", "moved_to": "on", "by": by, "why": "repaired"});
                Some(self.make("position", at, fields))
            }
            Owing::Fuse => {
                let class = self.units[ix].class.clone();
                let device = self.fleet.of_class(&class).iter().find(|device| device.tag == tag)?;
                let fitted = four_figures(device);
                let fields = json!({
                    "device": tag, "result": "good", "tested_with": "meter", "fitted": fitted, "basis": "examined",
                    "handling": "de_energised",
                });
                Some(self.make("fuse_check", at, fields))
            }
            Owing::Look | Owing::Ground | Owing::Defect(_) => None,
        }
    }

    pub fn file_in_shop(
        &mut self,
        ix: usize,
        author: &str,
        entries: Vec<Value>,
        signed_at: Instant,
    ) -> Value {
        let unit = self.units[ix].name.clone();
        let report = Filing {
            unit: &unit,
            author,
            occasion: "in_shop",
            is_final: true,
            leg: None,
            position: None,
            consist: &[],
            weather: None,
            remarks: None,
            entries,
            signed_at,
        }
        .into_json(&mut self.dice, &self.calendar);
        self.put(signed_at.plus(MINUTE), Act::Report(report.clone()));
        report
    }

    /// A hold for `hours` from then on is what a test of the insulation is done under.
    pub fn hold(&mut self, ix: usize, by: &str, at: Instant, reason: &str) {
        let (unit, by, reason) = (self.units[ix].name.clone(), by.to_owned(), reason.to_owned());
        self.put(at, Act::Held { unit, by, at, reason });
    }

    pub fn release(&mut self, ix: usize, by: &str, at: Instant, reason: &str) {
        let (unit, by, reason) = (self.units[ix].name.clone(), by.to_owned(), reason.to_owned());
        self.put(at, Act::Released { unit, by, at, reason });
        self.units[ix].ready = self.units[ix].ready.max(at.plus(2 * HOUR));
    }
}

fn reason_of(owed: &Owed) -> String {
    match (&owed.owing, &owed.device) {
        (Owing::Ground, _) => "Ground relay to be looked at".to_owned(),
        (Owing::Fuse, Some(tag)) => format!("{tag} blown"),
        (Owing::Look, Some(tag)) => format!("{tag} to be looked at"),
        (Owing::Defect(text), _) => (*text).to_owned(),
        (_, tag) => format!("{} left off by the crew", tag.as_deref().unwrap_or("Device")),
    }
}
