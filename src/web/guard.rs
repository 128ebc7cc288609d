//! The keeper of one route's door: where the request came from, who asks, whether their role may.
use axum::{
    extract::{Request, State},
    http::{Method, StatusCode, request::Parts},
    middleware::Next,
    response::{IntoResponse, Response},
};

use super::{
    App, Door, Me, Oops, carried, cookie,
    me::{self, Asking},
    origin, parking, paths,
};
use crate::people::Act;

pub async fn guard(State((app, door)): State<(App, Door)>, request: Request, next: Next) -> Response {
    // A body cannot be shared between threads, so only the head is looked at here.
    let (mut head, body) = request.into_parts();
    let me = let_in(&app, door, &mut head).await;
    let parked = if changes(&head) { parking::mark(&head) } else { None };
    if let (Some(id), Ok(Some(me))) = (&parked, &me)
        && let Ok(Some(at)) = parking::parked_at(&app, me.sign_in(), id).await
    {
        head.extensions.insert(parking::SentAt(at));
    }
    let request = Request::from_parts(head, body);
    let me = match me {
        Ok(me) => me,
        Err(Stopped::With(oops)) => return oops.into_response(),
        Err(Stopped::NoSession) => return carried::hand_back(&app, request).await.into_response(),
        Err(Stopped::SessionEnded(who)) => return parking::park(&app, who, request).await.into_response(),
        Err(Stopped::CodesFirst(who)) => {
            return parking::codes_first(&app, who, request).await.into_response();
        }
    };
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let mut response = next.run(request).await;
    let Some(me) = me else { return response };
    refused(&me, &method, &path, response.status());
    if let Some(id) = parked.filter(|_| response.status().is_redirection()) {
        parking::let_go(&app, me.sign_in().clone(), id).await;
    }
    // The error page, drawn further out, greets whoever asked.
    response.extensions_mut().insert(me);
    response
}

enum Stopped {
    With(Oops),
    /// A form came after its session had ended.
    SessionEnded(crate::base::SignIn),
    /// A form came from somebody who has to set up one-time codes before they change anything.
    CodesFirst(crate::base::SignIn),
    /// A form came from a browser that no longer has a session at all.
    NoSession,
}
impl From<Oops> for Stopped {
    fn from(oops: Oops) -> Self {
        Self::With(oops)
    }
}

async fn let_in(app: &App, door: Door, request: &mut Parts) -> Result<Option<Me>, Stopped> {
    let changes = changes(request);
    let asking = credentials(app, request, changes, door).await?;
    let me = match asking {
        Asking::Somebody(me) => Some(me),
        _ if door == Door::Open => None,
        Asking::Ended(who) if changes && !is_api(request) => return Err(Stopped::SessionEnded(who)),
        Asking::Nobody if changes && !is_api(request) => return Err(Stopped::NoSession),
        Asking::Ended(_) | Asking::Nobody => return Err(sign_in_first(request, changes).into()),
    };
    if let Some(me) = &me {
        check_door(door, me, request)?;
        if changes && me.must_set_codes() && matches!(door, Door::For(act) if act != Act::KeepCodes) {
            return Err(if is_api(request) {
                Oops::CodesFirst.into()
            } else {
                Stopped::CodesFirst(me.sign_in().clone())
            });
        }
        request.extensions.insert(me.clone());
    }
    Ok(me)
}

/// A bearer token speaks for itself; everything else that changes something must come from our own pages.
async fn credentials(app: &App, request: &Parts, changes: bool, door: Door) -> Result<Asking, Oops> {
    if is_api(request)
        && let Some(asking) = me::by_token(app, &request.headers).await?
    {
        return Ok(asking);
    }
    if changes && !origin::is_our_own(&request.headers) {
        // A program that forgot its token is told so, not that it is no page of ours.
        let program =
            origin::is_unsaid(&request.headers) && cookie::token(&request.headers, app.settings()).is_none();
        if is_api(request) && door != Door::Open && program {
            return Ok(Asking::Nobody);
        }
        return Err(Oops::FromElsewhere);
    }
    me::by_session(app, &request.headers).await
}

fn check_door(door: Door, me: &Me, request: &Parts) -> Result<(), Oops> {
    let path = request.uri.path();
    if me.must_change() && door != Door::Open && path != paths::Password::PATTERN {
        return Err(Oops::SeeInstead(paths::Password.to_string()));
    }
    match door {
        Door::For(act) if !me.may(act) => {
            refused(me, &request.method, path, StatusCode::FORBIDDEN);
            Err(Oops::not_for_your_role(me.role()))
        }
        _ => Ok(()),
    }
}

/// Who asked for what was not theirs, or was not there, stands in the log (ASVS 5.0 16.3.2): the path, never what was typed.
fn refused(me: &Me, method: &Method, path: &str, status: StatusCode) {
    let by = me.sign_in();
    match status {
        StatusCode::FORBIDDEN => tracing::warn!(%by, %method, path, "refused: not theirs to do"),
        StatusCode::NOT_FOUND => tracing::info!(%by, %method, path, "asked for what is not there"),
        _ => {}
    }
}

fn changes(request: &Parts) -> bool {
    !matches!(request.method, Method::GET | Method::HEAD)
}

fn is_api(request: &Parts) -> bool {
    request.uri.path().starts_with("/api/")
}

/// After signing in, somebody who only wanted to read lands where they were going.
fn sign_in_first(request: &Parts, changes: bool) -> Oops {
    let wanted = request.uri.path_and_query().map(ToString::to_string);
    Oops::SignInFirst { back_to: wanted.filter(|_| !changes) }
}
