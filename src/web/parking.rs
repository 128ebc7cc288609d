//! A form that comes after its session has ended is kept for the one who typed it, outside the book.
use axum::{
    extract::{FromRequestParts, Request},
    http::{header, request::Parts},
    response::{IntoResponse, Redirect, Response},
};

use super::{App, Oops, forms::Fields, paths};
use crate::{
    base::{Instant, SignIn},
    people::secrets::{self, ParkedForm},
};

/// Longer than any of our forms; what is longer is not typed by hand.
const LONGEST: usize = 256 * 1024;

pub async fn park(app: &App, who: SignIn, request: Request) -> Result<Response, Oops> {
    if !keep(app, who, request).await? {
        return Err(Oops::SignInFirst { back_to: None });
    }
    Ok(Redirect::to(&paths::SignIn.with(&[("kept", "yes")])).into_response())
}

/// The same for somebody who has to set up one-time codes first.
pub async fn codes_first(app: &App, who: SignIn, request: Request) -> Result<Response, Oops> {
    keep(app, who, request).await?;
    Err(Oops::CodesFirst)
}

/// `false`: it was no form.
async fn keep(app: &App, who: SignIn, request: Request) -> Result<bool, Oops> {
    let Some((path, fields)) = read(request, LONGEST).await? else { return Ok(false) };
    let form = ParkedForm { id: uuid::Uuid::new_v4().to_string(), path, fields, parked_at: app.now() };
    app.desk().aside(move |c| Box::pin(secrets::park(c, who.clone(), form.clone()))).await?;
    Ok(true)
}

/// Where it was sent to and its fields; `None` where a password stood.
type Sent = (String, Vec<(String, Option<String>)>);

/// What was typed; `None` for what is no form, has no fields, or only signs out.
pub(super) async fn read(request: Request, longest: usize) -> Result<Option<Sent>, Oops> {
    let path = request.uri().path_and_query().map_or_else(|| "/".to_owned(), ToString::to_string);
    let path = path
        .split_once(&format!("{MARK}="))
        .map_or(path.as_str(), |(own, _)| own.trim_end_matches(['?', '&']))
        .to_owned();
    let is_form = request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .is_some_and(|kind| kind.starts_with("application/x-www-form-urlencoded"));
    let body = axum::body::to_bytes(request.into_body(), longest).await.map_err(|_| Oops::TooLarge)?;
    let fields = if is_form { Fields::read(&body) } else { None };
    let fields = fields.filter(|f| !f.0.is_empty() && path != paths::SignOut::PATTERN);
    Ok(fields.map(|Fields(fields)| (path, fields.into_iter().map(without_passwords).collect())))
}

pub(super) fn without_passwords((name, value): (String, String)) -> (String, Option<String>) {
    let is_password = name.contains("password") || name.contains("one_time_code");
    (name, (!is_password).then_some(value))
}

/// When a form was sent: now, or, for one that was parked, when it came first. `15 minutes ago` is reckoned
/// from there.
#[derive(Clone, Copy, Debug)]
pub struct SentAt(pub Instant);

impl FromRequestParts<App> for SentAt {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(head: &mut Parts, app: &App) -> Result<Self, Self::Rejection> {
        Ok(head.extensions.get::<Self>().copied().unwrap_or(Self(app.now())))
    }
}

pub(super) async fn parked_at(app: &App, who: &SignIn, id: &str) -> Result<Option<Instant>, Oops> {
    let mut db = app.desk().read().await?;
    let theirs = secrets::parked(&mut db, who, app.now()).await?;
    Ok(theirs.iter().find(|form| form.id == id).map(|form| form.parked_at))
}

/// The path with the mark of the parked form that is being sent on.
pub fn sent_on(path: &str, id: &str) -> String {
    let joint = if path.contains('?') { '&' } else { '?' };
    format!("{path}{joint}{MARK}={id}")
}

const MARK: &str = "kept";

/// The parked form a request came from, if any.
pub(super) fn mark(head: &Parts) -> Option<String> {
    let pairs = head.uri.query()?.split('&').filter_map(|pair| pair.split_once('='));
    pairs.filter(|(name, _)| *name == MARK).map(|(_, id)| id.to_owned()).next_back()
}

/// It got through: it need not be kept any longer.
pub(super) async fn let_go(app: &App, who: SignIn, id: String) {
    let dropped = app.desk().aside(move |c| Box::pin(secrets::drop_parked(c, who.clone(), id.clone()))).await;
    if let Err(trouble) = dropped {
        // What was sent is stored; at worst its copy is offered for another day.
        tracing::warn!(error = %trouble, "a parked form could not be dropped");
    }
}
