//! Back-ups: what became of the last one, and 'back up now'.
use std::sync::Arc;

use askama::Template;
use axum::{extract::State, http::StatusCode};

use crate::{
    base::{
        Instant, Zone,
        instant::{DAY, HOUR, MINUTE},
    },
    desk::backup::{
        Backups,
        told::{self, Told},
    },
    web::{Answer, App, Frame, Oops, page, paths, see},
};

#[derive(Template)]
#[template(path = "office/backups.html")]
pub struct View {
    pub frame: Frame,
    /// When, and into which folder; `None` when this server takes none.
    pub daily: Option<(String, String)>,
    /// What wants doing, above everything.
    pub alarm: Option<String>,
    /// A failure that is later than the last good one.
    pub failed: Option<(String, String)>,
    pub under_way: Option<String>,
    pub good: Option<Good>,
    /// When, and from which file.
    pub restored: Option<(String, String)>,
    pub action: String,
}

pub struct Good {
    pub when: String,
    pub file: String,
    pub figures: String,
    pub root: String,
}

pub async fn show(State(app): State<App>, frame: Frame) -> Answer {
    let mut db = app.desk().read().await?;
    let kept = told::kept(&mut db).await?;
    drop(db);
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let backups = app.backups();
    let since = backups.and_then(|backups| backups.under_way());
    let failed = kept.failed.filter(|f| kept.good.as_ref().is_none_or(|good| good.at < f.at));
    let view = View {
        frame,
        daily: backups.map(|backups| daily(backups, zone)),
        alarm: alarm(backups.is_some(), kept.good.as_ref(), now),
        failed: failed.map(|f| (zone.in_words(f.at), capital(&f.says))),
        under_way: since.map(|at| format!("One is under way, since {}.", zone.in_words(at))),
        good: kept.good.map(|good| drawn(good, zone, now)),
        restored: kept.restored.map(|r| {
            let says = format!("This book was restored {}, with {} pages, from", zone.in_words(r.at), r.size);
            (says, r.file)
        }),
        action: paths::Backups.to_string(),
    };
    page(StatusCode::OK, &view)
}

/// Begins one and answers at once: it may take minutes.
pub async fn now(State(app): State<App>) -> Answer {
    let Some(backups) = app.backups() else {
        return Err(Oops::Unreadable(
            "This server takes no back-ups: start it with --backup-to and a folder, or run `breakerbook backup`.".into(),
        ));
    };
    // One that is under way is the one that was asked for.
    drop(tokio::spawn(Arc::clone(backups).run(app.desk().clone())));
    see(&paths::Backups)
}

fn daily(backups: &Backups, zone: &Zone) -> (String, String) {
    let days = match backups.keep_days {
        1 => "1 day".to_owned(),
        n => format!("{n} days"),
    };
    let says = format!(
        "Every day at {} ({}); those older than {days} are removed, each time that a new one is found good. They go into",
        backups.at,
        zone.name(),
    );
    (says, backups.to.display().to_string())
}

/// Two days: one that was missed is made up for within an hour, so by then somebody has to look.
fn alarm(taken_here: bool, good: Option<&Told>, now: Instant) -> Option<String> {
    let what_to_do = if taken_here {
        "Back up now, and look at what is said here when it ends."
    } else {
        "Start the server with --backup-to and a folder on another disk, or run `breakerbook backup` every day."
    };
    match good {
        None => Some(format!("There is no back-up of this book yet. {what_to_do}")),
        Some(good) if now.since(good.at) > 2 * DAY => {
            Some(format!("The last good back-up is {} days old. {what_to_do}", now.since(good.at) / DAY))
        }
        Some(_) => None,
    }
}

fn drawn(good: Told, zone: &Zone, now: Instant) -> Good {
    let ago = match now.since(good.at) {
        ..MINUTE => "just now".to_owned(),
        past @ MINUTE..HOUR => format!("{} min ago", past / MINUTE),
        past @ HOUR..DAY => format!("{} h ago", past / HOUR),
        past => format!("{} d ago", past / DAY),
    };
    let took = match good.took_ms {
        ..1_000 => "less than a second".to_owned(),
        ms @ 1_000..120_000 => format!("{} s", ms / 1_000),
        ms => format!("{} min", ms / 60_000),
    };
    let megabytes = good.bytes.div_ceil(1_000_000);
    Good {
        when: format!("{}, {ago}", zone.in_words(good.at)),
        file: good.file,
        figures: format!("{} pages, {megabytes} MB, copied and checked in {took}", good.size),
        root: good.root,
    }
}

fn capital(says: &str) -> String {
    let mut letters = says.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().collect::<String>() + letters.as_str() + ".")
        .unwrap_or_default()
}
