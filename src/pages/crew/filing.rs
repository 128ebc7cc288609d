//! From a draft to a page of the book: the password under it, the desk, and what to say when it is not taken.
use axum::http::StatusCode;
use serde_json::Value;

use super::{store, unit_of::UnitHere};
use crate::{
    base::{Problem, ReportId},
    book::Channel,
    desk::{
        Refused,
        reports::{FileReport, Filer, ReadingFailed},
    },
    reports,
    web::{App, Me, Oops, signature},
};

/// How signing went. Whatever it was, the draft is still there unless it was filed.
pub enum Signed {
    Filed(ReportId),
    /// A sentence beside the password.
    Password(String),
    Problems(Vec<Problem>),
    /// A sentence about the whole: the queue or the disk is full.
    NotNow(StatusCode, String),
}

/// Signs and files. `report` is the contract's JSON, its id `id`.
pub async fn file(
    app: &App,
    me: &Me,
    here: &UnitHere,
    id: ReportId,
    report: &Value,
    password: &str,
) -> Result<Signed, Oops> {
    let act = match read(app, me, here, id, report).await? {
        Ok(act) => act,
        Err(back) => return Ok(back),
    };
    if let Err(says) = signature::sign(app, me, password).await? {
        return Ok(Signed::Password(says));
    }
    hand_in(app, me, id, act).await
}

/// A report that can be taken as it stands; nothing is signed or filed by it.
pub async fn read(
    app: &App,
    me: &Me,
    here: &UnitHere,
    id: ReportId,
    report: &Value,
) -> Result<Result<FileReport, Signed>, Oops> {
    let filer = Filer { by: Some(me.sign_in().clone()), channel: Channel::Page };
    match FileReport::read(report.to_string().as_bytes(), &filer, &here.world, here.now) {
        Ok(act) => Ok(Ok(act)),
        Err(ReadingFailed::Unreadable(why)) => Ok(Err(Signed::Problems(vec![why.problem()]))),
        Err(ReadingFailed::Refused(refused)) => not_taken(app, me, id, refused).await.map(Err),
    }
}

/// Files what its author has just signed.
pub async fn hand_in(app: &App, me: &Me, id: ReportId, act: FileReport) -> Result<Signed, Oops> {
    match app.desk().act(act).await {
        Ok(receipt) => Ok(Signed::Filed(receipt.report)),
        Err(refused) => not_taken(app, me, id, refused).await,
    }
}

async fn not_taken(app: &App, me: &Me, id: ReportId, refused: Refused) -> Result<Signed, Oops> {
    let says = refused.says();
    match refused {
        // The button was pressed twice: the first press filed it.
        Refused::Conflict(problems) => match is_filed(app, me, id).await? {
            true => Ok(Signed::Filed(id)),
            false => Ok(Signed::Problems(problems)),
        },
        Refused::Problems(problems) => Ok(Signed::Problems(problems)),
        Refused::Busy { .. } | Refused::Trouble(_) => Ok(Signed::NotNow(
            StatusCode::SERVICE_UNAVAILABLE,
            format!("{says} What you wrote is kept here as a draft."),
        )),
        other => Err(other.into()),
    }
}

/// Whether a report with this id is in the book already, by the same person.
pub async fn is_filed(app: &App, me: &Me, id: ReportId) -> Result<bool, Oops> {
    let row = reports::store::report(&mut *app.desk().read().await?, id).await?;
    Ok(row.is_some_and(|row| row.author == me.sign_in().as_str()))
}

/// Takes the signed draft away.
pub async fn drop_draft(app: &App, me: &Me, id: ReportId) -> Result<(), Oops> {
    let who = me.sign_in().clone();
    app.desk().aside(move |db| Box::pin(async move { store::drop_draft(db, &who, id).await })).await?;
    Ok(())
}
