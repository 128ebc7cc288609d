//! The fleet by hand: units, and the schedules of their classes.
pub(super) mod list;
pub(super) mod schedule;
pub(super) mod unit;

use crate::desk::World;

fn classes(world: &World) -> Vec<(String, String)> {
    let named = |name: &crate::base::ClassName| (name.to_string(), name.to_string());
    world.roster.classes.keys().map(named).collect()
}
