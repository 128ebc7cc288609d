//! What a tablet sends: the public half of a key made at a sign-in, and reports signed by that key, which need no session.
use axum::{Json, body::Bytes, extract::State, http::StatusCode, response::IntoResponse};
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::json;
use uuid::Uuid;

use super::reports::{not_read, written};
use crate::{
    base::{Code, EntryId, Problem, Stamp},
    book::Channel,
    desk::{
        Refused,
        body::TabletSigned,
        reports::{FileReport, Filer},
        tablets::{self, FileSigned, RegisterKey},
    },
    pages::crew::draft,
    people::{Act, tablet},
    web::{Answer, App, Me, Oops},
};

/// One record of a tablet's queue. The version is the record's, not the program's: add, never rename.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Sent {
    v: u32,
    key: Uuid,
    /// The very text that was signed: the contract's JSON.
    report: String,
    signature: String,
    /// The tablet's clock now.
    #[serde(default)]
    clock: Option<String>,
}

pub async fn file(State(app): State<App>, body: Bytes) -> Answer {
    let sent: Sent = read(&body)?;
    if sent.v != 1 {
        let says = format!("This program knows no queue of version {}: it keeps it as a draft.", sent.v);
        return Err(problem("v", Code::NotAllowed, &says));
    }
    let key = tablets::key(&mut *app.desk().read().await?, sent.key).await?;
    let key = key.ok_or_else(tablets::not_on_record)?;
    let signed = |report| TabletSigned {
        report,
        key: sent.key,
        signed: sent.report.clone(),
        signature: sent.signature.clone(),
        clock: sent.clock.as_deref().and_then(Stamp::parse),
    };
    if !tablet::signed_by(&key.public_key, sent.report.as_bytes(), &sent.signature) {
        return Err(problem("signature", Code::NotAllowed, "The signature does not belong to this report."));
    }
    let filer = Filer { by: Some(key.sign_in.clone()), channel: Channel::Device };
    let act = FileReport::read(sent.report.as_bytes(), &filer, &app.world(), app.now()).map_err(not_read)?;
    let Some(report) = act.report() else { return Err(Oops::Machine) };
    let (id, unit, signed_at) = (report.id, report.unit.clone(), report.signed_at.at);
    let entries: Vec<EntryId> = report.entries.iter().map(|entry| entry.id).collect();
    let act = FileSigned::of(act, &key.sign_in, signed_at, signed(id));
    let receipt = app.desk().act(act).await?;
    draft::drop_filed(&app, &key.sign_in, unit, id, entries).await?;
    let status = if receipt.is_new { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, Json(written(&receipt)?)).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Made {
    key: Uuid,
    public_key: String,
}

/// Only with the password just typed: a session that somebody left open makes no key.
pub async fn register(State(app): State<App>, me: Me, body: Bytes) -> Answer {
    let permit = me.permit(Act::FileReport)?;
    let made: Made = read(&body)?;
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
    Ok(Json(json!({ "key": made.key, "until": until.to_z() })).into_response())
}

fn read<T: DeserializeOwned>(body: &Bytes) -> Result<T, Oops> {
    serde_json::from_slice(body).map_err(|why| Oops::Unreadable(format!("This could not be read: {why}.")))
}

fn problem(path: &str, code: Code, says: &str) -> Oops {
    Refused::Problems(vec![Problem { path: path.to_owned(), code, says: says.to_owned() }]).into()
}
