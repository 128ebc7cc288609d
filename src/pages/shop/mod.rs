//! The shop's pages: which units first, why, what to test.
mod class;
mod finding;
mod finding_picture;
pub mod ground;
mod import;
mod inspections;
mod lines;
mod looked;
mod narrowed;
mod pictures_store;
mod reckoned;
mod telling;
mod lists;
mod measure;
mod records;
mod tag;
mod triage;
mod unit;
mod watch;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    let own = vec![
        Route::get(paths::Triage::PATTERN, Act::ReadBoard, triage::show),
        Route::get(paths::Finding::PATTERN, Act::ReadBoard, finding::show),
        Route::get(paths::FindingData::PATTERN, Act::ReadBoard, finding::data),
        Route::get(paths::Unit::PATTERN, Act::ReadBoard, unit::show),
        Route::get(paths::UnitData::PATTERN, Act::ReadBoard, unit::data),
        Route::get(paths::Class::PATTERN, Act::ReadBoard, class::show),
        Route::get(paths::ClassData::PATTERN, Act::ReadBoard, class::data),
        Route::post(paths::TriageLooked::PATTERN, Act::ReadBoard, looked::put),
        Route::get(paths::Watch::PATTERN, Act::ReadBoard, watch::show),
    ];
    let papers = [
        Route::get(paths::Tag::PATTERN, Act::WorkOnUnits, tag::show),
        Route::get(paths::Lists::PATTERN, Act::ReadBoard, lists::show),
        Route::get(paths::List::PATTERN, Act::ReadBoard, lists::file),
        Route::get(paths::Records::PATTERN, Act::ReadBoard, records::show),
    ];
    own.into_iter()
        .chain(measure::routes())
        .chain(inspections::routes())
        .chain(papers)
        .chain(import::routes())
        .collect()
}
