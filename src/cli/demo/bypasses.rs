//! Openings of the ground-relay cutout as they should be: authorised, under a hold, for a test, closed and
//! sealed within the shift, and reviewed by somebody with no hand in it.
use serde_json::{Value, json};

use super::{history::Act, year::Year};
use crate::base::{
    Instant,
    instant::{DAY, HOUR, MINUTE},
};

/// Of the four supervisors these two grant and order, and the other two review.
const ORDERERS: [&str; 2] = ["m.ruiz", "d.ahlgren"];
const REVIEWERS: [&str; 2] = ["h.vance", "o.sterne"];

pub struct Opening<'p> {
    pub opened_at: Instant,
    pub minutes: i64,
    pub by: &'p str,
    pub authorised_by: &'p str,
    pub reference: &'p str,
    pub purpose: &'static str,
}

impl Year<'_> {
    pub fn routine_insulation_test(&mut self, ix: usize) {
        let opened_at = self.units[ix].last_end.plus(self.dice.minutes(3 * 60, 18 * 60));
        // The newest openings are told by the stories, so that what waits for review is theirs.
        if opened_at > self.calendar.ends.minus(12 * DAY) {
            return;
        }
        let may: &[&str] = match self.units[ix].class.as_str() {
            "QA6" => &["a.lind", "b.nyland", "p.imrie", "j.oduya"],
            "QD6" => &["a.lind", "b.nyland", "k.vasko", "p.imrie"],
            _ if opened_at < self.calendar.ends.minus(40 * DAY) => {
                &["a.lind", "k.vasko", "p.imrie", "t.brask"]
            }
            _ => &["a.lind", "k.vasko", "p.imrie"],
        };
        let (by, authorised_by) = (*self.dice.pick(may), *self.dice.pick(&ORDERERS));
        let reference = format!("WO {}", self.dice.whole(3100, 5200));
        let minutes = self.dice.whole(35, 130);
        let opening = Opening {
            opened_at,
            minutes,
            by,
            authorised_by,
            reference: &reference,
            purpose: "insulation_test",
        };
        let (entry, _) = self.open_in_shop(ix, &opening);
        let reviewer = *self.dice.pick(&REVIEWERS);
        let at = opened_at.plus(self.dice.minutes(20 * 60, 5 * 24 * 60));
        self.review(ix, &entry, reviewer, at);
    }

    /// Held, opened, closed and sealed, reported by the one who did it, released. Returns the entry's id and
    /// when the unit was released.
    pub fn open_in_shop(&mut self, ix: usize, opening: &Opening<'_>) -> (String, Instant) {
        let foreman = self.dice.pick(&self.fleet.foremen).clone();
        let before = opening.opened_at.minus(self.dice.minutes(40, 90));
        self.hold(ix, &foreman, before, &format!("Ground test, {}", opening.reference));
        let closed_at = opening.opened_at.plus(opening.minutes * MINUTE);
        let entry = self.opening_entry(ix, opening, closed_at);
        let id = entry["id"].as_str().unwrap_or_default().to_owned();
        let seen = self.cutout_closed(ix, closed_at.plus(6 * MINUTE));
        self.file_in_shop(ix, opening.by, vec![entry, seen], closed_at.plus(12 * MINUTE));
        let released = closed_at.plus(self.dice.minutes(40, 100));
        self.release(ix, &foreman, released, "Cutout closed and sealed, tried under load");
        self.tests_of_opening(ix, opening, closed_at);
        self.units[ix].quiet_ground_until = closed_at.plus(40 * HOUR);
        (id, released)
    }

    fn opening_entry(&mut self, ix: usize, opening: &Opening<'_>, closed_at: Instant) -> Value {
        let seal_found = self.units[ix].seal.to_string();
        self.next_seal += self.dice.whole(11, 29);
        self.units[ix].seal = self.next_seal;
        let authorised_at = opening.opened_at.minus(self.dice.minutes(15, 35));
        let fields = json!({
            "device": "GRC", "throttle": "engine_off", "by": opening.by, "authorised_by": opening.authorised_by,
            "authorised_how": "written", "authorised_at": self.calendar.stamp(authorised_at),
            "reference": opening.reference, "purpose": opening.purpose, "engine_running": "no", "power_taken": "no",
            "protection": "lock", "seal_found": seal_found, "closed_at": self.calendar.stamp(closed_at),
            "closed_by": opening.by, "seal_applied": self.units[ix].seal.to_string(),
        });
        self.make_with("bypass", "opened_at", opening.opened_at, fields)
    }

    pub fn review(&mut self, ix: usize, entry: &str, by: &str, at: Instant) {
        let act = Act::BypassReviewed {
            unit: self.units[ix].name.clone(),
            device: "GRC".to_owned(),
            entry: entry.to_owned(),
            by: by.to_owned(),
            at,
            judgement: "in_order",
            words: "Right, order, lock and both seal numbers looked up".to_owned(),
        };
        self.put(at, act);
    }
}
