//! The shop's pages: which units first, why, what to test.
mod finding;
pub mod ground;
mod import;
mod inspections;
mod lines;
mod lists;
mod measure;
mod records;
mod tag;
mod triage;
mod watch;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    let own = vec![
        Route::get(paths::Triage::PATTERN, Act::ReadBoard, triage::show),
        Route::get(paths::Finding::PATTERN, Act::ReadBoard, finding::show),
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
