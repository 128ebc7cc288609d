//! Pages that belong to no reader: coming in, going out, one's own password, forms that were kept.
mod backups;
mod home;
mod kept;
mod notices;
mod password;
mod sign_in;
mod tablets;
mod thresholds;

use crate::{
    people::Act,
    web::{Door, Route, paths},
};

pub fn routes() -> Vec<Route> {
    let own = vec![
        Route::get(paths::Home::PATTERN, Door::SignedIn, home::send),
        Route::get(paths::SignIn::PATTERN, Door::Open, sign_in::show),
        Route::post(paths::SignIn::PATTERN, Door::Open, sign_in::send),
        Route::post(paths::SignOut::PATTERN, Door::Open, sign_in::sign_out),
        Route::get(paths::Password::PATTERN, Door::SignedIn, password::show),
        Route::post(paths::Password::PATTERN, Door::SignedIn, password::send),
        Route::get(paths::Kept::PATTERN, Door::SignedIn, kept::show),
        Route::post(paths::KeptDrop::PATTERN, Door::SignedIn, kept::drop_one),
        Route::get(paths::Tablets::PATTERN, Door::SignedIn, tablets::show),
        Route::post(paths::TabletRevoke::PATTERN, Door::SignedIn, tablets::revoke),
        Route::post(paths::TabletAnswer::PATTERN, Door::SignedIn, tablets::answer),
        Route::get(paths::Backups::PATTERN, Act::KeepBackups, backups::show),
        Route::post(paths::Backups::PATTERN, Act::KeepBackups, backups::now),
        Route::get(paths::Thresholds::PATTERN, Act::ChangeThresholds, thresholds::show),
        Route::post(paths::Thresholds::PATTERN, Act::ChangeThresholds, thresholds::sign),
    ];
    own.into_iter().chain(notices::routes()).collect()
}
