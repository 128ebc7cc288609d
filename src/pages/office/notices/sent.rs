//! What was sent to somebody by e-mail, and what became of it.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::line::{self, Sent, tabs};
use crate::{
    desk::notices::shown,
    pages::drawn::pager::{PER_PAGE, Pager, page_of},
    web::{Answer, App, Asked, Frame, Me, page, paths},
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    page: String,
}

#[derive(Template)]
#[template(path = "office/notices_sent.html")]
pub struct View {
    pub frame: Frame,
    pub tabs: Vec<(String, &'static str)>,
    pub sent: Vec<Sent>,
    pub pager: Pager,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let mut db = app.desk().read().await?;
    let size = shown::sent_size(&mut db, Some(me.sign_in())).await?;
    let link = |n: usize| paths::NoticesSent.with(&[("page", &n.to_string())]);
    let (range, pager) = Pager::of(size, page_of(&query.page), link);
    let sent = shown::sent(&mut db, Some(me.sign_in()), range.start, PER_PAGE).await?;
    drop(db);
    let world = app.world();
    let sent = sent.iter().map(|one| line::sent(one, String::new(), &world.railway.zone)).collect();
    page(StatusCode::OK, &View { frame, tabs: tabs(&me, paths::NoticesSent::PATTERN), sent, pager })
}
