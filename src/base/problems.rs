//! What is wrong with something typed or sent: a place, a code for programs, a sentence for people.
use serde::Serialize;

use super::words::words;

words! {
    /// Why a field was refused, or (see [`Code::is_warning`]) asked about once.
    pub enum Code {
        Missing = "missing",
        UnknownField = "unknown_field",
        WrongType = "wrong_type",
        NotAllowed = "not_allowed",
        UnknownDevice = "unknown_device",
        UnknownPerson = "unknown_person",
        Future = "future",
        NoOffset = "no_offset",
        OutOfRange = "out_of_range",
        Unusual = "unusual",
        OutsideRun = "outside_run",
        ClosedBeforeOpened = "closed_before_opened",
        EngineRunning = "engine_running",
        IdInUse = "id_in_use",
        SameAgain = "same_again",
    }
}

/// One thing that is wrong, or that was asked about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, serde::Deserialize, schemars::JsonSchema)]
pub struct Problem {
    /// Where, as in `entries[0].device`; empty for the whole.
    pub path: String,
    pub code: Code,
    /// For a person: what is wrong, and what to do.
    pub says: String,
}

/// Problems as they are found. Refusals and warnings are kept apart from the start.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Problems {
    pub refusals: Vec<Problem>,
    pub warnings: Vec<Problem>,
}

impl Problems {
    /// Nobody reads more at once, and nobody can make us write down more: the rest is dropped, each kind for itself.
    pub const MOST: usize = 100;

    pub fn refuse(&mut self, path: impl Into<String>, code: Code, says: impl Into<String>) {
        if self.refusals.len() < Self::MOST {
            self.refusals.push(Problem { path: path.into(), code, says: says.into() });
        }
    }

    pub fn ask(&mut self, path: impl Into<String>, code: Code, says: impl Into<String>) {
        if self.warnings.len() < Self::MOST {
            self.warnings.push(Problem { path: path.into(), code, says: says.into() });
        }
    }

    /// Takes over what another look found.
    pub fn absorb(&mut self, other: Self) {
        self.refusals.extend(other.refusals);
        self.refusals.truncate(Self::MOST);
        self.warnings.extend(other.warnings);
        self.warnings.truncate(Self::MOST);
    }

    /// No further refusal would be kept: looking on is wasted work.
    pub fn is_full(&self) -> bool {
        self.refusals.len() >= Self::MOST
    }

    pub fn has_room_to_ask(&self) -> bool {
        self.warnings.len() < Self::MOST
    }

    pub fn is_refused(&self) -> bool {
        !self.refusals.is_empty()
    }
}
