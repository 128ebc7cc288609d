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

#[derive(Clone, Debug, PartialEq, Eq, Serialize, serde::Deserialize)]
pub struct Problem {
    /// Where, as in `entries[0].device`; empty for the whole.
    pub path: String,
    pub code: Code,
    pub says: String,
}

/// Problems as they are found. Refusals and warnings are kept apart from the start.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Problems {
    pub refusals: Vec<Problem>,
    pub warnings: Vec<Problem>,
}

impl Problems {
    pub fn refuse(&mut self, path: impl Into<String>, code: Code, says: impl Into<String>) {
        self.refusals.push(Problem { path: path.into(), code, says: says.into() });
    }

    pub fn ask(&mut self, path: impl Into<String>, code: Code, says: impl Into<String>) {
        self.warnings.push(Problem { path: path.into(), code, says: says.into() });
    }

    /// Takes over what another look found.
    pub fn absorb(&mut self, other: Self) {
        self.refusals.extend(other.refusals);
        self.warnings.extend(other.warnings);
    }

    pub fn is_refused(&self) -> bool {
        !self.refusals.is_empty()
    }
}
