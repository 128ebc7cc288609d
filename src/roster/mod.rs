//! Classes and their schedules (panels, devices), units. Pure but for `store`; `import` reads the CSV files.
pub mod check;
pub mod import;
pub mod schedule;
pub mod unit;
pub mod written;

use std::{collections::BTreeMap, sync::Arc};

pub use check::Check;
pub use schedule::{Class, Device, DeviceKind, Panel, Place, RightPosition, Schedule};
pub use unit::UnitCard;

use crate::base::{ClassName, Instant, Tag, UnitName};

/// Every class and unit of the railway, as the book now has them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Roster {
    pub classes: BTreeMap<ClassName, Arc<Class>>,
    pub units: BTreeMap<UnitName, Arc<UnitCard>>,
}

impl Roster {
    pub fn unit(&self, unit: &UnitName) -> Option<&UnitCard> {
        self.units.get(unit).map(Arc::as_ref)
    }

    pub fn class_of(&self, unit: &UnitName) -> Option<&Class> {
        self.classes.get(&self.unit(unit)?.class).map(Arc::as_ref)
    }

    /// The schedule that was in force for a unit at a moment.
    pub fn schedule_at(&self, unit: &UnitName, at: Instant) -> Option<&Schedule> {
        self.class_of(unit)?.at(at)
    }

    pub fn device_at(&self, unit: &UnitName, tag: &Tag, at: Instant) -> Option<&Device> {
        self.schedule_at(unit, at)?.device(tag)
    }
}
