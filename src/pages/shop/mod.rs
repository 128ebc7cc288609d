//! The shop's pages: which units first, why, what to test.
mod finding;
pub mod ground;
mod lines;
mod measure;
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
    own.into_iter().chain(measure::routes()).collect()
}
