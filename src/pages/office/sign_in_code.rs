//! The second step of signing in, for whoever has one-time codes. It is reached by the right password only, and by a token
//! that nothing but this page has.
use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, StatusCode},
};

use super::sign_in::{self, Form};
use crate::{
    base::SignIn,
    pages::drawn::form::Field,
    people::{codes_store, session::Token},
    web::{
        Answer, App, Frame, Oops, Seen,
        carried::Carried,
        forms::Fields,
        page, paths,
        signature::{self, Tried},
    },
};

#[derive(Template)]
#[template(path = "office/sign_in_code.html")]
struct View {
    frame: Frame,
    sign_in: String,
    action: &'static str,
    back: &'static str,
    code: Field,
    step: String,
    next: String,
    kept: bool,
    carried: Vec<(String, String)>,
}

/// What goes on from page to page.
struct Under<'a> {
    who: &'a SignIn,
    form: &'a Form,
    carried: Option<&'a Carried>,
    step: String,
}

fn draw(status: StatusCode, frame: Frame, under: Under<'_>, says: Option<String>) -> Answer {
    let hint = "The six digits that your telephone shows now, or one of your recovery codes.";
    let code = Field {
        autocomplete: "one-time-code",
        ..Field::text("one_time_code", "One-time code", "").hint(hint).says(says)
    };
    let view = View {
        frame: Frame { back: paths::SignIn.to_string(), ..frame },
        sign_in: under.who.to_string(),
        action: paths::SignInCode::PATTERN,
        back: paths::SignIn::PATTERN,
        code,
        step: under.step,
        next: under.form.next.clone(),
        kept: !under.form.kept.is_empty(),
        carried: under.carried.map(Carried::inputs).unwrap_or_default(),
    };
    page(status, &view)
}

/// The password was right: asks for the code.
pub(super) async fn ask(
    app: &App,
    frame: Frame,
    who: &SignIn,
    form: &Form,
    carried: Option<&Carried>,
) -> Answer {
    let step = Token::fresh()?;
    let (hash, of, now) = (step.hash(), who.clone(), app.now());
    let begin =
        app.desk().aside(move |c| Box::pin(async move { codes_store::begin_step(c, hash, of, now).await }));
    begin.await?;
    draw(StatusCode::OK, frame, Under { who, form, carried, step: step.reveal() }, None)
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
    let Some(who) = whose(&app, typed.get("step")).await? else {
        let says = "The code has to come within 5 minutes of the password: sign in again.".to_owned();
        let frame = Frame { back: paths::SignIn.to_string(), ..frame };
        return sign_in::again(frame, &form, says, carried.as_ref());
    };
    let step = typed.get("step").to_owned();
    let under = |step| Under { who: &who, form: &form, carried: carried.as_ref(), step };
    if typed.get("one_time_code").trim().is_empty() {
        let says = "Type the code that your telephone shows now, or a recovery code.".to_owned();
        return draw(StatusCode::UNPROCESSABLE_ENTITY, frame, under(step), Some(says));
    }
    let says = match signature::try_code(&app, &who, typed.get("one_time_code")).await? {
        Tried::Right => {
            let of = who.clone();
            app.desk().aside(move |c| Box::pin(async move { codes_store::end_steps(c, &of).await })).await?;
            return sign_in::let_in(&app, &who, seen, &headers, &form, carried).await;
        }
        Tried::Wrong => signature::NOT_THE_CODE.to_owned(),
        Tried::NotNow(says) => says,
    };
    draw(StatusCode::UNPROCESSABLE_ENTITY, frame, under(step), Some(says))
}

/// Whose password was right, by the token of the page; nobody's once they have left.
async fn whose(app: &App, step: &str) -> Result<Option<SignIn>, Oops> {
    let Some(step) = Token::parse(step) else { return Ok(None) };
    let mut c = app.desk().read().await?;
    let who = codes_store::step(&mut c, step.hash(), app.now()).await?;
    Ok(who.filter(|who| app.world().people.person(who).is_some_and(|person| person.active)))
}
