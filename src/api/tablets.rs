//! What a tablet sends: the public half of a key made at a sign-in, and reports signed by that key, which need no session.
use axum::{Json, extract::State, http::StatusCode, response::IntoResponse};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::reports::{not_read, written};
use crate::{
    base::{Code, Problem},
    desk::{Refused, signed::Sent, tablets::RegisterKey},
    pages::crew::{draft, run},
    people::{Act, tablet},
    web::{Answer, App, Me, Oops, Whole},
};

pub async fn file(State(app): State<App>, Whole(body): Whole) -> Answer {
    let sent =
        Sent::read(&body).ok_or_else(|| Oops::Unreadable("This is no record of a tablet's queue.".into()))?;
    let act = sent.check(app.desk()).await.map_err(not_read)?;
    let about = act.about.clone();
    let receipt = app.desk().act(act).await?;
    if receipt.is_new && about.is_final {
        run::leave(&app, &about.author, &about.unit, about.signed_at(app.now())).await?;
    }
    draft::drop_filed(&app, &about.author, about.unit, about.report, about.entries).await?;
    let status = if receipt.is_new { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, Json(written(&receipt)?)).into_response())
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "TabletKey")]
pub(super) struct Made {
    key: Uuid,
    /// A P-256 point, uncompressed, in hexadecimal.
    public_key: String,
}

#[derive(Serialize, JsonSchema)]
#[schemars(rename = "TabletKeyOnRecord")]
pub(super) struct Registered {
    key: Uuid,
    /// Until when it signs, in UTC with Z.
    until: String,
}

/// Only with the password just typed: a session that somebody left open makes no key.
pub async fn register(State(app): State<App>, me: Me, Whole(body): Whole) -> Answer {
    let permit = me.permit(Act::FileReport)?;
    let made: Made = serde_json::from_slice(&body)
        .map_err(|why| Oops::Unreadable(format!("This could not be read: {why}.")))?;
    let now = app.now();
    if me.signed_in_at().is_none_or(|at| now.since(at) > tablet::FRESH) {
        let says = "A tablet's key is put on record right after signing in. Sign out, sign in again.";
        return Err(Oops::Forbidden(says.into()));
    }
    if !tablet::is_key(&made.public_key) {
        return Err(problem(
            "public_key",
            Code::WrongType,
            "This is no P-256 key (an uncompressed point in hexadecimal).",
        ));
    }
    let until = app.desk().act(RegisterKey::of(&permit, made.key, made.public_key, now)).await?;
    let until = until.ok_or(Oops::Machine)?;
    Ok(Json(Registered { key: made.key, until: until.to_z() }).into_response())
}

fn problem(path: &str, code: Code, says: &str) -> Oops {
    Refused::Problems(vec![Problem { path: path.to_owned(), code, says: says.to_owned() }]).into()
}
