//! Pages that belong to no reader: coming in, going out, one's own password, codes and sessions, forms that were kept.
mod backups;
mod codes;
mod fleet;
mod home;
mod kept;
mod notices;
mod password;
mod people;
mod sessions;
mod sign_in;
mod sign_in_code;
mod sign_ins;
mod tablets;
mod thresholds;
mod tokens;

use crate::{
    people::Act,
    web::{Door, Route, paths},
};

pub fn routes() -> Vec<Route> {
    let own = vec![
        Route::get(paths::Home::PATTERN, Door::SignedIn, home::send),
        Route::get(paths::SignIn::PATTERN, Door::Open, sign_in::show),
        Route::post(paths::SignIn::PATTERN, Door::Open, sign_in::send),
        Route::post(paths::SignInCode::PATTERN, Door::Open, sign_in_code::send),
        Route::post(paths::SignOut::PATTERN, Door::Open, sign_in::sign_out),
        Route::get(paths::Password::PATTERN, Door::SignedIn, password::show),
        Route::post(paths::Password::PATTERN, Door::SignedIn, password::send),
        Route::get(paths::Sessions::PATTERN, Door::SignedIn, sessions::show),
        Route::post(paths::Sessions::PATTERN, Door::SignedIn, sessions::end),
        Route::get(paths::Codes::PATTERN, Act::KeepCodes, codes::show),
        Route::post(paths::Codes::PATTERN, Act::KeepCodes, codes::send),
        Route::get(paths::SignIns::PATTERN, Act::KeepPeople, sign_ins::list),
        Route::get(paths::SignInsOf::PATTERN, Act::KeepPeople, sign_ins::show),
        Route::post(paths::SignInsOf::PATTERN, Act::KeepPeople, sign_ins::send),
        Route::get(paths::Tokens::PATTERN, Act::KeepPeople, tokens::show),
        Route::post(paths::Tokens::PATTERN, Act::KeepPeople, tokens::make),
        Route::post(paths::TokenRevoke::PATTERN, Act::KeepPeople, tokens::revoke),
        Route::get(paths::Kept::PATTERN, Door::SignedIn, kept::show),
        Route::post(paths::KeptDrop::PATTERN, Door::SignedIn, kept::drop_one),
        Route::get(paths::Tablets::PATTERN, Door::SignedIn, tablets::show),
        Route::post(paths::TabletRevoke::PATTERN, Door::SignedIn, tablets::revoke),
        Route::post(paths::TabletAnswer::PATTERN, Door::SignedIn, tablets::answer),
        Route::get(paths::People::PATTERN, Act::KeepPeople, people::list::show),
        Route::get(paths::PersonNew::PATTERN, Act::KeepPeople, people::new::show),
        Route::post(paths::PersonNew::PATTERN, Act::KeepPeople, people::new::add),
        Route::get(paths::Person::PATTERN, Act::KeepPeople, people::person::show),
        Route::post(paths::PersonChange::PATTERN, Act::KeepPeople, people::person::change),
        Route::post(paths::PersonEnd::PATTERN, Act::KeepPeople, people::person::end),
        Route::post(paths::PersonReturn::PATTERN, Act::KeepPeople, people::person::come_back),
        Route::post(paths::PersonPassword::PATTERN, Act::KeepPeople, people::person::first_password),
        Route::get(paths::Fleet::PATTERN, Act::KeepRoster, fleet::list::show),
        Route::get(paths::FleetNew::PATTERN, Act::KeepRoster, fleet::unit::new),
        Route::post(paths::FleetNew::PATTERN, Act::KeepRoster, fleet::unit::add),
        Route::get(paths::FleetUnit::PATTERN, Act::KeepRoster, fleet::unit::show),
        Route::post(paths::FleetUnit::PATTERN, Act::KeepRoster, fleet::unit::change),
        Route::post(paths::FleetRetire::PATTERN, Act::KeepRoster, fleet::unit::retire),
        Route::post(paths::FleetReturn::PATTERN, Act::KeepRoster, fleet::unit::come_back),
        Route::get(paths::Schedule::PATTERN, Act::KeepRoster, fleet::schedule::show),
        Route::post(paths::Schedule::PATTERN, Act::KeepRoster, fleet::schedule::send),
        Route::get(paths::Backups::PATTERN, Act::KeepBackups, backups::show),
        Route::post(paths::Backups::PATTERN, Act::KeepBackups, backups::now),
        Route::get(paths::Thresholds::PATTERN, Act::ChangeThresholds, thresholds::show),
        Route::post(paths::Thresholds::PATTERN, Act::ChangeThresholds, thresholds::sign),
    ];
    own.into_iter().chain(notices::routes()).collect()
}
