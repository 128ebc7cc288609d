//! The shop's pages: which units first, why, what to test.
mod class;
mod finding;
mod finding_picture;
pub mod ground;
mod lines;
mod looked;
mod narrowed;
mod pictures_store;
mod reckoned;
mod telling;
mod triage;
mod unit;
mod watch;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Triage::PATTERN, Act::ReadBoard, triage::show),
        Route::get(paths::Finding::PATTERN, Act::ReadBoard, finding::show),
        Route::get(paths::FindingData::PATTERN, Act::ReadBoard, finding::data),
        Route::get(paths::Unit::PATTERN, Act::ReadBoard, unit::show),
        Route::get(paths::UnitData::PATTERN, Act::ReadBoard, unit::data),
        Route::get(paths::Class::PATTERN, Act::ReadBoard, class::show),
        Route::get(paths::ClassData::PATTERN, Act::ReadBoard, class::data),
        Route::post(paths::TriageLooked::PATTERN, Act::ReadBoard, looked::put),
        Route::get(paths::Watch::PATTERN, Act::ReadBoard, watch::show),
    ]
}
