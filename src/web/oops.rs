//! Everything that can go wrong while answering, and the one table from each to a status. An [`Oops`] says
//! only what happened; [`dress`] makes it a page for people or JSON for programs.
use std::any::Any;

use axum::{
    Json,
    body::Body,
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Redirect, Response},
};
use serde_json::json;

use super::{
    App, Me,
    me::{self, Asking},
    page, paths,
};
use crate::{
    base::{Code, Problem},
    db::writer::Trouble,
    desk::Refused,
    people::{Role, password::HashTrouble},
};

#[derive(Clone, Debug)]
pub enum Oops {
    /// Nobody is signed in; `back_to` is where they wanted to go.
    SignInFirst {
        back_to: Option<String>,
    },
    /// Go there instead.
    SeeInstead(String),
    /// Whoever supervises or keeps the book sets up one-time codes before they change anything.
    CodesFirst,
    /// A change asked for by another site's page, or by nothing that names itself.
    FromElsewhere,
    Forbidden(String),
    NotFound(String),
    /// Not readable at all: not a form, not JSON, not UTF-8.
    Unreadable(String),
    Problems(Vec<Problem>),
    Conflict(Vec<Problem>),
    /// The form is from before something changed.
    Stale(String),
    TooLarge,
    Busy {
        retry_after_s: u32,
    },
    /// The file cannot take any more: full disk, read-only file.
    NoRoom(String),
    /// The machine failed; logged where it was met, and not told in detail.
    Machine,
}

impl Oops {
    pub fn not_for_your_role(role: Role) -> Self {
        Self::Forbidden(format!(
            "This is not for the role you hold ({role}). Ask your administrator if it should be."
        ))
    }

    pub fn machine(what: &dyn std::fmt::Display) -> Self {
        tracing::error!(error = %what, "a request failed");
        Self::Machine
    }

    /// The table. Title and sentence are for pages; programs get the sentence.
    fn card(&self) -> Card {
        use StatusCode as S;
        let (status, title, says) = match self {
            Self::SignInFirst { .. } => (S::UNAUTHORIZED, "Sign in", "Sign in first, or send a valid token."),
            Self::SeeInstead(_) => (S::SEE_OTHER, "Elsewhere", "Choose your own password first."),
            Self::CodesFirst => (
                S::SEE_OTHER,
                "One-time codes first",
                "Set up your one-time codes in a browser first: this book asks supervisors and administrators for them.",
            ),
            Self::FromElsewhere => (
                S::FORBIDDEN,
                "Not from here",
                "This was not sent from a page of this book, so nothing was done. Open the page here and send it again.",
            ),
            Self::Forbidden(says) => (S::FORBIDDEN, "Not yours to do", says.as_str()),
            Self::NotFound(says) => (S::NOT_FOUND, "Not in the book", says.as_str()),
            Self::Unreadable(says) => (S::BAD_REQUEST, "Not readable", says.as_str()),
            Self::Problems(_) => (
                S::UNPROCESSABLE_ENTITY,
                "Please look again",
                "Some of what was sent cannot be right. Nothing was stored.",
            ),
            Self::Conflict(_) => (S::CONFLICT, "Already there, and different", "Nothing was stored."),
            Self::Stale(says) => (S::CONFLICT, "Changed meanwhile", says.as_str()),
            Self::TooLarge => {
                (S::PAYLOAD_TOO_LARGE, "Too large", "More than 2 MB was sent. Nothing was stored.")
            }
            Self::Busy { .. } => (
                S::SERVICE_UNAVAILABLE,
                "Busy",
                "More is being written at this moment than the book can take. Nothing was stored; send it again in a few seconds.",
            ),
            Self::NoRoom(says) => (S::SERVICE_UNAVAILABLE, "No room left", says.as_str()),
            Self::Machine => (
                S::INTERNAL_SERVER_ERROR,
                "Something failed here",
                "The server failed while answering, and wrote down why. If you were sending something, look whether it is in the book before you send it again.",
            ),
        };
        Card {
            status,
            title: title.to_owned(),
            says: says.to_owned(),
            problems: self.problems(),
            retry_after_s: self.retry_after_s(),
        }
    }

