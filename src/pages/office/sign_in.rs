//! Signing in and out.
use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};
use serde::Deserialize;

use super::sign_in_code;
use crate::{
    base::SignIn,
    pages::drawn::form::Field,
    people::{
        Act, codes_store,
        password::Password,
        person, secrets,
        session::{Token, TokenHash},
        tries_store::Way,
    },
    web::{
        Answer, App, Asked, Frame, Me, Oops, Seen,
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
    pub(super) next: String,
    #[serde(default)]
    pub(super) kept: String,
}

impl Form {
    pub(super) fn of(typed: &Fields) -> Self {
        let of = |name| typed.get(name).to_owned();
        Self { sign_in: of("sign_in"), password: of("password"), next: of("next"), kept: of("kept") }
    }
}

pub async fn show(frame: Frame, Asked(asked): Asked<Form>) -> Answer {
    page(StatusCode::OK, &View::new(frame, &asked, None))
}

pub async fn send(
    State(app): State<App>,
    frame: Frame,
    seen: Seen,
    headers: HeaderMap,
    typed: Fields,
) -> Answer {
    let form = Form::of(&typed);
    let carried = Carried::read(&typed.0, app.now());
    match check(&app, &form, &seen).await? {
        Ok(who) if has_codes(&app, &who).await? => {
            sign_in_code::ask(&app, frame, &who, &form, carried.as_ref()).await
        }
        Ok(who) => let_in(&app, &who, seen, &headers, &form, carried).await,
        Err(says) => again(frame, &form, says, carried.as_ref()),
    }
}

/// The page once more, with the sentence beside its password.
pub(super) fn again(frame: Frame, form: &Form, says: String, carried: Option<&Carried>) -> Answer {
    let view = View::new(frame, form, Some(says)).carrying(carried);
    page(StatusCode::UNPROCESSABLE_ENTITY, &view)
}

/// Everything that was asked for was right: a session, and on to where they were going.
pub(super) async fn let_in(
    app: &App,
    who: &SignIn,
    seen: Seen,
    headers: &HeaderMap,
    form: &Form,
    carried: Option<Carried>,
) -> Answer {
    tracing::info!(by = %who, address = seen.words.address, "signed in");
    let before = cookie::token(headers, app.settings()).map(|token| token.hash());
    let opened = open(app, who, before, seen).await?;
    if let Some(carried) = carried {
        carried.keep(app, who).await?;
    }
    let next = where_to(app, &opened.token, form).await?;
    Ok(opened.with_cookies(Redirect::to(&next).into_response(), app))
}

/// Who it is, or the sentence beside the field. The same answer, after the same work, for a wrong password, a
/// name nobody has and somebody who has left.
async fn check(app: &App, form: &Form, seen: &Seen) -> Result<Result<SignIn, String>, Oops> {
    let password = Password::typed(&form.password);
    let Some(who) = person::sign_in(&form.sign_in) else {
        app.hasher().verify(password, None).await?;
        return Ok(Err(signature::NOT_TOGETHER.into()));
    };
    let way = way(app, &who, seen).await?;
    match signature::try_password(app, &who, password, way).await? {
        Tried::Right if app.world().people.person(&who).is_some_and(|p| p.active) => {
            still_good(app, who).await
        }
        Tried::Right | Tried::Wrong => Ok(Err(signature::NOT_TOGETHER.into())),
        Tried::NotNow(says) => Ok(Err(says)),
    }
}

async fn way(app: &App, who: &SignIn, seen: &Seen) -> Result<Way, Oops> {
    let Some(browser) = seen.browser.as_ref().map(Token::hash) else { return Ok(Way::Elsewhere) };
    let mut c = app.desk().read().await?;
    let known = secrets::is_known(&mut c, browser, who, app.now()).await?;
    Ok(if known { Way::Known(browser) } else { Way::Elsewhere })
}

/// A password that was made for somebody works for a week; only who typed it is told that it is over.
async fn still_good(app: &App, who: SignIn) -> Result<Result<SignIn, String>, Oops> {
    let mut c = app.desk().read().await?;
    let kept = secrets::password_of(&mut c, &who).await?;
    if kept.is_some_and(|kept| kept.is_over(app.now())) {
        return Ok(Err("This first password was good for 7 days, and they are over. Ask an administrator for a new one; on the machine itself `breakerbook password` makes one.".into()));
    }
    Ok(Ok(who))
}

async fn has_codes(app: &App, who: &SignIn) -> Result<bool, Oops> {
    let mut c = app.desk().read().await?;
    Ok(codes_store::kept(&mut c, who, app.now()).await?.set_at.is_some())
}

/// A session, and the secret that its browser is known by.
pub(super) struct Opened {
    token: Token,
    browser: Token,
}

impl Opened {
    pub(super) fn with_cookies(&self, mut response: Response, app: &App) -> Response {
        let settings = app.settings();
        for cookie in [cookie::set(&self.token, settings), cookie::set_browser(&self.browser, settings)] {
            response.headers_mut().append(header::SET_COOKIE, cookie);
        }
        response
    }
}

/// A new token every time: one that was planted in the browser beforehand is worth nothing.
pub(super) async fn open(
    app: &App,
    who: &SignIn,
    before: Option<TokenHash>,
    seen: Seen,
) -> Result<Opened, Oops> {
    let token = Token::fresh()?;
    let mut db = app.desk().read().await?;
    let browser = match seen.browser {
        Some(browser) if secrets::is_ours(&mut db, browser.hash()).await? => browser,
        _ => Token::fresh()?,
    };
    drop(db);
    let (hash, known, who, now) = (token.hash(), browser.hash(), who.clone(), app.now());
    let open = app.desk().aside(move |c| {
        Box::pin(async move {
            secrets::open_session(c, hash, who.clone(), before, seen.words, now).await?;
            secrets::know(c, known, who, now).await
        })
    });
    open.await?;
    Ok(Opened { token, browser })
}

/// One's own password first if it was a one-time one, then codes, what was kept, and where they were going.
async fn where_to(app: &App, token: &Token, form: &Form) -> Result<String, Oops> {
    let mut c = app.desk().read().await?;
    let Some(session) = secrets::session(&mut c, token.hash(), app.now()).await? else {
        return Ok(own_path(&form.next).to_owned());
    };
    let world = app.world();
    let keeps_codes = world.people.person(&session.sign_in).and_then(|p| p.permit(Act::KeepCodes)).is_some();
    // A tablet's reports are confirmed or disowned at the next sign-in: it is the first thing they see.
    Ok(match session {
        session if session.must_change => paths::Password.to_string(),
        session if session.codes_asked && !session.codes_set && keeps_codes => paths::Codes.to_string(),
        session if session.kept_forms > 0 => paths::Kept.to_string(),
        session if session.unanswered > 0 => paths::Tablets.to_string(),
        _ => own_path(&form.next).to_owned(),
    })
}

pub async fn sign_out(State(app): State<App>, me: Option<Me>) -> Answer {
    if let Some(hash) = me.and_then(|me| me.session()) {
        let now = app.now();
        app.desk().aside(move |c| Box::pin(secrets::end_session(c, hash, now))).await?;
    }
    let mut to = Redirect::to(paths::SignIn::PATTERN).into_response();
    to.headers_mut().insert(header::SET_COOKIE, cookie::clear(app.settings()));
    Ok(to)
}
