//! From a view to an answer, and how the frame around it is filled in.
use askama::Template;
use axum::{
    extract::{FromRequestParts, OptionalFromRequestParts},
    http::{HeaderValue, StatusCode, header, request::Parts},
    response::{IntoResponse, Redirect, Response},
};

use super::{
    App, Frame, Me, Oops, assets,
    frame::{Link, Palette, SignedIn},
    oops::Card,
    palette, paths,
};
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

/// What of a request the frame around a page depends on.
#[derive(Clone, Debug)]
pub struct Surroundings {
    palette: Palette,
    /// Path and query of the page asked for.
    path: String,
}

impl Surroundings {
    pub fn of(head: &Parts) -> Self {
        let path = head.uri.path_and_query().map_or_else(|| "/".to_owned(), ToString::to_string);
        Self { palette: palette::chosen(&head.headers), path }
    }

    pub fn frame(self, app: &App, me: Option<&Me>) -> Frame {
        let world = app.world();
        let railway = world.railway.name.clone();
        Frame {
            palette: self.palette,
            who: me.map(|me| SignedIn {
                name: me.name().to_owned(),
                sign_in: me.sign_in().to_string(),
                codes: me.has_codes(),
            }),
            nav: me.map(|me| nav(me, &self.path)).unwrap_or_default(),
            notices: me.map(notices).unwrap_or_default(),
            railway: if world.railway.demo {
                format!("{railway}: a demonstration, nothing here happened")
            } else {
                railway
            },
            own_password: paths::Password::PATTERN,
            sign_out: paths::SignOut::PATTERN,
            palette_action: paths::Palette::PATTERN,
            back: self.path,
            css: assets::url("book.css"),
            print_css: assets::url("print.css"),
            js: assets::url("book.js"),
            icon: assets::url("icon.svg"),
            online_js: assets::url("online.js"),
            manifest: paths::Manifest::PATTERN,
        }
    }
}

/// Handlers take the frame as an argument and hand it on to their view.
impl FromRequestParts<App> for Frame {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(head: &mut Parts, app: &App) -> Result<Self, Self::Rejection> {
        let me = <Me as OptionalFromRequestParts<App>>::from_request_parts(head, app).await?;
        Ok(Surroundings::of(head).frame(app, me.as_ref()))
    }
}

fn nav(me: &Me, path: &str) -> Vec<Link> {
    if me.must_change() {
        return Vec::new();
    }
    let here = path.split('?').next().unwrap_or(path);
    let all = [
        (Act::ReadUnits, paths::Units.to_string(), "Units"),
        (Act::ReadBoard, paths::Triage.to_string(), "Triage"),
        (Act::ReadBoard, paths::Inspections.to_string(), "Inspections"),
        (Act::ReadBoard, paths::InShop.to_string(), "In the shop"),
        (Act::ReadBypasses, paths::Bypasses.to_string(), "Bypasses"),
        (Act::ReadBypasses, paths::Authorisations.to_string(), "Authorisations"),
        (Act::ChangeThresholds, paths::Thresholds.to_string(), "Thresholds"),
        (Act::ReadPages, paths::Book.to_string(), "The book"),
        (Act::KeepPeople, paths::People.to_string(), "People"),
        (Act::KeepRoster, paths::Fleet.to_string(), "Fleet"),
        (Act::KeepBackups, paths::Backups.to_string(), "Back-ups"),
        (Act::ReadNotices, paths::Notices.to_string(), "Notices"),
    ];
    let mine = all.into_iter().filter(|(act, ..)| me.may(*act));
    let text = |act, text: &str| match me.unread() {
        n @ 1..100 if act == Act::ReadNotices => format!("{text}, {n} unread"),
        100.. if act == Act::ReadNotices => format!("{text}, 100 unread or more"),
        _ => text.to_owned(),
    };
    mine.map(|(act, href, name)| Link { here: href == here, href, text: text(act, name) }).collect()
}

fn notices(me: &Me) -> Vec<Link> {
    let kept = match me.kept_forms() {
        0 => None,
        1 => Some("A form you typed before your session ended is kept.".to_owned()),
        n => Some(format!("{n} forms you typed before your session ended are kept.")),
    };
    let unanswered = match me.unanswered() {
        0 => None,
        1 => Some("A report came from your tablet, not confirmed by password. Is it yours?".to_owned()),
        n => Some(format!("{n} reports came from your tablet, not confirmed by password. Are they yours?")),
    };
    let codes = me
        .must_set_codes()
        .then(|| "Set up your one-time codes: until then you can read here, and sign nothing.".to_owned());
    let link = |href: String, text: Option<String>| text.map(|text| Link { href, text, here: false });
    let all = [
        link(paths::Codes.to_string(), codes),
        link(paths::Kept.to_string(), kept),
        link(paths::Tablets.to_string(), unanswered),
    ];
    all.into_iter().flatten().collect()
}

#[derive(Template)]
#[template(path = "web/error.html")]
struct ErrorPage {
    frame: Frame,
    title: String,
    says: String,
    problems: Vec<Problem>,
}

pub(super) fn error_page(frame: Frame, card: &Card) -> Response {
    let view = ErrorPage {
        frame,
        title: card.title.clone(),
        says: card.says.clone(),
        problems: card.problems.clone(),
    };
    // If even this page fails there is nothing left to draw it with: the bare sentence.
    page(card.status, &view).unwrap_or_else(|_| (card.status, card.says.clone()).into_response())
}
