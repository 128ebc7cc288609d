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
    /// About ground protection: the supervisor's, on the register, never ended by an amendment.
    pub fn is_ground_protection(self) -> bool {
        use Rule::{
            Expiring, NoAuthority, NoPurpose, NobodyNamed, NotAuthorised, NotReviewed, PositionDoubtful,
            SameHand, Seal, SecondGround, StillOpen, WrongOrder,
        };
        matches!(
            self,
            NotAuthorised
                | NobodyNamed
                | StillOpen
                | SecondGround
                | PositionDoubtful
                | NoPurpose
                | NoAuthority
                | WrongOrder
                | Seal
                | SameHand
                | NotReviewed
                | Expiring
        )
    }

    /// Needs no statistics.
    pub fn is_certain(self) -> bool {
        use Rule::{KeptTripping, MustStayOn, ReclosedAgain, Reported, SafetyDevice, WrongFuse};
        self.is_ground_protection()
            || matches!(self, WrongFuse | ReclosedAgain | MustStayOn | Reported | KeptTripping | SafetyDevice)
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
