//! How others sign in: a first password, codes of somebody who lost everything, the end of somebody's sessions.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::sessions::{self, Line};
use crate::{
    base::{SignIn, text},
    desk::{keep_codes::TellOfSecret, keep_people::KeepSecret},
    pages::drawn::form::{Choice, Field},
    people::{
        Act, Person, codes_store,
        password::{self, Password},
        person, secrets,
        session::Limits,
        tries_store::Way,
    },
    web::{Answer, App, Asked, Frame, Me, Oops, forms::Fields, page, paths, signature},
};

#[derive(Template)]
#[template(path = "office/sign_ins.html")]
struct ListView {
    frame: Frame,
    action: &'static str,
    who: Field,
    /// Whether the book asks for codes, in a sentence.
    asked: String,
    rows: Vec<Row>,
}

struct Row {
    href: String,
    sign_in: String,
    role: &'static str,
    codes: String,
}

#[derive(Deserialize)]
pub struct Wanted {
    #[serde(default)]
    who: String,
}

pub async fn list(State(app): State<App>, frame: Frame, Asked(wanted): Asked<Wanted>) -> Answer {
    let world = app.world();
    let typed = wanted.who.trim();
    let found = person::sign_in(typed).filter(|who| world.people.person(who).is_some());
    if let Some(who) = found {
        return Err(Oops::SeeInstead(paths::SignInsOf(who.to_string()).to_string()));
    }
    let says = (!typed.is_empty()).then(|| "Nobody in this book has this sign-in name.".to_owned());
    let mut c = app.desk().read().await?;
    let asked = codes_store::asked_since(&mut c).await?;
    let mut rows = Vec::new();
    for person in world.people.persons.values().filter(|person| person.permit(Act::KeepCodes).is_some()) {
        let kept = codes_store::kept(&mut c, &person.sign_in, app.now()).await?;
        let since = kept.set_at.map(|at| format!("since {}", world.railway.zone.in_words(at)));
        rows.push(Row {
            href: paths::SignInsOf(person.sign_in.to_string()).to_string(),
            sign_in: person.sign_in.to_string(),
            role: person.role.as_str(),
            codes: since.unwrap_or_else(|| "none".to_owned()),
        });
    }
    drop(c);
    let view = ListView {
        frame,
        action: paths::SignIns::PATTERN,
        who: Field::text("who", "Sign-in name", &wanted.who).says(says),
        asked: asked_says(asked.is_some(), world.railway.demo).to_owned(),
        rows,
    };
    page(StatusCode::OK, &view)
}

fn asked_says(asked: bool, demo: bool) -> &'static str {
    match (asked, demo) {
        (true, _) => {
            "This book asks supervisors and administrators for one-time codes before they sign anything."
        }
        (false, true) => {
            "This is a demonstration: one-time codes are not asked for. Whoever has them gives one at sign-in."
        }
        (false, false) => {
            "This book does not ask for one-time codes. Whoever has them gives one at sign-in; `breakerbook codes --ask yes` on the machine itself asks supervisors and administrators for them."
        }
    }
}

#[derive(Template)]
#[template(path = "office/sign_ins_of.html")]
struct View {
    frame: Frame,
    list: &'static str,
    action: String,
    who: String,
    role: &'static str,
    active: bool,
    /// Of the password, the codes, and tries that failed.
    facts: Vec<(&'static str, String)>,
    sessions: Vec<Line>,
    /// Just made, shown once.
    made: Option<String>,
    done: Option<&'static str>,
    /// It is oneself: then by other pages.
    own: bool,
    what: Choice,
    reason: Field,
    password: Field,
    /// The administrator has codes: one is asked for as well.
    code: Option<Field>,
}

/// What was typed, and what is said of it.
#[derive(Default)]
struct Kept {
    what: String,
    reason: String,
    what_says: Option<String>,
    reason_says: Option<String>,
    password_says: Option<String>,
    code_says: Option<String>,
    made: Option<String>,
    done: Option<&'static str>,
}

const PASSWORD: &str = "password";
const CODES: &str = "codes";
const SESSIONS: &str = "sessions";

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(who): Path<String>) -> Answer {
    draw(&app, frame, &me, &whom(&app, &who)?, StatusCode::OK, Kept::default()).await
}

fn whom(app: &App, typed: &str) -> Result<Person, Oops> {
    let world = app.world();
    let known = person::sign_in(typed).and_then(|who| world.people.person(&who).cloned());
    known.ok_or_else(|| Oops::NotFound("Nobody in this book has this sign-in name.".into()))
}

