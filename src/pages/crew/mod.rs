//! The crew's pages: units, handover, write it down, end-of-trip report, receipt.
pub mod answers;
pub mod asking;
mod checking;
mod doubts;
pub mod draft;
mod entry_form;
mod entry_line;
mod entry_page;
mod filing;
mod gaps;
mod handing;
mod handover;
mod heard;
mod holds;
mod offline;
mod outcomes;
mod picture;
mod prefill;
mod receipt;
mod remembered;
mod report;
mod resetting;
pub mod run;
mod runs;
mod send;
mod signed_before;
mod slip;
mod stale;
mod start_check;
mod store;
pub mod typed;
mod unit_of;
mod units;
mod walk;
mod write;
mod writing;
mod wrong;

use crate::{
    people::Act,
    web::{Door, Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Units::PATTERN, Act::ReadUnits, units::show),
        Route::get(paths::Handover::PATTERN, Act::ReadUnits, handover::show),
        Route::post(paths::HandoverRead::PATTERN, Act::ReadHandover, handover::read),
        Route::get(paths::Receipt::PATTERN, Act::ReadUnits, receipt::show),
        Route::get(paths::StartCheck::PATTERN, Act::ReadUnits, start_check::show),
        Route::get(paths::Run::PATTERN, Act::FileReport, run::show),
        Route::post(paths::Run::PATTERN, Act::FileReport, run::keep),
        Route::get(paths::RunClose::PATTERN, Act::FileReport, run::ask),
        Route::post(paths::RunClose::PATTERN, Act::FileReport, run::sign),
        Route::get(paths::Runs::PATTERN, Act::ReadUnits, runs::show),
        Route::get(paths::Write::PATTERN, Act::FileReport, writing::choose),
        Route::get(paths::WriteKind::PATTERN, Act::FileReport, writing::ask),
        Route::post(paths::WriteKind::PATTERN, Act::FileReport, writing::take),
        Route::get(paths::EntryChange::PATTERN, Act::FileReport, writing::change),
        Route::get(paths::Report::PATTERN, Act::FileReport, report::show),
        Route::post(paths::Report::PATTERN, Act::FileReport, report::sign),
        Route::post(paths::EntryOut::PATTERN, Act::FileReport, report::take_out),
        Route::get(paths::EntrySend::PATTERN, Act::FileReport, send::show),
        Route::post(paths::EntrySend::PATTERN, Act::FileReport, send::send),
        Route::get(paths::Entry::PATTERN, Act::ReadUnits, entry_page::show),
        Route::post(paths::EntryStatement::PATTERN, Act::MakeStatement, entry_page::state),
        Route::get(paths::EntryAmend::PATTERN, Act::AmendEntry, entry_page::amend::show),
        Route::post(paths::EntryAmend::PATTERN, Act::AmendEntry, entry_page::amend::sign),
        Route::get(paths::Offline::PATTERN, Door::Open, offline::shell::show),
        Route::get(paths::Worker::PATTERN, Door::Open, offline::shell::worker),
        Route::get(paths::Manifest::PATTERN, Door::Open, offline::shell::manifest),
        Route::get(paths::OfflineClass::PATTERN, Act::ReadUnits, offline::pictures::class),
        Route::get(paths::OfflineUnit::PATTERN, Act::FileReport, offline::pictures::unit),
        Route::get(paths::OfflineRun::PATTERN, Act::FileReport, offline::pictures::run),
        Route::get(paths::OfflineArea::PATTERN, Act::ReadUnits, offline::pictures::area),
    ]
}
