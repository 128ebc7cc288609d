//! The ground relay's own test: whether it picked up, at what, and whether it was reset. Asked for after a bypass or
//! work on the relay.
use serde::{Deserialize, Serialize};

use super::{Judged, Part, Source, Verdict, Wrong, source};
use crate::base::{Tag, words::words};

words! { pub enum Unit { Volts = "volts", Milliamperes = "milliamperes", } }

impl Unit {
    fn short(self) -> &'static str {
        match self {
            Self::Volts => "V",
            Self::Milliamperes => "mA",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GroundRelayTest {
    pub device: Option<Tag>,
    pub picked_up: bool,
    pub at: Option<f64>,
    pub unit: Unit,
    /// `None`: not looked.
    pub reset: Option<bool>,
    /// For this relay, typed in: one handbook's figure is for one unit.
    pub least: Option<f64>,
    pub most: Option<f64>,
    pub limit_from: Option<String>,
}

impl GroundRelayTest {
    pub fn judge(&self) -> Judged {
        let mut parts = vec![self.operates()];
        parts.extend(self.pick_up());
        Judged::of(parts)
    }

    fn operates(&self) -> Part {
        let (verdict, says) = match (self.picked_up, self.reset) {
            (false, _) => (Verdict::Fail, "It did not pick up: the unit has no ground protection."),
            (true, Some(false)) => (Verdict::Fail, "It picked up and could not be reset."),
            (true, None) => (Verdict::DoesNotApply, "It picked up; whether it was reset is not written."),
            (true, Some(true)) => (Verdict::Pass, "It picked up and was reset."),
        };
        Part::judged("ground relay", verdict, says).by([source::relay_checked()])
    }

    fn pick_up(&self) -> Option<Part> {
        let (at, unit) = (self.at.filter(|_| self.picked_up)?, self.unit.short());
        let about = "picked up at";
        if self.least.is_none() && self.most.is_none() {
            let says = format!(
                "{at} {unit}. No limit was typed in: figures for one relay are not taken over to another."
            );
            return Some(Part::told(about, says).by([Source::typed_in("as read")]));
        }
        let under = self.least.is_some_and(|least| at < least);
        let over = self.most.is_some_and(|most| at > most);
        let bounds: Vec<String> = [("at least", self.least), ("at most", self.most)]
            .into_iter()
            .filter_map(|(word, limit)| limit.map(|limit| format!("{word} {limit} {unit}")))
            .collect();
        let (verdict, word) =
            if under || over { (Verdict::Fail, "not as wanted") } else { (Verdict::Pass, "as wanted") };
        let from = Source::typed_in(self.limit_from.as_deref().unwrap_or("a limit typed in"));
        Some(Part::judged(about, verdict, format!("{at} {unit}, {word}: {}.", bounds.join(", "))).by([from]))
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let mut out = Vec::new();
        let limited = self.least.is_some() || self.most.is_some();
        if limited && self.limit_from.is_none() {
            out.push(Wrong::at("limit_from", "Say where this limit is from: it is named beside the result."));
        }
        if let (Some(least), Some(most)) = (self.least, self.most)
            && least > most
        {
            out.push(Wrong::at("most", "The most is below the least: are they in each other's place?"));
        }
        if self.at.is_some_and(|n| !(0.0..=100_000.0).contains(&n)) {
            out.push(Wrong::at("at", "Write a number from 0 to 100,000."));
        }
        out
    }
}
