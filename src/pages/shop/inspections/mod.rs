//! Inspections: what is due on which unit, what was done on one, what happened since. Paper is what counts.
mod due;
mod since;
mod unit;

use crate::{
    people::Act,
    web::{Route, paths},
};
pub(super) use due::Tracked;
pub(super) use since::repair_says;

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Inspections::PATTERN, Act::ReadBoard, due::show),
        Route::post(paths::Inspections::PATTERN, Act::KeepRoster, due::set),
        Route::get(paths::UnitInspections::PATTERN, Act::ReadBoard, unit::show),
        Route::post(paths::UnitInspections::PATTERN, Act::WorkOnUnits, unit::sign),
        Route::get(paths::SinceInspection::PATTERN, Act::ReadBoard, since::show),
    ]
}