pub async fn send(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(who): Path<String>,
    typed: Fields,
) -> Answer {
    let person = whom(&app, &who)?;
    if person.sign_in == *me.sign_in() {
        return Err(Oops::Forbidden("Your own password, codes and sessions have pages of their own; what you have lost, another administrator makes anew.".into()));
    }
    let mut kept = checked(&typed);
    if kept.what_says.is_none() && kept.reason_says.is_none() {
        kept.password_says = signature::sign_by_password(&app, &me, typed.get("password")).await?.err();
        if kept.password_says.is_none() && me.has_codes() {
            kept.code_says = signature::sign_by_code(&app, &me, typed.get("one_time_code")).await?.err();
        }
    }
    let refused = [&kept.what_says, &kept.reason_says, &kept.password_says, &kept.code_says];
    if refused.iter().any(|says| says.is_some()) {
        return draw(&app, frame, &me, &person, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
    }
    let kept = carry_out(&app, &me, &person, &kept).await?;
    draw(&app, frame, &me, &person, StatusCode::OK, kept).await
}

fn checked(typed: &Fields) -> Kept {
    let (what, reason) = (typed.get("what").to_owned(), typed.get("reason").to_owned());
    let known = [PASSWORD, CODES, SESSIONS].contains(&what.as_str());
    let why = what == CODES && text::words(&reason).is_none();
    Kept {
        what_says: (!known).then(|| "Choose one of the three.".into()),
        reason_says: why.then(|| {
            "Say why, and how you know that it is really this person: it goes into the book.".into()
        }),
        what,
        reason,
        ..Kept::default()
    }
}

async fn carry_out(app: &App, me: &Me, person: &Person, asked: &Kept) -> Result<Kept, Oops> {
    let who = &person.sign_in;
    tracing::warn!(by = %me.sign_in(), of = %who, what = asked.what, "an administrator changed how somebody signs in");
    match asked.what.as_str() {
        PASSWORD => new_password(app, me, who).await,
        CODES => {
            clear_codes(app, me, who, text::tidy(&asked.reason).unwrap_or_default()).await?;
            Ok(Kept {
                done: Some("Their codes are cleared, and their sessions have ended."),
                ..Kept::default()
            })
        }
        _ => {
            let (of, now) = (who.clone(), app.now());
            app.desk()
                .aside(move |c| Box::pin(async move { secrets::end_all(c, &of, None, now).await }))
                .await?;
            Ok(Kept { done: Some("All their sessions have ended."), ..Kept::default() })
        }
    }
}

/// Codes that they have are asked for all the same: a new password is no way around them.
async fn new_password(app: &App, me: &Me, who: &SignIn) -> Result<Kept, Oops> {
    let made = password::one_time()?;
    let hash = app.hasher().hash(Password::typed(&made)).await?;
    let (of, now) = (who.clone(), app.now());
    app.desk().act(KeepSecret::password(who, hash, true, Some(me.sign_in()), now)).await?;
    app.desk().aside(move |c| Box::pin(secrets::password_was_set(c, of, now))).await?;
    signature::gate_opens(app, who, &[Way::Elsewhere, Way::Signature]).await?;
    Ok(Kept { made: Some(made), ..Kept::default() })
}

/// The page of the book first: whatever fails after it, that they were to be cleared stands there.
async fn clear_codes(app: &App, me: &Me, who: &SignIn, reason: String) -> Result<(), Oops> {
    let permit = me.permit(Act::KeepPeople)?;
    app.desk().act(TellOfSecret::cleared(who, reason, Some(&permit))).await?;
    let (of, now) = (who.clone(), app.now());
    app.desk().aside(move |c| Box::pin(codes_store::clear(c, of, now))).await?;
    signature::gate_opens(app, who, &[Way::Code]).await
}

async fn draw(app: &App, frame: Frame, me: &Me, person: &Person, status: StatusCode, kept: Kept) -> Answer {
    let (facts, sessions) = known_of(app, person).await?;
    let code = Field {
        autocomplete: "one-time-code",
        mode: "numeric",
        ..Field::text("one_time_code", "And your one-time code", "").says(kept.code_says)
    };
    let hint = "For clearing codes: what they told you, and how you know that it is really this person.";
    let view = View {
        frame,
        list: paths::SignIns::PATTERN,
        action: paths::SignInsOf(person.sign_in.to_string()).to_string(),
        who: person.sign_in.to_string(),
        role: person.role.as_str(),
        active: person.active,
        facts,
        sessions,
        made: kept.made,
        done: kept.done,
        own: person.sign_in == *me.sign_in(),
        what: what(&kept.what).says(kept.what_says),
        reason: Field::text("reason", "Reason", &kept.reason).hint(hint).says(kept.reason_says),
        password: Field::password("password", "Your own password, as your signature")
            .says(kept.password_says),
        code: me.has_codes().then_some(code),
    };
    page(status, &view)
}

fn what(chosen: &str) -> Choice {
    let options = [
        (PASSWORD, "Make a new first password"),
        (CODES, "Clear their one-time codes"),
        (SESSIONS, "End all their sessions"),
    ];
    Choice::of("what", "What is to be done", chosen, &options)
}

async fn known_of(app: &App, person: &Person) -> Result<(Vec<(&'static str, String)>, Vec<Line>), Oops> {
    let (world, now, who) = (app.world(), app.now(), &person.sign_in);
    let zone = &world.railway.zone;
    let (told, just_now) = sessions::told(app, who).await?;
    let mut c = app.desk().read().await?;
    let password = match secrets::password_of(&mut c, who).await? {
        None => "none yet".to_owned(),
        Some(kept) if kept.is_over(now) => "a first one, which nobody used in time: it is over".to_owned(),
        Some(kept) if kept.one_time => {
            format!(
                "a first one, good until {}",
                zone.in_words(kept.set_at.plus(secrets::FIRST_PASSWORD_FOR))
            )
        }
        Some(kept) => format!("their own, since {}", zone.in_words(kept.set_at)),
    };
    let codes = codes_store::kept(&mut c, who, now).await?;
    let codes = codes.set_at.map_or_else(|| "none".to_owned(), |at| format!("since {}", zone.in_words(at)));
    let limits = Limits::of(person.role);
    let open = secrets::open_sessions(&mut c, who).await?;
    let lines = open.iter().filter(|open| open.is_alive(limits, now)).map(|open| sessions::line(open, zone));
    let failed = sessions::failed(told, just_now, zone, "under this name")
        .unwrap_or_else(|| "none in the last 30 days".into());
    let facts = vec![("Password", password), ("One-time codes", codes), ("Tries that failed", failed)];
    Ok((facts, lines.collect()))
}
