//! Who is told of what, and everything that left: for administrators.
use std::collections::HashMap;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::line::{self, Sent, tabs};
use crate::{
    base::SignIn,
    desk::notices::{
        hook::Target,
        hooks::{self, Hook},
        shown::{self, Channel, Delivery},
        what::{Mail, What},
        wishes::{self, Wishes},
    },
    pages::drawn::pager::{PER_PAGE, Pager, page_of},
    people::Person,
    web::{Answer, App, Asked, Frame, Me, page, paths},
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    page: String,
}

#[derive(Template)]
#[template(path = "office/notices_all.html")]
pub struct View {
    pub frame: Frame,
    pub tabs: Vec<(String, &'static str)>,
    /// How this server sends e-mail, or that it does not.
    pub mail: String,
    pub links: String,
    pub sorts: Vec<Sort>,
    pub sent: Vec<Sent>,
    pub pager: Pager,
}

pub struct Sort {
    pub title: &'static str,
    pub told: Vec<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let mut db = app.desk().read().await?;
    let (wishes, hooks) = (wishes::all(&mut db).await?, hooks::live(&mut db).await?);
    let size = shown::sent_size(&mut db, None).await?;
    let link = |n: usize| paths::NoticesAll.with(&[("page", &n.to_string())]);
    let (range, pager) = Pager::of(size, page_of(&query.page), link);
    let sent = shown::sent(&mut db, None, range.start, PER_PAGE).await?;
    drop(db);
    let world = app.world();
    let nothing = Wishes::default();
    let mut people: Vec<(&Person, &Wishes)> = Vec::new();
    for person in world.people.persons.values().filter(|person| person.active) {
        people.push((person, wishes.get(&person.sign_in).unwrap_or(&nothing)));
    }
    people.sort_by(|a, b| a.0.sign_in.cmp(&b.0.sign_in));
    let mail = app.post().and_then(|post| post.mail.as_ref());
    let base = app.post().map(|post| post.links.base.clone()).unwrap_or_default();
    let names = names(&hooks);
    let view = View {
        frame,
        tabs: tabs(&me, paths::NoticesAll::PATTERN),
        mail: mail.map_or_else(
            || "This server sends no e-mail: start it with --smtp and the options beside it (breakerbook serve --help).".to_owned(),
            |mail| format!("E-mail goes by {}.", mail.says()),
        ),
        links: match base.as_str() {
            "" => "Letters and webhooks have a page's path alone: start the server with --public-url for whole addresses.".to_owned(),
            base => format!("Letters and webhooks lead to {base}."),
        },
        sorts: What::choosable().map(|what| sort(what, &people, &hooks, mail.is_some())).collect(),
        sent: sent.iter().map(|one| line::sent(one, to(one, &names), &world.railway.zone)).collect(),
        pager,
    };
    page(StatusCode::OK, &view)
}

fn names(hooks: &[Hook]) -> HashMap<&str, String> {
    hooks.iter().map(|hook| (hook.id.as_str(), shown_url(hook))).collect()
}

pub(super) fn shown_url(hook: &Hook) -> String {
    Target::parse(&hook.url)
        .map_or_else(|_| "an address that this program does not read".to_owned(), |to| to.shown())
}

fn to(one: &Delivery, hooks: &HashMap<&str, String>) -> String {
    match one.channel {
        Channel::Hook => hooks.get(one.to.as_str()).cloned().unwrap_or_else(|| "that was ended".to_owned()),
        Channel::Inbox | Channel::Mail => format!("to {}", SignIn::from(one.to.as_str())),
    }
}

fn sort(what: What, people: &[(&Person, &Wishes)], hooks: &[Hook], mail: bool) -> Sort {
    let mut told: Vec<String> =
        people.iter().filter_map(|(person, wishes)| one(what, person, wishes, mail)).collect();
    told.extend(
        hooks
            .iter()
            .filter(|hook| hook.what.contains(&what))
            .map(|hook| format!("webhook {}", shown_url(hook))),
    );
    Sort { title: what.in_words(), told }
}

/// `m.ruiz: inbox, e-mail at once`
fn one(what: What, person: &Person, wishes: &Wishes, mail: bool) -> Option<String> {
    if !wishes::may_be_told(person, what) {
        return None;
    }
    let wish = wishes.of(person.role, what);
    let letter = match wish.mail {
        Mail::No => None,
        _ if wishes.email.is_none() || !mail => None,
        Mail::AtOnce => Some("e-mail at once".to_owned()),
        Mail::Morning => Some(format!("e-mail at {}", wishes.morning)),
    };
    let ways: Vec<String> = wish.inbox.then(|| "inbox".to_owned()).into_iter().chain(letter).collect();
    let shop = wishes.shop.as_ref().map(|shop| format!(", units of {shop}")).unwrap_or_default();
    (!ways.is_empty()).then(|| format!("{}: {}{shop}", person.sign_in, ways.join(", ")))
}
