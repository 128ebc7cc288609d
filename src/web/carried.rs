//! A form that comes without any session, as after signing out in another tab. Nobody can know whose it is, so
//! nothing of it is stored: it goes back to the browser inside a sign-in page, and is kept for whoever signs in
//! with it.
use askama::Template;
use axum::{
    extract::Request,
    http::StatusCode,
    response::{IntoResponse, Response},
};

use super::{App, Frame, Oops, page, page::Surroundings, palette::own_path, parking, paths};
use crate::{
    base::{Instant, SignIn},
    people::secrets::{self, PARKED_FOR, ParkedForm},
};

/// What is longer is not typed by hand.
const LONGEST: usize = 100 * 1024;

const PATH: &str = "carried_path";
const SENT_AT: &str = "carried_at";
/// Before the names of its fields.
const FIELD: &str = "carried:";
/// The same where a password stood: it is not carried, and has to be typed again.
const PASSWORD: &str = "carried_password:";

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Carried {
    path: String,
    sent_at: Instant,
    fields: Vec<(String, Option<String>)>,
}

impl Carried {
    /// As hidden inputs of a sign-in form.
    pub fn inputs(&self) -> Vec<(String, String)> {
        let whole = [(PATH.to_owned(), self.path.clone()), (SENT_AT.to_owned(), self.sent_at.to_z())];
        let field = |(name, value): &(String, Option<String>)| match value {
            Some(value) => (format!("{FIELD}{name}"), value.clone()),
            None => (format!("{PASSWORD}{name}"), String::new()),
        };
        whole.into_iter().chain(self.fields.iter().map(field)).collect()
    }

    /// Out of a sign-in form that was sent; `None` where it carried nothing.
    pub fn read(typed: &[(String, String)], now: Instant) -> Option<Self> {
        let of = |wanted: &str| typed.iter().find(|(name, _)| name == wanted).map(|(_, value)| value);
        let path = of(PATH).filter(|path| own_path(path) == path.as_str())?.clone();
        let field = |(name, value): &(String, String)| {
            let blank = name.strip_prefix(PASSWORD).map(|name| (name.to_owned(), None));
            let own =
                || Some(parking::without_passwords((name.strip_prefix(FIELD)?.to_owned(), value.clone())));
            blank.or_else(own)
        };
        let fields: Vec<_> = typed.iter().filter_map(field).collect();
        let size: usize = fields.iter().map(|(n, v)| n.len() + v.as_ref().map_or(0, String::len)).sum();
        let recent = |at: &Instant| (0..PARKED_FOR).contains(&now.since(*at));
        let sent_at = of(SENT_AT).and_then(|at| Instant::parse(at)).filter(recent).unwrap_or(now);
        (!fields.is_empty() && size <= LONGEST).then_some(Self { path, sent_at, fields })
    }

    /// Kept for the one who has just signed in with it.
    pub async fn keep(self, app: &App, who: &SignIn) -> Result<(), Oops> {
        let form = ParkedForm {
            id: uuid::Uuid::new_v4().to_string(),
            path: self.path,
            fields: self.fields,
            parked_at: self.sent_at,
        };
        let who = who.clone();
        app.desk().aside(move |c| Box::pin(secrets::park(c, who.clone(), form.clone()))).await?;
        Ok(())
    }
}

#[derive(Template)]
#[template(path = "web/sign_in_again.html")]
struct View {
    frame: Frame,
    action: &'static str,
    carried: Vec<(String, String)>,
}

/// The sign-in page with the form inside. What is no form, or too long to be typed, is told to sign in first.
pub(super) async fn hand_back(app: &App, request: Request) -> Result<Response, Oops> {
    let (head, body) = request.into_parts();
    let surroundings = Surroundings::of(&head);
    let sent = parking::read(Request::from_parts(head, body), LONGEST).await;
    let Ok(Some((path, fields))) = sent else { return Err(Oops::SignInFirst { back_to: None }) };
    let carried = Carried { path, sent_at: app.now(), fields };
    let frame = Frame { back: paths::SignIn.to_string(), ..surroundings.frame(app, None) };
    let view = View { frame, action: paths::SignIn::PATTERN, carried: carried.inputs() };
    Ok(page(StatusCode::UNAUTHORIZED, &view)?.into_response())
}
