//! `/api/v1`: the contract over HTTP. Status codes and bodies as in the interchange contract; errors are
//! `{problems: [..]}` like a refused report, so that a program reads one shape.
pub mod formats;
mod health;
mod lists;
pub mod out;
mod reports;
mod tablets;

use crate::{
    people::Act,
    web::{Door, Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Health::PATTERN, Door::Open, health::answer),
        Route::post(paths::ApiReports::PATTERN, Act::FileReport, reports::file),
        // No session: the tablet's signature says whose it is.
        Route::post(paths::ApiSignedReports::PATTERN, Door::Open, tablets::file),
        Route::post(paths::ApiTabletKeys::PATTERN, Act::FileReport, tablets::register),
        Route::get(paths::ApiFindings::PATTERN, Act::ReadBoard, lists::findings),
        Route::get(paths::ApiBypasses::PATTERN, Act::ReadBypasses, lists::bypasses),
        Route::get(paths::ApiEntries::PATTERN, Act::ReadBoard, lists::entries),
    ]
}
