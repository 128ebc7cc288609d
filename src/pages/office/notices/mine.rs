//! What somebody is told of: by which way, at once or in the morning. Each chooses for themselves.
use std::collections::BTreeSet;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::line::tabs;
use crate::{
    base::text,
    desk::{
        World,
        backup::TimeOfDay,
        notices::{
            shown::{self, TrialTo},
            what::{Mail, What, Wish},
            wishes::{self, Wishes},
        },
    },
    pages::drawn::form::{Choice, Field},
    web::{Answer, App, Asked, Frame, Me, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "office/notices_mine.html")]
pub struct View {
    pub frame: Frame,
    pub tabs: Vec<(String, &'static str)>,
    pub action: &'static str,
    pub trial: &'static str,
    /// What this server does with e-mail.
    pub mail: String,
    pub email: Field,
    pub morning: Field,
    pub shop: Field,
    pub sorts: Vec<Sort>,
    pub wrong: bool,
    /// Has just been kept.
    pub kept: bool,
}

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    done: String,
}

pub struct Sort {
    pub title: String,
    pub spelled: &'static str,
    /// The checkbox: its name, and whether it is set.
    pub inbox: (String, bool),
    pub mail: Choice,
}

/// The sentences beside the fields.
#[derive(Default)]
struct Says {
    email: Option<String>,
    morning: Option<String>,
    shop: Option<String>,
    kept: bool,
}

const KEPT: &str = "kept";

const MAIL: &[(&str, &str)] = &[("no", "no e-mail"), ("at_once", "at once"), ("morning", "in the morning")];

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let mut db = app.desk().read().await?;
    let wishes = wishes::of_person(&mut db, me.sign_in()).await?;
    drop(db);
    let (email, morning) = (wishes.email.clone().unwrap_or_default(), wishes.morning.to_string());
    let shop = wishes.shop.clone().unwrap_or_default();
    let says = Says { kept: query.done == KEPT, ..Says::default() };
    draw(&app, frame, &me, StatusCode::OK, &wishes, [&email, &morning, &shop], says)
}

fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    wishes: &Wishes,
    [email, morning, shop]: [&str; 3],
    says: Says,
) -> Answer {
    let world = app.world();
    let mail = match app.post().map(|post| post.mail.is_some()) {
        Some(true) => "This server sends e-mail to the address you give here.",
        _ => "This server sends no e-mail now: what you choose is kept until it does.",
    };
    let shops = shops(&world);
    let shop_hint = match shops.len() {
        0 => "The roster names no home shops.".to_owned(),
        _ => format!("Empty for all units. Of: {}.", shops.into_iter().collect::<Vec<_>>().join(", ")),
    };
    let view = View {
        frame,
        tabs: tabs(me, paths::NoticesMine::PATTERN),
        action: paths::NoticesMine::PATTERN,
        trial: paths::NoticesTrial::PATTERN,
        mail: mail.to_owned(),
        kept: says.kept,
        wrong: says.email.is_some() || says.morning.is_some() || says.shop.is_some(),
        email: Field {
            input: "email",
            autocomplete: "email",
            ..Field::text("email", "Your e-mail address", email)
        }
        .hint("Empty: you get no e-mail.")
        .says(says.email),
        morning: Field::text("morning", "The morning's letter goes at", morning)
            .hint(&format!("Hours and minutes, as in 06:00, by the clocks of {}.", world.railway.zone.name()))
            .says(says.morning),
        shop: Field::text("shop", "Only units of this home shop", shop).hint(&shop_hint).says(says.shop),
        sorts: theirs(me).map(|what| sort(what, wishes.of(me.role(), what))).collect(),
    };
    page(status, &view)
}

fn theirs(me: &Me) -> impl Iterator<Item = What> {
    What::choosable().filter(|what| me.may(what.act()))
}

fn shops(world: &World) -> BTreeSet<String> {
    world.roster.units.values().filter_map(|card| card.home_shop.clone()).collect()
}

fn sort(what: What, wish: Wish) -> Sort {
    let label = text::sentence(what.in_words());
    Sort {
        title: label.trim_end_matches('.').to_owned(),
        spelled: what.spelled(),
        inbox: (format!("inbox.{what}"), wish.inbox),
        mail: Choice::of(&format!("mail.{what}"), "By e-mail", wish.mail.as_str(), MAIL).few(),
    }
}

pub async fn keep(State(app): State<App>, frame: Frame, me: Me, typed: Fields) -> Answer {
    let (wishes, says) = read(&typed, &me, &app.world());
    if says.email.is_some() || says.morning.is_some() || says.shop.is_some() {
        let texts = [typed.get("email"), typed.get("morning"), typed.get("shop")];
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &wishes, texts, says);
    }
    let of = me.sign_in().clone();
    app.desk().aside(move |db| Box::pin(async move { wishes::keep(db, &of, &wishes).await })).await?;
    see(&paths::NoticesMine.with(&[("done", KEPT)]))
}

fn read(typed: &Fields, me: &Me, world: &World) -> (Wishes, Says) {
    let (mut wishes, mut says) = (Wishes::default(), Says::default());
    for what in theirs(me) {
        let mail = Mail::parse(typed.get(&format!("mail.{what}"))).unwrap_or(Mail::No);
        wishes.choose(what, Wish { inbox: typed.get(&format!("inbox.{what}")) == "yes", mail });
    }
    wishes.email = text::tidy(typed.get("email"));
    if wishes
        .email
        .as_ref()
        .is_some_and(|email| email.len() > 254 || email.parse::<lettre::Address>().is_err())
    {
        says.email =
            Some("This is no e-mail address: one with an @ and a domain, as in name@example.com.".into());
    }
    match TimeOfDay::parse(typed.get("morning").trim()) {
        Some(at) => wishes.morning = at,
        None => says.morning = Some("Hours and minutes, as in 06:00, please.".into()),
    }
    wishes.shop = text::tidy(typed.get("shop"));
    if let Some(shop) = &wishes.shop {
        match shops(world).into_iter().find(|known| known.to_lowercase() == shop.to_lowercase()) {
            Some(known) => wishes.shop = Some(known),
            None => says.shop = Some("No unit of the roster has that home shop.".into()),
        }
    }
    (wishes, says)
}

/// One of every way that leads to them; pressed again, only when the one before has gone.
pub async fn trial(State(app): State<App>, me: Me) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mail = app.post().is_some_and(|post| post.mail.is_some());
    let person = me.person().clone();
    let mut db = app.desk().read().await?;
    let wishes = wishes::of_person(&mut db, &person.sign_in).await?;
    drop(db);
    let by_mail = mail && wishes.email.is_some();
    let to = TrialTo::Person { person, wishes, mail };
    app.desk().aside(move |db| Box::pin(async move { shown::trial(db, to, &world, now).await })).await?;
    // Where it is to be seen: what became of a letter, or the inbox, which has it in any case.
    if by_mail { see(&paths::NoticesSent) } else { see(&paths::Notices) }
}
