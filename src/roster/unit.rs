//! One locomotive on the roster.
use serde::{Deserialize, Serialize};

use crate::base::{ClassName, UnitName, zone::Day};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnitCard {
    pub unit: UnitName,
    pub class: ClassName,
    /// First day in service.
    pub in_service: Day,
    /// First day no longer in service.
    pub retired: Option<Day>,
    pub home_shop: Option<String>,
}
