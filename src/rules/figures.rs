//! Class figures: how often each device of each class operates, taken on a schedule as a page of the book.
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::base::{ClassName, Instant, Tag, UnitName};

/// Figures over the 365 days up to `as_of`, from pages with `seq <= up_to_seq`. A late entry never changes them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClassFigures {
    pub as_of: Instant,
    pub up_to_seq: u64,
    pub devices: Vec<DeviceFigures>,
    /// Service days of each unit in those 365 days.
    pub unit_days: BTreeMap<UnitName, i64>,
}

/// One device of one class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeviceFigures {
    pub class: ClassName,
    pub device: Tag,
    /// Devices of other classes with the same legend are this one's fleet.
    pub legend: String,
    /// Occurrences by unit; a unit without any is not listed.
    pub occurrences: BTreeMap<UnitName, u32>,
}
