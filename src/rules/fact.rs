//! What the rules need of an entry, small enough that a device's whole history is one packed row.
use serde::{Deserialize, Serialize};

use crate::{
    base::{EntryId, Instant, ReportId, SignIn, Tag, UnitName},
    reports::vocabulary::{
        After, AtHow, Basis, FuseResult, FuseSpeed, GroundReset, Left, MayGoOn, Mode, Motors, Outcome,
        Protection, Purpose, ResetResult, RunPosition, Seen, ShutdownCause, Signs, TestCock, YesNo,
    },
};

/// One entry (one version of it), or one act of the shop, as the rules see it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    pub entry: EntryId,
    pub report: ReportId,
    /// The page that holds this version: the report's, or the amendment's.
    pub seq: u64,
    pub at: Instant,
    pub at_how: AtHow,
    /// Found so on taking over: it happened at some time before `at`.
    pub found: bool,
    pub author: SignIn,
    pub recorded_at: Instant,
    /// When the run of its report began; operations with the same are of one run.
    pub run: Option<Instant>,
    pub position: Option<RunPosition>,
    pub signs: Option<Signs>,
    /// From the throttle: `engine_off` is no, any other yes, not stated not known.
    pub engine: YesNo,
    /// Set on a version that an amendment replaced and that must stay on the register.
    pub withdrawn: Option<Withdrawn>,
    pub told: Told,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// The amendment's page.
    pub seq: u64,
    pub by: SignIn,
    pub at: Instant,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Told {
    Trip {
        device: Tag,
        resets: Vec<ResetFact>,
        left: Left,
    },
    Ground {
        operations: u32,
        last_at: Option<Instant>,
        mode: Option<Mode>,
        reset: Option<GroundReset>,
        after: Option<After>,
    },
    Bypass(Box<BypassFact>),
    Fuse {
        device: Tag,
        result: FuseResult,
        fitted: Option<FuseFact>,
        replaced_by: Option<FuseFact>,
        basis: Option<Basis>,
    },
    Start {
        outcome: Outcome,
        attempt: Option<u32>,
        motors: Option<Motors>,
        battery_cranking_v: Option<f64>,
        test_cock: Option<TestCock>,
    },
    Shutdown {
        cause: Option<ShutdownCause>,
        warning_notice: Option<String>,
    },
    Defect {
        system: Option<String>,
        text: Option<String>,
        may_go_on: Option<MayGoOn>,
        restriction: Option<String>,
        warning_notice: Option<String>,
    },
    Position(Box<PositionFact>),
    /// A repair of this device (or, in the unit's dossier, of the unit) was closed at `at`.
    RepairClosed {
        /// The device itself was replaced.
        new_life: bool,
        no_fault_found: bool,
        /// The part that was put in came from this unit's same device.
        from: Option<UnitName>,
    },
    /// The unit was released into service at `at`.
    Released,
    /// In the unit's dossier: a repair of what starts the engine was closed at `at`. It answers nothing else there.
    StartRepaired,
    /// Only in dossiers of what operated together: a device operated at `at`, by the clock.
    Operated {
        device: Tag,
        on: On,
    },
    /// Only there: a repair of this unit, or of one device of it, was closed at `at`.
    Mended {
        device: Option<Tag>,
    },
    /// In the unit's dossier: a repair of the unit was closed at `at` that answers these entries, and nothing else.
    RepairAnswered {
        entries: Vec<EntryId>,
    },
}

/// On which unit something operated, seen from the unit whose dossier it is in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum On {
    /// On itself, while coupled to these as its report says; sorted.
    Itself { with: Vec<UnitName> },
    /// On this other one, whose report says that they were coupled.
    Other(UnitName),
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ResetFact {
    pub at: Option<Instant>,
    pub basis: Basis,
    pub result: Option<ResetResult>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, Default)]
pub struct FuseFact {
    pub rating_a: Option<f64>,
    pub rating_v: Option<f64>,
    pub speed: Option<FuseSpeed>,
    pub body: Option<String>,
}

/// Who did something, as told: a sign-in name, other words, or not known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Hand {
    Person(SignIn),
    Named(String),
    NotKnown,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BypassFact {
    pub device: Tag,
    pub by: Hand,
    pub authorised_by: Option<Hand>,
    pub authorised_how: Option<String>,
    pub authorised_at: Option<Instant>,
    pub reference: Option<String>,
    pub purpose: Option<Purpose>,
    pub engine_running: YesNo,
    pub power_taken: YesNo,
    pub protection: Option<Protection>,
    pub seal_found: Option<String>,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<Hand>,
    pub seal_applied: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PositionFact {
    pub device: Tag,
    pub seen: Seen,
    pub moved_to: Option<Seen>,
    pub by: Hand,
    pub why: Option<String>,
    pub reference: Option<String>,
    pub seal: Option<String>,
}

/// Who had a unit and when: one report's run (or its signing time, where there was no run).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunFact {
    pub report: ReportId,
    pub unit: UnitName,
    pub author: SignIn,
    pub started: Instant,
    /// As stated, else when the report was signed: until then at least the crew had it.
    pub ended: Option<Instant>,
    pub symbol: Option<String>,
    /// The unit moved under its own crew: the occasion was a run, and not dead in tow.
    pub moved: bool,
    pub position: Option<RunPosition>,
}

impl Fact {
    /// Whether it is a repair that may answer entries about the unit itself.
    pub fn is_repair_of_unit(&self) -> bool {
        matches!(self.told, Told::RepairClosed { .. } | Told::RepairAnswered { .. })
    }

    /// Whether it is a repair of the unit that answers this entry, if that came before it.
    pub fn answers(&self, entry: EntryId) -> bool {
        match &self.told {
            Told::RepairClosed { .. } => true,
            Told::RepairAnswered { entries } => entries.contains(&entry),
            _ => false,
        }
    }
}
