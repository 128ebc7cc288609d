//! Everybody, by sign-in name.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::{names, roles};
use crate::{
    base::Zone,
    desk::keep_people::KeptName,
    pages::drawn::{
        form::{Field, Select},
        pager::{Pager, page_of},
    },
    people::{Person, Role},
    web::{Answer, App, Asked, Frame, page, paths},
};

#[derive(Template)]
#[template(path = "office/people.html")]
struct View {
    frame: Frame,
    here: usize,
    gone: usize,
    q: Field,
    role: Select,
    state: Select,
    narrowed: bool,
    rows: Vec<Row>,
    pager: Pager,
}

struct Row {
    path: String,
    who: String,
    name: String,
    sub: String,
    gone: bool,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    q: String,
    role: String,
    state: String,
    page: String,
}

impl Form {
    fn takes(&self, person: &Person, name: &str) -> bool {
        let q = self.q.trim().to_lowercase();
        let state = match self.state.as_str() {
            "here" => person.active,
            "gone" => !person.active,
            _ => true,
        };
        state
            && Role::parse(&self.role).is_none_or(|role| role == person.role)
            && (person.sign_in.as_str().contains(&q) || name.to_lowercase().contains(&q))
    }
}

fn row(person: &Person, kept: Option<&KeptName>, zone: &Zone) -> Row {
    let craft = kept.map(|kept| kept.craft.clone()).filter(|craft| !craft.is_empty());
    let since = if person.active {
        format!("since {}", zone.day_in_words(person.added_at))
    } else {
        format!("left {}", zone.day_in_words(person.last.at))
    };
    let parts = [Some(person.role.to_string()), craft, Some(since)];
    Row {
        path: paths::Person(person.sign_in.to_string()).to_string(),
        who: person.sign_in.to_string(),
        name: kept.map(|kept| kept.name.clone()).unwrap_or_default(),
        sub: parts.into_iter().flatten().collect::<Vec<_>>().join(", "),
        gone: !person.active,
    }
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<Form>) -> Answer {
    let (world, names) = (app.world(), names(&app).await?);
    let people = &world.people.persons;
    let found = people.values().filter_map(|person| {
        let kept = names.get(&person.sign_in);
        let takes = form.takes(person, kept.map_or("", |kept| kept.name.as_str()));
        takes.then(|| row(person, kept, &world.railway.zone))
    });
    let link = |n: usize| {
        let asked = [("q", form.q.as_str()), ("role", &form.role), ("state", &form.state)];
        paths::People.with(&[&asked[..], &[("page", &n.to_string())]].concat())
    };
    let (rows, pager) = Pager::cut(found.collect(), page_of(&form.page), link);
    let here = people.values().filter(|person| person.active).count();
    let states = [("here", "here"), ("gone", "left")];
    let view = View {
        frame,
        here,
        gone: people.len() - here,
        q: Field { input: "search", ..Field::text("q", "Name", &form.q) },
        role: Select::narrowing(("role", "Role"), &form.role, roles()),
        state: Select::narrowing(("state", "Here or left"), &form.state, states),
        narrowed: [&form.q, &form.role, &form.state].iter().any(|typed| !typed.is_empty()),
        rows,
        pager,
    };
    page(StatusCode::OK, &view)
}
