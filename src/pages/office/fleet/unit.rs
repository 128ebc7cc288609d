//! One unit's card: added, changed, retired, back.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::classes;
use crate::{
    base::{ClassName, UnitName, text},
    desk::keep_fleet::{KeepUnit, print},
    pages::drawn::{
        form::{Field, Select},
        sent::Sent,
    },
    people::Act,
    roster::UnitCard,
    web::{Answer, App, Asked, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "office/fleet_unit.html")]
struct View {
    frame: Frame,
    /// `None`: one is to be added.
    unit: Option<String>,
    retired: Option<String>,
    handover: String,
    on_top: Vec<String>,
    done: bool,
    signer: String,
    seen: String,
    action: String,
    name: Field,
    class: Select,
    in_service: Field,
    home_shop: Field,
    reason: Field,
    password: Field,
    retire: Other,
    back: Other,
}

/// The form that retires it, or takes it back.
struct Other {
    action: String,
    day: Field,
    reason: Field,
    password: Field,
}

const FIELDS: &[&str] = &["unit", "class", "in_service", "home_shop", "retired", "reason"];

fn find(app: &App, typed: &str) -> Result<UnitCard, Oops> {
    let unit = UnitName::tidy(typed);
    let card = unit.and_then(|unit| app.world().roster.unit(&unit).cloned());
    card.ok_or_else(|| Oops::NotFound("This unit is not on the roster: look at the list, or add it.".into()))
}

pub async fn new(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    let today = app.world().railway.zone.day_of(app.now());
    let fresh = Sent::showing(&[("in_service", today.to_string())]);
    draw(&app, frame, &me, None, StatusCode::OK, fresh)
}

pub async fn add(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let mut sent = Sent::of(form);
    let unit = UnitName::tidy(sent.get("unit"));
    if unit.is_none() {
        sent.wrong("unit", "Write its mark, a space and its road number, as in QHB 412.");
    }
    let card = read(&mut sent, unit, None);
    sign(&app, frame, &me, None, card, sent).await
}

/// What was done here last, for the page that is seen next.
#[derive(serde::Deserialize, Default)]
#[serde(default)]
pub struct Query {
    done: String,
}

const SIGNED: &str = "signed";

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let card = find(&app, &typed)?;
    let fresh = as_it_is(&card).with("done", &query.done);
    draw(&app, frame, &me, Some(&card), StatusCode::OK, fresh)
}

pub async fn change(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let known = find(&app, &typed)?;
    let mut sent = Sent::of(form);
    let card = read(&mut sent, Some(known.unit.clone()), known.retired);
    sign(&app, frame, &me, Some(known), card, sent).await
}

pub async fn retire(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let known = find(&app, &typed)?;
    let mut sent = Sent::named("retire", form);
    let day = sent.day("retired");
    if day.is_none() {
        sent.wrong("retired", "Give the first day on which it is no longer in service.");
    }
    let card = day.map(|day| UnitCard { retired: Some(day), ..known.clone() });
    sign(&app, frame, &me, Some(known), card, sent).await
}

pub async fn come_back(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let known = find(&app, &typed)?;
    let card = UnitCard { retired: None, ..known.clone() };
    sign(&app, frame, &me, Some(known), Some(card), Sent::named("back", form)).await
}

fn read(sent: &mut Sent, unit: Option<UnitName>, retired: Option<crate::base::Day>) -> Option<UnitCard> {
    let class = text::tidy(sent.get("class")).map(|class| ClassName::from(class.as_str()));
    if class.is_none() {
        sent.wrong("class", "Choose its class.");
    }
    let in_service = sent.day("in_service");
    if in_service.is_none() {
        sent.wrong("in_service", "Give the day on which it came into service.");
    }
    let home_shop = sent.short("home_shop");
    Some(UnitCard { unit: unit?, class: class?, in_service: in_service?, retired, home_shop })
}

async fn sign(
    app: &App,
    frame: Frame,
    me: &Me,
    known: Option<UnitCard>,
    card: Option<UnitCard>,
    mut sent: Sent,
) -> Answer {
    let permit = me.permit(Act::KeepRoster)?;
    let reason = sent.words("reason", "Say why in a few words: it stands in the book.");
    let seen = if known.is_some() { sent.get("seen").to_owned() } else { String::new() };
    let keep = async |card: UnitCard| {
        let unit = card.unit.clone();
        app.desk().act(KeepUnit::of(card, reason, &seen, &permit, app.now())).await?;
        Ok(unit)
    };
    match sent.file((app, me), card, FIELDS, keep).await? {
        Ok(unit) => see(&paths::FleetUnit(unit).with(&[("done", SIGNED)])),
        Err(status) => draw(app, frame, me, known.as_ref(), status, sent),
    }
}

fn as_it_is(card: &UnitCard) -> Sent {
    Sent::showing(&[
        ("class", card.class.to_string()),
        ("in_service", card.in_service.to_string()),
        ("home_shop", card.home_shop.clone().unwrap_or_default()),
    ])
}

fn draw(app: &App, frame: Frame, me: &Me, was: Option<&UnitCard>, status: StatusCode, sent: Sent) -> Answer {
    let world = app.world();
    // As it stands by now: somebody else may have been quicker.
    let card = was.and_then(|was| world.roster.unit(&was.unit));
    let path = |to: fn(UnitName) -> String| card.map(|card| to(card.unit.clone()));
    let action = path(|unit| paths::FleetUnit(unit).to_string());
    let today = world.railway.zone.day_of(app.now()).to_string();
    let (fresh, retiring) = (card.map(as_it_is).unwrap_or_default(), Sent::showing(&[("retired", today)]));
    let main = sent.form("", &fresh);
    let other = |own: &str, fresh: &Sent, action: Option<String>| other(sent.form(own, fresh), action, own);
    let view = View {
        frame,
        unit: card.map(|card| card.unit.to_string()),
        retired: card.and_then(|card| card.retired).map(|day| day.in_words()),
        handover: path(|unit| paths::Handover(unit).to_string()).unwrap_or_default(),
        on_top: sent.on_top.clone(),
        done: status == StatusCode::OK && sent.get("done") == SIGNED,
        signer: me.sign_in().to_string(),
        seen: print(card),
        action: action.unwrap_or_else(|| paths::FleetNew.to_string()),
        name: main.field("unit", "Unit").hint("Mark and road number, as in QHB 412."),
        class: main.select("class", "Class", classes(&world)),
        in_service: main.date("in_service", "In service since"),
        home_shop: main.field("home_shop", "Home shop"),
        reason: main.field("reason", "Why"),
        password: main.password(),
        retire: other("retire", &retiring, path(|unit| paths::FleetRetire(unit).to_string())),
        back: other("back", &Sent::default(), path(|unit| paths::FleetReturn(unit).to_string())),
    };
    page(status, &view)
}

fn other(form: &Sent, action: Option<String>, own: &str) -> Other {
    Other {
        action: action.unwrap_or_default(),
        day: form.date("retired", "First day out of service").of(own),
        reason: form.field("reason", "Why").of(own),
        password: form.password().of(own),
    }
}
