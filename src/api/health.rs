//! Whether this server can read its book. Tells nothing about what is in it.
use axum::{Json, extract::State, response::IntoResponse};

use crate::{
    book,
    web::{Answer, App},
};

pub async fn answer(State(app): State<App>) -> Answer {
    let mut db = app.desk().read().await?;
    let first = book::store::page(&mut db, 0).await?;
    Ok(Json(serde_json::json!({ "ok": first.is_some() })).into_response())
}
