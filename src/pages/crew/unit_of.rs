//! What a handler needs of the unit in the address.
use std::sync::Arc;

use crate::{
    base::{Instant, UnitName},
    desk::World,
    roster::{Schedule, UnitCard},
    web::{App, Oops},
};

/// A unit as it was addressed: on the roster or not, a crew is never turned away.
pub struct UnitHere {
    pub unit: UnitName,
    pub world: Arc<World>,
    pub now: Instant,
}

impl UnitHere {
    pub fn find(app: &App, typed: &str) -> Result<Self, Oops> {
        let unit = UnitName::tidy(typed).ok_or_else(|| {
            Oops::NotFound(format!("{typed} is no unit: a mark and a road number are wanted."))
        })?;
        Ok(Self { unit, world: app.world(), now: app.now() })
    }

    pub fn schedule(&self) -> Option<&Schedule> {
        self.world.roster.schedule_at(&self.unit, self.now)
    }

    pub fn card(&self) -> Option<&UnitCard> {
        self.world.roster.unit(&self.unit)
    }
}