    fn problems(&self) -> Vec<Problem> {
        match self {
            Self::Problems(problems) | Self::Conflict(problems) => problems.clone(),
            _ => Vec::new(),
        }
    }

    fn retry_after_s(&self) -> Option<u32> {
        match self {
            Self::Busy { retry_after_s } => Some(*retry_after_s),
            Self::NoRoom(_) => Some(60),
            _ => None,
        }
    }
}

impl From<Trouble> for Oops {
    fn from(trouble: Trouble) -> Self {
        match &trouble {
            Trouble::Locked => Self::Busy { retry_after_s: 5 },
            Trouble::DiskFull | Trouble::ReadOnly | Trouble::Disk => {
                Self::NoRoom(Refused::Trouble(trouble).says())
            }
            Trouble::Fault(why) => Self::machine(why),
        }
    }
}
impl From<sqlx::Error> for Oops {
    fn from(error: sqlx::Error) -> Self {
        Self::machine(&error)
    }
}
impl From<askama::Error> for Oops {
    fn from(error: askama::Error) -> Self {
        Self::machine(&error)
    }
}
impl From<getrandom::Error> for Oops {
    fn from(error: getrandom::Error) -> Self {
        Self::machine(&error)
    }
}
impl From<HashTrouble> for Oops {
    fn from(trouble: HashTrouble) -> Self {
        match trouble {
            HashTrouble::Busy => Self::Busy { retry_after_s: 5 },
            HashTrouble::Failed(why) => Self::machine(&why),
        }
    }
}
impl From<Refused> for Oops {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::Problems(problems) => Self::Problems(problems),
            Refused::Conflict(problems) => Self::Conflict(problems),
            Refused::NotYours(says) => Self::Forbidden(says),
            Refused::NotThere(says) => Self::NotFound(says),
            Refused::Stale(says) => Self::Stale(says),
            Refused::Busy { retry_after_s } => Self::Busy { retry_after_s },
            Refused::Trouble(trouble) => trouble.into(),
        }
    }
}

/// What is to be said, waiting for [`dress`].
#[derive(Clone)]
pub struct Card {
    pub status: StatusCode,
    pub title: String,
    pub says: String,
    pub problems: Vec<Problem>,
    retry_after_s: Option<u32>,
}

impl IntoResponse for Oops {
    fn into_response(self) -> Response {
        let card = self.card();
        let mut response = card.status.into_response();
        response.extensions_mut().insert(card);
        response.extensions_mut().insert(self);
        response
    }
}

/// The handler panicked. The words went to the log by the panic hook.
pub fn after_panic(_: Box<dyn Any + Send>) -> Response<Body> {
    Oops::Machine.into_response()
}

/// Gives every bare error its words: a page in the reader's own surroundings, JSON under `/api`.
pub async fn dress(State(app): State<App>, request: Request, next: Next) -> Response {
    let for_program = request.uri().path().starts_with("/api/");
    let (head, body) = request.into_parts();
    let (surroundings, headers) = (page::Surroundings::of(&head), head.headers.clone());
    let method = head.method.clone();
    let response = next.run(Request::from_parts(head, body)).await;
    let Some(card) = card_of(&response, &method) else { return response };
    let (bare, _) = response.into_parts();
    let mut dressed = match (bare.extensions.get::<Oops>(), for_program) {
        (_, true) => as_json(&card),
        (Some(Oops::SignInFirst { back_to }), _) => {
            Redirect::to(&paths::SignIn.with(&[("next", back_to.as_deref().unwrap_or(""))])).into_response()
        }
        (Some(Oops::SeeInstead(path)), _) => Redirect::to(path).into_response(),
        (Some(Oops::CodesFirst), _) => Redirect::to(paths::Codes::PATTERN).into_response(),
        _ => {
            let me = who(&app, &headers, bare.extensions.get::<Me>()).await;
            page::error_page(surroundings.frame(&app, me.as_ref()), &card)
        }
    };
    if let Some(seconds) = card.retry_after_s {
        dressed.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
    }
    if let Some(allow) = bare.headers.get(header::ALLOW) {
        dressed.headers_mut().insert(header::ALLOW, allow.clone());
    }
    dressed
}

