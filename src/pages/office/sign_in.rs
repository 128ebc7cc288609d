//! Signing in and out.
use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};
use serde::Deserialize;

use crate::{
    base::SignIn,
    pages::drawn::form::Field,
    people::{
        password::Password,
        person, secrets,
        session::{Token, TokenHash},
    },
    web::{
        Answer, App, Asked, Frame, Me, Oops,
        carried::Carried,
        cookie,
        forms::Fields,
        page,
        palette::own_path,
        paths,
        signature::{self, Tried},
    },
};

#[derive(Template)]
#[template(path = "office/sign_in.html")]
struct View {
    frame: Frame,
    name: Field,
    password: Field,
    /// Where to go afterwards.
    next: String,
    /// A form was kept when the last session ended.
    kept: bool,
    /// A form that came without a session, on its way through this one.
    carried: Vec<(String, String)>,
}

impl View {
    fn new(frame: Frame, typed: &Form, says: Option<String>) -> Self {
        let name =
            Field { autocomplete: "username", ..Field::text("sign_in", "Sign-in name", &typed.sign_in) };
        Self {
            frame,
            name,
            password: Field::password("password", "Password").says(says),
            next: typed.next.clone(),
            kept: !typed.kept.is_empty(),
            carried: Vec::new(),
        }
    }

    fn carrying(self, carried: Option<&Carried>) -> Self {
        Self { carried: carried.map(Carried::inputs).unwrap_or_default(), ..self }
    }
}

#[derive(Deserialize, Default)]
pub struct Form {
    #[serde(default)]
    sign_in: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    next: String,
    #[serde(default)]
    kept: String,
}

impl Form {
    fn of(typed: &Fields) -> Self {
        let of = |name| typed.get(name).to_owned();
        Self { sign_in: of("sign_in"), password: of("password"), next: of("next"), kept: of("kept") }
    }
}

pub async fn show(frame: Frame, Asked(asked): Asked<Form>) -> Answer {
    page(StatusCode::OK, &View::new(frame, &asked, None))
}

pub async fn send(State(app): State<App>, frame: Frame, headers: HeaderMap, typed: Fields) -> Answer {
    let form = Form::of(&typed);
    let carried = Carried::read(&typed.0, app.now());
    match check(&app, &form).await? {
        Ok(who) => {
            let before = cookie::token(&headers, app.settings()).map(|token| token.hash());
            let token = open(&app, &who, before).await?;
            if let Some(carried) = carried {
                carried.keep(&app, &who).await?;
            }
            let next = where_to(&app, &token, &form).await?;
            Ok(with_cookie(Redirect::to(&next).into_response(), cookie::set(&token, app.settings())))
        }
        Err(says) => {
            let view = View::new(frame, &form, Some(says)).carrying(carried.as_ref());
            page(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

/// Who it is, or the sentence beside the field. The same answer, after the same work, for a wrong password, a
/// name nobody has and somebody who has left.
async fn check(app: &App, form: &Form) -> Result<Result<SignIn, String>, Oops> {
    let password = Password::typed(&form.password);
    let Some(who) = person::sign_in(&form.sign_in) else {
        app.hasher().verify(password, None).await?;
        return Ok(Err(signature::NOT_TOGETHER.into()));
    };
    match signature::try_password(app, &who, password).await? {
        Tried::Right if app.world().people.person(&who).is_some_and(|p| p.active) => Ok(Ok(who)),
        Tried::Right | Tried::Wrong => Ok(Err(signature::NOT_TOGETHER.into())),
        Tried::NotNow(says) => Ok(Err(says)),
    }
}

/// A new token every time: one that was planted in the browser beforehand is worth nothing.
pub(super) async fn open(app: &App, who: &SignIn, before: Option<TokenHash>) -> Result<Token, Oops> {
    let token = Token::fresh()?;
    let (hash, who, now) = (token.hash(), who.clone(), app.now());
    app.desk().aside(move |c| Box::pin(secrets::open_session(c, hash, who.clone(), before, now))).await?;
    Ok(token)
}

/// One's own password first if it was a one-time one, then what was kept, then where they were going.
async fn where_to(app: &App, token: &Token, form: &Form) -> Result<String, Oops> {
    let mut c = app.desk().read().await?;
    let session = secrets::session(&mut c, token.hash(), app.now()).await?;
    // Confirmed or disowned at the next sign-in: it is the first thing they see.
    Ok(match session {
        Some(session) if session.must_change => paths::Password.to_string(),
        Some(session) if session.kept_forms > 0 => paths::Kept.to_string(),
        Some(session) if session.unanswered > 0 => paths::Tablets.to_string(),
        _ => own_path(&form.next).to_owned(),
    })
}

pub async fn sign_out(State(app): State<App>, me: Option<Me>) -> Answer {
    if let Some(hash) = me.and_then(|me| me.session()) {
        let now = app.now();
        app.desk().aside(move |c| Box::pin(secrets::end_session(c, hash, now))).await?;
    }
    let to = Redirect::to(paths::SignIn::PATTERN).into_response();
    Ok(with_cookie(to, cookie::clear(app.settings())))
}

pub(super) fn with_cookie(mut response: Response, cookie: HeaderValue) -> Response {
    response.headers_mut().insert(header::SET_COOKIE, cookie);
    response
}
