//! Whether this server can read its book. Tells nothing about what is in it.
use axum::{Json, extract::State, response::IntoResponse};

use crate::web::{Answer, App};

pub async fn answer(State(app): State<App>) -> Answer {
    let mut db = app.desk().read().await?;
    app.desk().world_now(&mut db).await?;
    Ok(Json(serde_json::json!({ "ok": true })).into_response())
}
