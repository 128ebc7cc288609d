//! The shop's pages: which units first, why, what to test.
mod aside;
mod causes;
mod finding;
mod finding_acts;
pub mod ground;
mod hold;
mod in_shop;
mod lines;
mod release;
mod repair;
mod signing;
mod triage;
mod unit_shop;
mod watch;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Triage::PATTERN, Act::ReadBoard, triage::show),
        Route::get(paths::Finding::PATTERN, Act::ReadBoard, finding::show),
        Route::get(paths::Watch::PATTERN, Act::ReadBoard, watch::show),
        Route::get(paths::InShop::PATTERN, Act::ReadBoard, in_shop::show),
        Route::get(paths::UnitShop::PATTERN, Act::ReadBoard, unit_shop::show),
        Route::get(paths::Causes::PATTERN, Act::ReadBoard, causes::show),
        Route::post(paths::Causes::PATTERN, Act::WorkOnUnits, causes::sign),
        Route::get(paths::FindingAside::PATTERN, Act::WorkOnUnits, aside::show),
        Route::post(paths::FindingAside::PATTERN, Act::WorkOnUnits, aside::sign),
        Route::get(paths::Hold::PATTERN, Act::WorkOnUnits, hold::show),
        Route::post(paths::Hold::PATTERN, Act::WorkOnUnits, hold::sign),
        Route::get(paths::Release::PATTERN, Act::WorkOnUnits, release::show),
        Route::post(paths::Release::PATTERN, Act::WorkOnUnits, release::sign),
        Route::get(paths::RepairNew::PATTERN, Act::WorkOnUnits, repair::open::show),
        Route::post(paths::RepairNew::PATTERN, Act::WorkOnUnits, repair::open::sign),
        Route::get(paths::Repair::PATTERN, Act::ReadBoard, repair::show::show),
        Route::post(paths::RepairWork::PATTERN, Act::WorkOnUnits, repair::work::sign),
        Route::get(paths::RepairClose::PATTERN, Act::WorkOnUnits, repair::close::show),
        Route::post(paths::RepairClose::PATTERN, Act::WorkOnUnits, repair::close::sign),
        Route::get(paths::RepairAmend::PATTERN, Act::WorkOnUnits, repair::amend::show),
        Route::post(paths::RepairAmend::PATTERN, Act::WorkOnUnits, repair::amend::sign),
    ]
}