/// Whoever asked: the guard has said so, or, where no route was met, the cookie does.
async fn who(app: &App, headers: &HeaderMap, said: Option<&Me>) -> Option<Me> {
    if said.is_some() {
        return said.cloned();
    }
    match me::by_session(app, headers).await {
        Ok(Asking::Somebody(me)) => Some(me),
        _ => None,
    }
}

/// Our own errors carry their card; those of the layers between (no such method, too large, too slow) are told
/// by their status.
fn card_of(response: &Response, method: &Method) -> Option<Card> {
    if let Some(card) = response.extensions().get::<Card>() {
        return Some(card.clone());
    }
    let oops = match response.status() {
        StatusCode::PAYLOAD_TOO_LARGE => Oops::TooLarge,
        StatusCode::SERVICE_UNAVAILABLE if !has_own_body(response) => return Some(given_up()),
        StatusCode::METHOD_NOT_ALLOWED => {
            let mut card = Oops::NotFound(takes(method).into()).card();
            card.status = StatusCode::METHOD_NOT_ALLOWED;
            return Some(card);
        }
        _ => return None,
    };
    Some(oops.card())
}

/// What stays in the address bar when a form came back can be read as little as a page can be written to.
fn takes(method: &Method) -> &'static str {
    if matches!(*method, Method::GET | Method::HEAD) {
        "There is nothing to read at this address: it takes what is sent to it, as by the form of a page. Go back to that page, and send it from there."
    } else {
        "This address can only be read: nothing that is sent to it is taken."
    }
}

/// The answer did not come within the router's patience. What the writer has in hand by then goes on without whoever
/// asked, so they may not be told that nothing was stored.
fn given_up() -> Card {
    let says = "This took too long, and the wait was given up. What you sent may be in the book all the same: look there before you send it again.";
    Card { title: "Too slow".to_owned(), says: says.to_owned(), ..Oops::Busy { retry_after_s: 5 }.card() }
}

fn has_own_body(response: &Response) -> bool {
    response.headers().contains_key(header::CONTENT_TYPE)
}

fn as_json(card: &Card) -> Response {
    let problems = if card.problems.is_empty() { whole(card) } else { card.problems.clone() };
    let status = if card.status == StatusCode::SEE_OTHER { StatusCode::FORBIDDEN } else { card.status };
    let mut response = (status, Json(json!({ "problems": problems }))).into_response();
    if status == StatusCode::UNAUTHORIZED {
        response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    response
}

/// One problem about the whole, so that a program reads one shape for everything that was not taken.
fn whole(card: &Card) -> Vec<Problem> {
    let code = if card.status == StatusCode::BAD_REQUEST { Code::WrongType } else { Code::NotAllowed };
    vec![Problem { path: String::new(), code, says: card.says.clone() }]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_waited_in_vain_is_not_told_that_nothing_was_stored() {
        let card = card_of(&StatusCode::SERVICE_UNAVAILABLE.into_response(), &Method::POST);
        let says = card.map(|card| (card.status, card.says, card.retry_after_s));
        let told = says.is_some_and(|(status, says, again)| {
            status == StatusCode::SERVICE_UNAVAILABLE
                && says.contains("may be in the book all the same")
                && !says.contains("Nothing was stored")
                && again == Some(5)
        });
        assert!(told, "a page that timed out says what is true of it");
    }
}
