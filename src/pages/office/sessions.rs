//! Where somebody is signed in, and the end of it.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use crate::{
    base::{Instant, Zone, instant::DAY, text},
    pages::drawn::form::Field,
    people::{
        secrets,
        session::{Limits, Open, TokenHash},
        tries_store::{self, Told, Way},
    },
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "office/sessions.html")]
struct View {
    frame: Frame,
    action: &'static str,
    here: Option<Line>,
    others: Vec<Line>,
    /// Tries under this name that failed.
    failed: Option<String>,
    says: Option<String>,
    password: Field,
}

pub(super) struct Line {
    pub id: String,
    pub what: String,
    pub when: String,
}

pub(super) fn line(open: &Open, zone: &Zone) -> Line {
    let agent =
        if open.seen.agent.is_empty() { "A browser that does not say what it is" } else { &open.seen.agent };
    let from =
        if open.seen.address.is_empty() { String::new() } else { format!(", from {}", open.seen.address) };
    Line {
        id: open.id(),
        what: format!("{agent}{from}"),
        when: format!(
            "Signed in {}, last seen {}",
            zone.in_words(open.created_at),
            zone.in_words(open.seen_at)
        ),
    }
}

/// Tries that failed in the last thirty days, in a sentence; `None`: there were none.
pub(super) fn failed(told: Told, just_now: u32, zone: &Zone, whose: &str) -> Option<String> {
    let (wrong, slowed) = (told.wrong, told.slowed.saturating_add(just_now));
    let last = told.last_at.filter(|_| wrong + slowed > 0)?;
    let tries = text::count(u64::from(wrong), "try failed", "tries failed");
    let more = if slowed > 0 {
        format!(", and {slowed} came too soon and were not looked at")
    } else {
        String::new()
    };
    Some(format!("In the last 30 days {tries} {whose}{more}; the last one {}.", zone.in_words(last)))
}

pub(super) async fn told(app: &App, who: &crate::base::SignIn) -> Result<(Told, u32), Oops> {
    let mut c = app.desk().read().await?;
    let told = tries_store::told(&mut c, Some(who), app.now().minus(30 * DAY)).await?;
    Ok((told, app.gate().slowed(&Way::Elsewhere.counted(who))))
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    draw(&app, frame, &me, StatusCode::OK, None, None).await
}

async fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    says: Option<String>,
    password_says: Option<String>,
) -> Answer {
    let alive = alive(app, me).await?;
    let world = app.world();
    let zone = &world.railway.zone;
    let (here, others): (Vec<&Open>, Vec<&Open>) =
        alive.iter().partition(|open| Some(open.token_hash) == me.session());
    let (told, just_now) = told(app, me.sign_in()).await?;
    let view = View {
        frame,
        action: paths::Sessions::PATTERN,
        here: here.first().map(|open| line(open, zone)),
        others: others.iter().map(|open| line(open, zone)).collect(),
        failed: failed(told, just_now, zone, "under your name"),
        // Without another session there is no form to say it in.
        says: says.or_else(|| password_says.clone().filter(|_| others.is_empty())),
        password: Field::password("password", "Your password").says(password_says),
    };
    page(status, &view)
}

async fn alive(app: &App, me: &Me) -> Result<Vec<Open>, Oops> {
    let mut c = app.desk().read().await?;
    let (limits, now) = (Limits::of(me.role()), app.now());
    let all = secrets::open_sessions(&mut c, me.sign_in()).await?;
    Ok(all.into_iter().filter(|open| open.is_alive(limits, now)).collect())
}

/// What is to end.
enum Which {
    Others,
    One(TokenHash),
}

pub async fn end(State(app): State<App>, frame: Frame, me: Me, typed: Fields) -> Answer {
    let alive = alive(&app, &me).await?;
    // Only one's own are looked through: another person's does not exist here.
    let which = match typed.get("end") {
        "others" => Some(Which::Others),
        id => alive.iter().find(|open| open.id() == id).map(|open| Which::One(open.token_hash)),
    };
    let Some(which) = which else {
        let says =
            "Choose which of your sessions is to end: this one is over already, or not yours.".to_owned();
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, Some(says), None).await;
    };
    if let Err(says) = signature::sign(&app, &me, typed.get("password")).await? {
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, None, Some(says)).await;
    }
    end_now(&app, &me, which, app.now()).await?;
    see(&paths::Sessions)
}

async fn end_now(app: &App, me: &Me, which: Which, now: Instant) -> Result<(), Oops> {
    let (who, here) = (me.sign_in().clone(), me.session());
    let end = app.desk().aside(move |c| {
        Box::pin(async move {
            match which {
                Which::Others => secrets::end_all(c, &who, here, now).await.map(drop),
                Which::One(hash) => secrets::end_own(c, &who, hash, now).await.map(drop),
            }
        })
    });
    Ok(end.await?)
}
