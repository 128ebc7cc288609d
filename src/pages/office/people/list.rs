//! Everybody, by sign-in name.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::{names, roles};
use crate::{
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

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<Form>) -> Answer {
    let (world, names) = (app.world(), names(&app).await?);
    let zone = &world.railway.zone;
    let mut found: Vec<Row> = Vec::new();
    for person in world.people.persons.values() {
        let kept = names.get(&person.sign_in);
        let name = kept.map_or("", |kept| kept.name.as_str());
        if !form.takes(person, name) {
            continue;
        }
        let craft = kept.map(|kept| kept.craft.clone()).filter(|craft| !craft.is_empty());
        let since = if person.active {
            format!("since {}", zone.day_in_words(person.added_at))
        } else {
            format!("left {}", zone.day_in_words(person.last.at))
        };
        let parts = [Some(person.role.to_string()), craft, Some(since)];
        found.push(Row {
            path: paths::Person(person.sign_in.to_string()).to_string(),
            who: person.sign_in.to_string(),
            name: name.to_owned(),
            sub: parts.into_iter().flatten().collect::<Vec<_>>().join(", "),
            gone: !person.active,
        });
    }
    let link = |n: usize| {
        let asked = [("q", form.q.as_str()), ("role", &form.role), ("state", &form.state)];
        paths::People.with(&[&asked[..], &[("page", &n.to_string())]].concat())
    };
    let (rows, pager) = Pager::cut(found, page_of(&form.page), link);
    let here = world.people.persons.values().filter(|person| person.active).count();
    let all = |says: &str| vec![(String::new(), says.to_owned())];
    let select = |name: &str, label: &str, value: &str, options| Select {
        name: name.into(),
        label: label.into(),
        value: value.into(),
        options,
        ..Select::default()
    };
    let states =
        [("here", "here"), ("gone", "left")].map(|(value, says)| (value.to_owned(), says.to_owned()));
    page(
        StatusCode::OK,
        &View {
            frame,
            here,
            gone: world.people.persons.len() - here,
            q: Field { input: "search", ..Field::text("q", "Name", &form.q) },
            role: select("role", "Role", &form.role, [all("all"), roles()].concat()),
            state: select("state", "Here or left", &form.state, [all("all"), states.to_vec()].concat()),
            narrowed: [&form.q, &form.role, &form.state].iter().any(|typed| !typed.is_empty()),
            rows,
            pager,
        },
    )
}
