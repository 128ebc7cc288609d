//! Tested dead: whether the tester was shown to work before and after.
use serde::{Deserialize, Serialize};

use super::{Judged, Part, Verdict, Wrong, source};
use crate::base::words::words;

words! { pub enum Found { Dead = "dead", Live = "live", } }

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TestedDead {
    pub circuit: String,
    /// What it has when it is live.
    pub volts: Option<f64>,
    pub tester: Option<String>,
    pub checked_before: Option<bool>,
    pub checked_after: Option<bool>,
    pub locked_or_tagged: Option<bool>,
    pub found: Found,
}

/// Over so many volts the tester has to be checked.
const CHECKED_OVER_V: f64 = 600.0;

impl TestedDead {
    pub fn judge(&self) -> Judged {
        let mut parts = vec![self.test()];
        if self.found == Found::Dead && self.locked_or_tagged != Some(true) {
            let says = "De-energised, but not locked or tagged here: to be treated as energised.";
            parts.push(Part::told("lock and tag", says).by([source::not_locked()]));
        }
        let judged = Judged::of(parts);
        match self.unchecked() {
            Some(says) => judged.warning(says),
            None => judged,
        }
    }

    /// The warning over 600 V where the tester was not checked on both sides; at 600 V none is due.
    pub fn unchecked(&self) -> Option<String> {
        let over = self.volts.is_some_and(|v| v > CHECKED_OVER_V);
        let both = self.checked_before == Some(true) && self.checked_after == Some(true);
        (over && !both).then(|| {
            "Over 600 V the tester is checked on something known to be live immediately before and after. This test is not written down as such, and proves nothing.".to_owned()
        })
    }

    fn test(&self) -> Part {
        let about = "tested dead";
        if self.found == Found::Live {
            return Part::judged(about, Verdict::Fail, "It was found live.").by([source::tester()]);
        }
        if self.unchecked().is_some() {
            return Part::judged(about, Verdict::Fail, "Found dead by a tester that was not shown to work.")
                .by([source::tester()]);
        }
        match self.volts {
            Some(_) => Part::judged(about, Verdict::Pass, "Found dead.").by([source::tester()]),
            None => Part::does_not_apply(about, "Found dead, but at how many volts it works is not stated: whether the tester had to be checked is not known.").by([source::tester()]),
        }
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let off = self.volts.is_some_and(|v| !(0.0..=100_000.0).contains(&v));
        if off {
            vec![Wrong::at("volts", "Write the volts as a number from 0 to 100,000.")]
        } else {
            Vec::new()
        }
    }
}
