//! Webhooks: where programs elsewhere are told, each message signed. The secret is shown once.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{all::shown_url, line::tabs};
use crate::{
    desk::notices::{
        hook::Target,
        hooks::{self, Hook, HookSecret},
        shown::{self, TrialTo},
        what::What,
    },
    pages::drawn::form::Field,
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "office/webhooks.html")]
pub struct View {
    pub frame: Frame,
    pub tabs: Vec<(String, &'static str)>,
    pub live: Vec<Live>,
    /// Of the one that was just made, never again.
    pub secret: Option<String>,
    pub signer: String,
    pub action: &'static str,
    pub url: Field,
    pub sorts: Vec<(String, String, bool)>,
    pub sorts_say: Option<String>,
    pub password: Field,
}

pub struct Live {
    pub url: String,
    pub what: String,
    pub made: String,
    pub end: String,
    pub trial: String,
    pub password: Field,
}

/// What was typed and what is to be said of it.
#[derive(Default)]
struct Typed {
    url: String,
    url_says: Option<String>,
    what: Vec<What>,
    what_says: Option<String>,
    password_says: Option<String>,
    /// The webhook whose ending was not signed, and why.
    end_says: Option<(String, String)>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    draw(&app, frame, &me, StatusCode::OK, Typed::default(), None).await
}

async fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    typed: Typed,
    secret: Option<String>,
) -> Answer {
    let mut db = app.desk().read().await?;
    let hooks = hooks::live(&mut db).await?;
    drop(db);
    let one = |what: What| (what.to_string(), what.in_words().to_owned(), typed.what.contains(&what));
    let view = View {
        frame,
        tabs: tabs(me, paths::Webhooks::PATTERN),
        live: hooks.iter().map(|hook| live(app, hook, typed.end_says.as_ref())).collect(),
        secret,
        signer: me.sign_in().to_string(),
        action: paths::Webhooks::PATTERN,
        url: Field { input: "url", ..Field::text("url", "Address", &typed.url) }
            .hint("https, but for this machine itself.")
            .says(typed.url_says),
        sorts: What::choosable().map(one).collect(),
        sorts_say: typed.what_says,
        password: Field::password("password", "Your password, as your signature").says(typed.password_says),
    };
    page(status, &view)
}

fn live(app: &App, hook: &Hook, wrong: Option<&(String, String)>) -> Live {
    let says = wrong.filter(|(id, _)| *id == hook.id).map(|(_, says)| says.clone());
    let zone = &app.world().railway.zone;
    Live {
        url: shown_url(hook),
        what: hook.what.iter().map(|what| what.in_words()).collect::<Vec<_>>().join(" · "),
        made: format!("Made {} by {}", zone.in_words(hook.made_at), hook.made_by),
        end: paths::WebhookEnd(hook.id.clone()).to_string(),
        trial: paths::WebhookTrial(hook.id.clone()).to_string(),
        password: Field::password("password", "Your password, as your signature").says(says).of(&hook.id),
    }
}

pub async fn make(State(app): State<App>, frame: Frame, me: Me, fields: Fields) -> Answer {
    let mut typed = read(&fields);
    let mut db = app.desk().read().await?;
    let known = hooks::live(&mut db).await?;
    if known.len() >= hooks::MOST {
        typed.url_says = Some(format!("There are {} already: end one first.", hooks::MOST));
    } else if known.iter().any(|hook| hook.url == typed.url) {
        // Pressed twice, too: of the two secrets only the second would have been seen.
        let says = "There is one to this address already. End it first if its secret is lost or it is to be told of something else.";
        typed.url_says = Some(says.to_owned());
    }
    drop(db);
    if typed.url_says.is_none() && typed.what_says.is_none() {
        typed.password_says = signature::sign(&app, &me, fields.get("password")).await?.err();
    }
    if typed.url_says.is_some() || typed.what_says.is_some() || typed.password_says.is_some() {
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, typed, None).await;
    }
    let id = uuid::Uuid::new_v4().to_string();
    let key = app.desk().signer().map_err(|why| Oops::NoRoom(format!("No webhook was made: {why}.")))?;
    let secret = HookSecret::of(&key, &id);
    let hook = Hook {
        id,
        url: typed.url.clone(),
        what: typed.what.clone(),
        print: secret.print(),
        made_at: app.now(),
        made_by: me.sign_in().clone(),
    };
    app.desk().aside(move |db| Box::pin(async move { hooks::make(db, &hook).await })).await?;
    draw(&app, frame, &me, StatusCode::OK, Typed::default(), Some(secret.reveal())).await
}

fn read(fields: &Fields) -> Typed {
    let url = fields.get("url").trim().to_owned();
    let chosen = |what: &What| fields.get(&format!("what.{what}")) == "yes";
    let what: Vec<What> = What::choosable().filter(chosen).collect();
    Typed {
        url_says: Target::parse(&url).err(),
        url,
        what_says: what.is_empty().then(|| "Choose what it is told of.".to_owned()),
        what,
        ..Typed::default()
    }
}

fn missing() -> Oops {
    Oops::NotFound("There is no such webhook, or it was ended.".into())
}

pub async fn end(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    if let Err(says) = signature::sign(&app, &me, fields.get("password")).await? {
        let typed = Typed { end_says: Some((id, says)), ..Typed::default() };
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, typed, None).await;
    }
    let (by, now) = (me.sign_in().clone(), app.now());
    let ended =
        app.desk().aside(move |db| Box::pin(async move { hooks::end(db, &id, &by, now).await })).await?;
    if ended { see(&paths::Webhooks) } else { Err(missing()) }
}

pub async fn trial(State(app): State<App>, Path(id): Path<String>) -> Answer {
    let mut db = app.desk().read().await?;
    let known = hooks::live(&mut db).await?.iter().any(|hook| hook.id == id);
    drop(db);
    if !known {
        return Err(missing());
    }
    let (world, now) = (app.world(), app.now());
    app.desk()
        .aside(move |db| Box::pin(async move { shown::trial(db, TrialTo::Hook(id), &world, now).await }))
        .await?;
    see(&paths::NoticesAll)
}
