//! Whether this server can read its book. Tells nothing about what is in it.
use axum::{Json, extract::State, response::IntoResponse};

use crate::web::{Answer, App};

pub async fn answer(State(app): State<App>) -> Answer {
    let mut db = app.desk().read().await?;
    let one: i64 = sqlx::query_scalar("SELECT one FROM head").fetch_one(&mut *db).await?;
    Ok(Json(serde_json::json!({ "ok": one == 1 })).into_response())
}
