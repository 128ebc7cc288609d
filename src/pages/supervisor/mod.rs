//! The supervisor's pages: every opening of a ground-relay cutout, and who judged it.
mod bypass;
mod bypasses;
mod review;
mod told_of;
mod words;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Bypasses::PATTERN, Act::ReadBypasses, bypasses::show),
        Route::get(paths::Bypass::PATTERN, Act::ReadBypasses, bypass::show),
        Route::post(paths::BypassReview::PATTERN, Act::ReviewBypass, review::sign),
    ]
}
