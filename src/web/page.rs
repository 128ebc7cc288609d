//! From a view to an answer, and the surroundings every page shares.
use askama::Template;
use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};

use super::{App, Me, Oops, assets, oops::Card, paths};
use crate::{base::Problem, people::Act};

/// Renders a view. Tables of a thousand lines come in pages of 100, so a page is never large.
pub fn page(status: StatusCode, view: &impl Template) -> Result<Response, Oops> {
    let html = view.render()?;
    let kind = HeaderValue::from_static("text/html; charset=utf-8");
    Ok((status, [(header::CONTENT_TYPE, kind)], html).into_response())
}

/// 303: go and look there.
pub fn see(path: &impl ToString) -> Result<Response, Oops> {
    Ok(Redirect::to(&path.to_string()).into_response())
}

/// What `templates/layout.html` draws around a page. Every view that extends it has a field `shell`.
#[derive(Clone, Debug)]
pub struct Shell {
    pub title: String,
    pub railway: String,
    /// The book says it is a demonstration, and every page says so too.
    pub demo: bool,
    pub me: Option<Greeted>,
    pub links: Vec<Link>,
}

#[derive(Clone, Debug)]
pub struct Greeted {
    pub name: String,
    pub sign_in: String,
    pub role: &'static str,
}

#[derive(Clone, Debug)]
pub struct Link {
    pub href: String,
    pub label: &'static str,
    /// The page this is.
    pub here: bool,
}

impl Shell {
    pub fn new(app: &App, me: Option<&Me>, title: impl Into<String>) -> Self {
        let world = app.world();
        Self {
            title: title.into(),
            railway: world.railway.name.clone(),
            demo: world.railway.demo,
            me: me.map(|me| Greeted {
                name: me.name().to_owned(),
                sign_in: me.sign_in().to_string(),
                role: me.role().as_str(),
            }),
            links: me.map(links).unwrap_or_default(),
        }
    }

    /// Marks the link that leads here.
    pub fn at(mut self, path: &impl ToString) -> Self {
        let path = path.to_string();
        self.links.iter_mut().for_each(|link| link.here = link.href == path);
        self
    }

    /// Where a file of `static/` is served: `shell.asset("book.css")`.
    pub fn asset(&self, name: &str) -> String {
        assets::url(name)
    }
}

fn links(me: &Me) -> Vec<Link> {
    if me.must_change() {
        return Vec::new();
    }
    let all = [
        (Act::ReadUnits, paths::Units.to_string(), "Units"),
        (Act::ReadBoard, paths::Triage.to_string(), "Triage"),
        (Act::ReadBypasses, paths::Bypasses.to_string(), "Bypasses"),
    ];
    all.into_iter()
        .filter(|(act, ..)| me.may(*act))
        .map(|(_, href, label)| Link { href, label, here: false })
        .collect()
}

#[derive(Template)]
#[template(path = "web/error.html")]
struct ErrorPage {
    shell: Shell,
    says: String,
    problems: Vec<Problem>,
}

pub(super) fn error_page(app: &App, me: Option<&Me>, card: &Card) -> Response {
    let shell = Shell::new(app, me, card.title.clone());
    let view = ErrorPage { shell, says: card.says.clone(), problems: card.problems.clone() };
    // If even this page fails there is nothing left to draw it with: the bare sentence.
    page(card.status, &view).unwrap_or_else(|_| (card.status, card.says.clone()).into_response())
}
