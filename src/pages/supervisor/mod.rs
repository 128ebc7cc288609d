//! The supervisor's pages: every opening of a ground-relay cutout, and who judged it; the book itself, and what of it is
//! handed to those who doubt it.
mod book;
mod bypass;
mod bypasses;
pub mod pack;
mod page_told;
mod qr;
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
        Route::get(paths::Book::PATTERN, Act::ReadPages, book::show),
        Route::get(paths::BookPage::PATTERN, Act::ReadPages, book::show_page),
        Route::post(paths::BookVerify::PATTERN, Act::SignBook, book::verify),
        Route::post(paths::Checkpoints::PATTERN, Act::SignBook, book::make_checkpoint),
        Route::get(paths::Checkpoint::PATTERN, Act::ReadPages, book::show_checkpoint),
        Route::get(paths::Pack::PATTERN, Act::ReadPages, pack::file),
        Route::post(paths::BypassReview::PATTERN, Act::ReviewBypass, review::sign),
    ]
}
