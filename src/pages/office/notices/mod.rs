//! Notices: somebody's inbox, what they are told of and how, what left by e-mail and webhook; and everybody's.
mod all;
mod inbox;
mod line;
mod mine;
mod sent;
mod webhooks;

use crate::{
    people::Act,
    web::{Route, paths},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Notices::PATTERN, Act::ReadNotices, inbox::show),
        Route::post(paths::NoticesRead::PATTERN, Act::ReadNotices, inbox::read),
        Route::get(paths::NoticesMine::PATTERN, Act::ReadNotices, mine::show),
        Route::post(paths::NoticesMine::PATTERN, Act::ReadNotices, mine::keep),
        Route::post(paths::NoticesTrial::PATTERN, Act::ReadNotices, mine::trial),
        Route::get(paths::NoticesSent::PATTERN, Act::ReadNotices, sent::show),
        Route::get(paths::NoticesAll::PATTERN, Act::KeepNotices, all::show),
        Route::get(paths::Webhooks::PATTERN, Act::KeepNotices, webhooks::show),
        Route::post(paths::Webhooks::PATTERN, Act::KeepNotices, webhooks::make),
        Route::post(paths::WebhookEnd::PATTERN, Act::KeepNotices, webhooks::end),
        Route::post(paths::WebhookTrial::PATTERN, Act::KeepNotices, webhooks::trial),
    ]
}
