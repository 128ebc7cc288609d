//! `POST /api/v1/reports`: 201 the first time, 200 for the very same again.
use axum::{Json, extract::State, http::StatusCode, response::IntoResponse};

use crate::{
    base::{Code, Problem},
    book::Channel,
    desk::reports::{FileReport, Filer, ReadingFailed, Receipt},
    people::Act,
    reports::json::Unreadable,
    web::{Answer, App, Me, Oops, Whole, me::Way},
};

pub async fn file(State(app): State<App>, me: Me, Whole(body): Whole) -> Answer {
    me.permit(Act::FileReport)?;
    if me.way() != Way::Token {
        return Err(Oops::Forbidden(BY_TOKEN.into()));
    }
    let filer = Filer { by: Some(me.sign_in().clone()), channel: Channel::Token };
    let act = FileReport::read(&body, &filer, &app.world(), app.now()).map_err(not_read)?;
    let receipt = app.desk().act(act).await?;
    let status = if receipt.is_new { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, Json(written(&receipt)?)).into_response())
}

/// A cookie alone is no signature: on a page the password is typed again under every report.
const BY_TOKEN: &str =
    "Reports come in here with a token (Authorization: Bearer …). With a browser, sign on the page.";

pub(super) fn not_read(failed: ReadingFailed) -> Oops {
    match failed {
        ReadingFailed::Refused(refused) => refused.into(),
        ReadingFailed::Unreadable(Unreadable::TooLarge) => Oops::TooLarge,
        ReadingFailed::Unreadable(ref why @ Unreadable::Repeated { ref path, ref key }) => {
            let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            Oops::Problems(vec![Problem { path, code: Code::NotAllowed, says: why.says() }])
        }
        ReadingFailed::Unreadable(why) => Oops::Unreadable(why.says()),
    }
}

/// The receipt with its moment as the contract writes moments.
pub(super) fn written(receipt: &Receipt) -> Result<serde_json::Value, Oops> {
    let mut value = serde_json::to_value(receipt).map_err(|why| Oops::machine(&why))?;
    if let Some(fields) = value.as_object_mut() {
        fields.insert("recorded_at".into(), receipt.recorded_at.to_z().into());
    }
    Ok(value)
}
