//! What only looking at all pairs together can find: lists made at the first class figures of a calendar month, with the
//! time they look back from fixed then. Judging at the moment of an operation would find a trend in healthy pairs.
use serde::{Deserialize, Serialize};

use crate::base::{ClassName, Instant, Tag, UnitName, instant::as_text};

/// The lists of one month; later figures of the same month carry them on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Monthly {
    #[serde(with = "as_text")]
    pub as_of: Instant,
    /// Pairs that get worse, sorted by unit and device.
    pub worsening: Vec<Worsening>,
    /// Devices of a class that operate more than the rest's, sorted by class and device.
    pub class_wide: Vec<ClassWide>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worsening {
    pub unit: UnitName,
    pub device: Tag,
    /// The first of the months in a row that have it.
    #[serde(with = "as_text")]
    pub since: Instant,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClassWide {
    pub class: ClassName,
    pub device: Tag,
    #[serde(with = "as_text")]
    pub since: Instant,
    pub occurrences: u32,
    pub days: i64,
    /// Of the devices with the same legend in all other classes.
    pub rest_occurrences: u32,
    pub rest_days: i64,
    /// Units with at least one occurrence.
    pub units: u32,
    pub ratio: f64,
    /// Without the unit that has most of them.
    pub ratio_without_worst: f64,
    /// Standard deviations above the rest, with the spread that units have anyway.
    pub z: f64,
}
