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
        Backups, Found, print_of,
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
    pub lying: Lying,
    /// When, and from which file.
    pub restored: Option<(String, String)>,
    pub action: String,
}

pub struct Good {
    pub when: String,
    pub file: String,
    pub figures: String,
    pub root: String,
    /// What has to be looked at.
    pub says: String,
}

/// What lies in this server's folder.
pub enum Lying {
    /// It takes none.
    Nowhere,
    NoAnswer,
    /// The latest first, and how many more there are.
    There(Vec<Row>, Option<String>),
}

pub struct Row {
    pub when: String,
    pub name: String,
    pub figures: String,
}

/// As many rows as somebody may look through for the right one.
const MOST_ROWS: usize = 40;

pub async fn show(State(app): State<App>, frame: Frame) -> Answer {
    let mut db = app.desk().read().await?;
    let (kept, print) = (told::kept(&mut db).await?, print_of(&mut db).await?);
    drop(db);
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let backups = app.backups();
    let since = backups.and_then(|backups| backups.under_way());
    // A good one of a day to come says nothing about one that failed today: a clock was wrong.
    let before = |good: &Told, f: &Told| good.at < f.at || good.at > now;
    let failed = kept.failed.filter(|f| kept.good.as_ref().is_none_or(|good| before(good, f)));
    let lying = match backups {
        Some(backups) => drawn_lying(backups.lying(&print).await, zone),
        None => Lying::Nowhere,
    };
    let view = View {
        frame,
        daily: backups.map(|backups| daily(backups, zone)),
        alarm: alarm(backups.is_some(), kept.good.as_ref(), now),
        failed: failed.map(|f| (zone.in_words(f.at), capital(&f.says))),
        under_way: since.map(|at| format!("One is under way, since {}.", zone.in_words(at))),
        good: kept.good.map(|good| drawn(good, zone, now)),
        lying,
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
        "Every day at {} ({}); those older than {days} are removed, each time that a new one is found good and has all their pages. They go into",
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
        Some(good) if now.since(good.at) < -MINUTE => Some(format!(
            "The last good back-up is of a day that is still to come: the server's clock is wrong, or was. Set it right. {what_to_do}"
        )),
        Some(good) if now.since(good.at) > 2 * DAY => {
            Some(format!("The last good back-up is {} days old. {what_to_do}", now.since(good.at) / DAY))
        }
        Some(_) => None,
    }
}

fn drawn(good: Told, zone: &Zone, now: Instant) -> Good {
    let ago = match now.since(good.at) {
        ..0 => "by a clock that was ahead".to_owned(),
        0..MINUTE => "just now".to_owned(),
        past @ MINUTE..HOUR => format!("{} min ago", past / MINUTE),
        past @ HOUR..DAY => format!("{} h ago", past / HOUR),
        past => format!("{} d ago", past / DAY),
    };
    let took = match good.took_ms {
        ..1_000 => "less than a second".to_owned(),
        ms @ 1_000..120_000 => format!("{} s", ms / 1_000),
        ms => format!("{} min", ms / 60_000),
    };
    Good {
        when: format!("{}, {ago}", zone.in_words(good.at)),
        file: good.file,
        figures: format!("{} pages, {}, copied and checked in {took}", good.size, megabytes(good.bytes)),
        root: good.root,
        says: good.says,
    }
}

fn drawn_lying(found: Option<Vec<Found>>, zone: &Zone) -> Lying {
    let Some(found) = found else { return Lying::NoAnswer };
    let more = found.len().saturating_sub(MOST_ROWS);
    let one = |found: Found| Row {
        when: zone.in_words(found.at),
        name: found.name,
        figures: format!(
            "{}, {} the signing key beside it",
            megabytes(found.bytes),
            if found.with_key { "with" } else { "without" }
        ),
    };
    let more = (more > 0).then(|| format!("{more} earlier ones lie there, too."));
    Lying::There(found.into_iter().take(MOST_ROWS).map(one).collect(), more)
}

fn megabytes(bytes: u64) -> String {
    format!("{} MB", bytes.div_ceil(1_000_000))
}

fn capital(says: &str) -> String {
    let mut letters = says.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().collect::<String>() + letters.as_str() + ".")
        .unwrap_or_default()
}
