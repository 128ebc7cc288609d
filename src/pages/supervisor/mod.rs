//! The supervisor's pages: every opening of a ground-relay cutout, and who judged it; the book itself, and what of it is
//! handed to those who doubt it.
mod around;
mod authorisations;
mod book;
mod bypass;
mod bypasses;
mod known;
mod month;
mod months;
pub mod pack;
mod page_told;
mod person;
mod register_sheet;
mod review;
mod rights;
mod seal_rows;
mod seals;
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
        Route::get(paths::Authorisations::PATTERN, Act::ReadBypasses, authorisations::list::show),
        Route::get(paths::AuthorisationNew::PATTERN, Act::GrantAuthorisation, authorisations::new::show),
        Route::post(paths::AuthorisationNew::PATTERN, Act::GrantAuthorisation, authorisations::new::propose),
        Route::get(paths::Proposal::PATTERN, Act::ReadBypasses, authorisations::proposal::show),
        Route::post(
            paths::ProposalConfirm::PATTERN,
            Act::GrantAuthorisation,
            authorisations::proposal::confirm,
        ),
        Route::post(
            paths::ProposalWithdraw::PATTERN,
            Act::GrantAuthorisation,
            authorisations::proposal::withdraw,
        ),
        Route::get(paths::Authorisation::PATTERN, Act::ReadBypasses, authorisations::grant::show),
        Route::post(
            paths::AuthorisationRevoke::PATTERN,
            Act::GrantAuthorisation,
            authorisations::grant::revoke,
        ),
        Route::get(paths::Book::PATTERN, Act::ReadPages, book::show),
        Route::get(paths::BookPage::PATTERN, Act::ReadPages, book::show_page),
        Route::post(paths::BookVerify::PATTERN, Act::SignBook, book::verify),
        Route::post(paths::Checkpoints::PATTERN, Act::SignBook, book::make_checkpoint),
        Route::get(paths::Checkpoint::PATTERN, Act::ReadPages, book::show_checkpoint),
        Route::get(paths::Pack::PATTERN, Act::ReadPages, pack::file),
        Route::get(paths::BypassData::PATTERN, Act::ReadBypasses, around::data),
        Route::get(paths::BypassSeals::PATTERN, Act::ReadBypasses, seals::show),
        Route::get(paths::BypassMonths::PATTERN, Act::ReadBypasses, months::show),
        Route::get(paths::BypassMonth::PATTERN, Act::ReadBypasses, month::show),
        Route::get(paths::BypassPerson::PATTERN, Act::ReadBypasses, person::show),
        Route::post(paths::BypassReview::PATTERN, Act::ReviewBypass, review::sign),
    ]
}
