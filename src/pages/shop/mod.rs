//! The shop's pages: which units first, why, what to test.
mod aside;
mod causes;
mod class;
mod finding;
mod finding_acts;
mod finding_picture;
pub mod ground;
mod hold;
pub mod import;
mod in_shop;
mod inspections;
mod lines;
mod lists;
mod looked;
mod measure;
mod narrowed;
mod pictures_store;
mod reckoned;
mod records;
mod release;
mod repair;
mod signing;
mod tag;
mod telling;
mod triage;
mod unit;
mod unit_shop;
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
    let work = [
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
        .chain(work)
        .chain(import::routes())
        .collect()
}
