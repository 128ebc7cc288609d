//! What a rule says about some entries.
use serde::{Deserialize, Serialize};

use crate::base::{ClassName, EntryId, Instant, Tag, UnitName, words::words};

words! {
    pub enum Rule {
        Burst = "burst", Often = "often", Worsening = "worsening", DidNotHold = "did_not_hold", Proving = "proving", Held = "held",
        ClassWide = "class_wide", SharedCause = "shared_cause", Wet = "wet", StartingWeakens = "starting_weakens",
        WrongFuse = "wrong_fuse", ReclosedAgain = "reclosed_again", MustStayOn = "must_stay_on", Reported = "reported",
        KeptTripping = "kept_tripping", SafetyDevice = "safety_device",
        NotAuthorised = "not_authorised", NobodyNamed = "nobody_named", StillOpen = "still_open", SecondGround = "second_ground",
        PositionDoubtful = "position_doubtful", NoPurpose = "no_purpose", NoAuthority = "no_authority", WrongOrder = "wrong_order",
        Seal = "seal", SameHand = "same_hand", NotReviewed = "not_reviewed", Expiring = "expiring",
    }
}

impl Rule {
    /// The supervisor's: on the register, never ended by an amendment.
    pub const GROUND_PROTECTION: [Self; 12] = [
        Self::NotAuthorised,
        Self::NobodyNamed,
        Self::StillOpen,
        Self::SecondGround,
        Self::PositionDoubtful,
        Self::NoPurpose,
        Self::NoAuthority,
        Self::WrongOrder,
        Self::Seal,
        Self::SameHand,
        Self::NotReviewed,
        Self::Expiring,
    ];

    /// About equipment, and certain.
    pub const CERTAIN: [Self; 6] = [
        Self::WrongFuse,
        Self::ReclosedAgain,
        Self::MustStayOn,
        Self::Reported,
        Self::KeptTripping,
        Self::SafetyDevice,
    ];

    /// What is reckoned and asks for work.
    pub const RECKONED: [Self; 8] = [
        Self::Burst,
        Self::Often,
        Self::Worsening,
        Self::DidNotHold,
        Self::ClassWide,
        Self::SharedCause,
        Self::Wet,
        Self::StartingWeakens,
    ];

    /// What is reckoned and asks for none.
    pub const NOTES: [Self; 2] = [Self::Held, Self::Proving];

    pub fn is_ground_protection(self) -> bool {
        Self::GROUND_PROTECTION.contains(&self)
    }

    /// Needs no statistics.
    pub fn is_certain(self) -> bool {
        self.is_ground_protection() || Self::CERTAIN.contains(&self)
    }
}

/// Open at T exactly when `since <= T < until`: time passing changes no row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    pub rule: Rule,
    /// The same for the same matter however the reports arrived: `burst:QHB 412:TC2:2026-03-03`.
    pub key: String,
    pub unit: Option<UnitName>,
    pub device: Option<Tag>,
    pub units: Vec<UnitName>,
    pub devices: Vec<Tag>,
    pub class: Option<ClassName>,
    pub since: Instant,
    pub until: Option<Instant>,
    /// Larger is worse, 1 is ordinary.
    pub severity: f64,
    /// Extra occurrences to expect in 30 service days times severity; `None` for certain findings.
    pub rank: Option<f64>,
    pub sentence: String,
    pub entries: Vec<EntryId>,
    pub figures: serde_json::Map<String, serde_json::Value>,
}

impl Finding {
    pub fn open_at(&self, then: Instant) -> bool {
        self.since <= then && self.until.is_none_or(|until| then < until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_of_one_sort() {
        let sorts: [&[Rule]; 4] = [&Rule::GROUND_PROTECTION, &Rule::CERTAIN, &Rule::RECKONED, &Rule::NOTES];
        for rule in Rule::ALL {
            assert_eq!(sorts.iter().filter(|sort| sort.contains(rule)).count(), 1, "{rule}");
        }
    }
}
