//! One filing by one person about one unit.
use serde::Serialize;

use super::{
    entry::Entry,
    vocabulary::{Occasion, RunPosition, Weather},
};
use crate::base::{Instant, ReportId, SignIn, Stamp, UnitName};

/// Equal reports are the same report: key order, white space, null or absent, `38` or `38.0` and equal
/// instants do not matter, since none of them is left once parsed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    pub id: ReportId,
    pub unit: UnitName,
    pub author: SignIn,
    pub occasion: Occasion,
    #[serde(rename = "final")]
    pub is_final: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<Run>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<RunPosition>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub consist: Vec<UnitName>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weather: Option<Weather>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remarks: Option<String>,
    pub entries: Vec<Entry>,
    pub signed_at: Stamp,
}

impl Report {
    /// When its run began, if it was made on one.
    pub fn run_began(&self) -> Option<Instant> {
        let run = self.run.as_ref().filter(|_| self.occasion == Occasion::Run)?;
        run.started.map(|stamp| stamp.at)
    }
}

#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Run {
    /// The train symbol.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub symbol: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// Always there when the occasion is a run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub started: Option<Stamp>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<Stamp>,
}
