//! Whether this server can read and write its book. Tells nothing about what is in it.
use axum::{Json, extract::State, http::StatusCode, response::IntoResponse};
use schemars::JsonSchema;
use serde::Serialize;

use crate::{
    base::text,
    web::{Answer, App},
};

/// For whoever watches the server.
#[derive(Serialize, JsonSchema)]
pub(super) struct Health {
    /// All is as it should be.
    ok: bool,
    readable: bool,
    writable: bool,
    /// What is wrong, and what to do.
    says: Option<String>,
    version: &'static str,
    /// The number of the book's last page.
    last_page: Option<u64>,
    /// Jobs that wait for the writer.
    waiting: usize,
    /// For how many seconds the oldest of them, or of those in hand, has waited.
    oldest_unfinished_s: f64,
}

pub async fn answer(State(app): State<App>) -> Answer {
    let health = app.desk().health().await;
    let readable = health.pages.is_some();
    let writable = health.not_writable.is_none();
    let unreadable = "The book cannot be read: look at its disk, and at what the server wrote to its log.";
    let says = health.not_writable.map(|says| text::sentence(&says));
    let told = Health {
        ok: readable && writable,
        readable,
        writable,
        says: if readable { says } else { Some(unreadable.to_owned()) },
        version: env!("CARGO_PKG_VERSION"),
        last_page: health.pages.and_then(|pages| pages.checked_sub(1)),
        waiting: health.waiting,
        oldest_unfinished_s: health.oldest.map_or(0.0, |oldest| oldest.as_secs_f64()),
    };
    let status = if told.ok { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    Ok((status, Json(told)).into_response())
}
