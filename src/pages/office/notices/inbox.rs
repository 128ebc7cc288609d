//! Somebody's inbox: unread first, each with the page that tells more.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::line::tabs;
use crate::{
    base::Zone,
    desk::notices::{
        letter,
        shown::{self, Lying},
    },
    pages::drawn::pager::{PER_PAGE, Pager, page_of},
    web::{Answer, App, Asked, Frame, Me, forms::Fields, noticed, page, paths, see},
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    page: String,
}

#[derive(Template)]
#[template(path = "office/notices.html")]
pub struct View {
    pub frame: Frame,
    pub tabs: Vec<(String, &'static str)>,
    pub lead: String,
    pub lines: Vec<Line>,
    pub pager: Pager,
    pub action: &'static str,
    /// The latest of those that are unread: the button marks no later one.
    pub up_to: Option<i64>,
}

pub struct Line {
    pub id: i64,
    pub title: String,
    pub href: String,
    pub when: String,
    pub read: bool,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let mut db = app.desk().read().await?;
    let size = shown::inbox_size(&mut db, me.person()).await?;
    let link = |n: usize| paths::Notices.with(&[("page", &n.to_string())]);
    let (range, pager) = Pager::of(size, page_of(&query.page), link);
    let lying = shown::inbox(&mut db, me.person(), range.start, PER_PAGE).await?;
    drop(db);
    let world = app.world();
    let view = View {
        tabs: tabs(&me, paths::Notices::PATTERN),
        lead: lead(me.unread()),
        up_to: lying.iter().filter(|one| !one.read).map(|one| one.notice.id).max(),
        lines: lying.iter().map(|one| line(one, &world.railway.zone)).collect(),
        frame,
        pager,
        action: paths::NoticesRead::PATTERN,
    };
    page(StatusCode::OK, &view)
}

fn lead(unread: u32) -> String {
    match unread {
        0 => "Nothing unread.".to_owned(),
        1 => "One unread, which comes first.".to_owned(),
        n @ 2..100 => format!("{n} unread, which come first."),
        _ => "A hundred unread or more, which come first.".to_owned(),
    }
}

fn line(one: &Lying, zone: &Zone) -> Line {
    Line {
        id: one.notice.id,
        title: letter::title(&one.notice),
        href: noticed::path(&one.notice.about),
        when: zone.in_words(one.notice.at),
        read: one.read,
    }
}

/// One, by its own button, or all that were on the page and those before.
pub async fn read(State(app): State<App>, me: Me, typed: Fields) -> Answer {
    let (one, up_to) = (typed.get("one").parse::<i64>(), typed.get("up_to").parse::<i64>());
    if let Ok((notice, all)) = one.map(|n| (n, false)).or(up_to.map(|n| (n, true))) {
        let (of, now) = (me.sign_in().clone(), app.now());
        app.desk()
            .aside(move |db| Box::pin(async move { shown::mark_read(db, &of, notice, all, now).await }))
            .await?;
    }
    see(&paths::Notices)
}
