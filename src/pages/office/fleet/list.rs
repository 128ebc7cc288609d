//! All units, and the classes they are of.
use std::sync::Arc;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::classes;
use crate::{
    base::text::count,
    pages::drawn::{
        form::{Field, Select},
        pager::{Pager, page_of},
    },
    roster::{Class, UnitCard},
    web::{Answer, App, Asked, Frame, page, paths},
};

#[derive(Template)]
#[template(path = "office/fleet.html")]
struct View {
    frame: Frame,
    here: usize,
    retired: usize,
    q: Field,
    class: Select,
    state: Select,
    narrowed: bool,
    rows: Vec<Row>,
    pager: Pager,
    classes: Vec<Row>,
    schedule_new: String,
    done: Option<String>,
}

struct Row {
    path: String,
    name: String,
    sub: String,
    retired: bool,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    q: String,
    class: String,
    state: String,
    page: String,
    /// The class whose schedule has just been signed.
    done: String,
}

impl Form {
    fn takes(&self, card: &UnitCard) -> bool {
        let q = self.q.trim().to_uppercase().replace('-', " ");
        let state = match self.state.as_str() {
            "here" => card.retired.is_none(),
            "retired" => card.retired.is_some(),
            _ => true,
        };
        state
            && (self.class.is_empty() || card.class.as_str() == self.class)
            && card.unit.as_str().contains(&q)
    }
}

fn row(card: &UnitCard) -> Row {
    let shop = card.home_shop.clone().unwrap_or_else(|| "no home shop stated".to_owned());
    let retired = card.retired.map(|day| format!(", retired {}", day.in_words())).unwrap_or_default();
    Row {
        path: paths::FleetUnit(card.unit.clone()).to_string(),
        name: card.unit.to_string(),
        sub: format!("{}, {shop}, in service {}{retired}", card.class, card.in_service.in_words()),
        retired: card.retired.is_some(),
    }
}

/// A class, with how many units of it are here.
fn of_class(class: &Class, here: usize) -> Row {
    let devices = class.latest().map_or(0, |latest| latest.devices.len());
    Row {
        path: paths::Schedule.with(&[("class", class.name.as_str())]),
        name: class.name.to_string(),
        sub: format!(
            "{}, {} on its schedule, {}",
            count(here as u64, "unit", "units"),
            count(devices as u64, "device", "devices"),
            count(class.schedules.len() as u64, "version", "versions")
        ),
        retired: false,
    }
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<Form>) -> Answer {
    let world = app.world();
    let units = &world.roster.units;
    let found: Vec<Row> = units.values().filter(|card| form.takes(card)).map(|card| row(card)).collect();
    let link = |n: usize| {
        let asked = [("q", form.q.as_str()), ("class", &form.class), ("state", &form.state)];
        paths::Fleet.with(&[&asked[..], &[("page", &n.to_string())]].concat())
    };
    let (rows, pager) = Pager::cut(found, page_of(&form.page), link);
    let here = |card: &&Arc<UnitCard>| card.retired.is_none();
    let of_class = |class: &Arc<Class>| {
        of_class(class, units.values().filter(here).filter(|card| card.class == class.name).count())
    };
    let in_service = units.values().filter(here).count();
    let states = [("here", "on the roster"), ("retired", "retired")];
    let view = View {
        frame,
        here: in_service,
        retired: units.len() - in_service,
        q: Field { input: "search", ..Field::text("q", "Unit", &form.q) },
        class: Select::narrowing(("class", "Class"), &form.class, classes(&world)),
        state: Select::narrowing(("state", "Which"), &form.state, states),
        narrowed: [&form.q, &form.class, &form.state].iter().any(|typed| !typed.is_empty()),
        rows,
        pager,
        classes: world.roster.classes.values().map(of_class).collect(),
        done: world.roster.classes.keys().find(|class| class.as_str() == form.done).map(ToString::to_string),
        schedule_new: paths::Schedule.to_string(),
    };
    page(StatusCode::OK, &view)
}
