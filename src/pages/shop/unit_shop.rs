//! One unit as the shop knows it: how it stands, what can be done, and every repair, hold, release and correction.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use sqlx::SqliteConnection;

use super::{
    hold::{held_says, reason_says, unit_of},
    repair::{RepairLine, capital},
};
use crate::{
    base::{Instant, UnitName},
    desk::World,
    people::Act,
    shop::store::{Amended, HoldRow, ReleaseRow, amended_of, holds_of, releases_of, repairs_of, standing},
    web::{Answer, App, Frame, Me, page, paths},
};

#[derive(Template)]
#[template(path = "shop/unit_shop.html")]
struct View {
    frame: Frame,
    unit: String,
    handover: String,
    links: [(String, &'static str); 3],
    held: Option<String>,
    restricted: Option<String>,
    may_work: bool,
    hold: String,
    release: String,
    repair: String,
    open: Vec<RepairLine>,
    closed: Vec<RepairLine>,
    /// Holds and releases, the latest first.
    kept: Vec<Kept>,
    amended: Vec<Changed>,
}

struct Kept {
    what: String,
    says: String,
}

/// An entry that was corrected, or that somebody spoke to.
struct Changed {
    path: String,
    what: String,
    says: String,
}

/// So many of each are listed.
const MOST: i64 = 100;

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(unit): Path<String>) -> Answer {
    let unit = unit_of(&unit)?;
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let mut db = app.desk().read().await?;
    let standing = standing(&mut db, &unit, now).await?;
    let repairs = repairs_of(&mut db, std::slice::from_ref(&unit)).await?;
    let kept = kept(&mut db, &unit, &world, now).await?;
    let amended = amended_of(&mut db, &unit, MOST).await?;
    drop(db);
    let (mut closed, open): (Vec<_>, Vec<_>) = repairs.iter().partition(|repair| repair.closed_at.is_some());
    closed.sort_by_key(|repair| std::cmp::Reverse(repair.closed_at));
    let line = |repair: &crate::shop::Repair| {
        let line = RepairLine::of(repair, &world);
        RepairLine { of: capital(&line.of), ..line }
    };
    let view = View {
        frame,
        unit: unit.to_string(),
        handover: paths::Handover(unit.clone()).to_string(),
        held: held_says(&standing, zone),
        restricted: standing.released.as_ref().and_then(|row| row.restricts()).map(str::to_owned),
        may_work: me.may(Act::WorkOnUnits),
        hold: paths::Hold(unit.clone()).to_string(),
        release: paths::Release(unit.clone()).to_string(),
        repair: paths::RepairNew(unit.clone()).to_string(),
        links: [
            (paths::Unit(unit.clone()).to_string(), "Its year in pictures"),
            (paths::Measurements(unit.clone()).to_string(), "Measurements"),
            (paths::UnitInspections(unit).to_string(), "Inspections"),
        ],
        open: open.into_iter().map(line).collect(),
        closed: closed.into_iter().take(100).map(line).collect(),
        kept,
        amended: amended.iter().map(|row| changed(row, &world)).collect(),
    };
    page(StatusCode::OK, &view)
}

async fn kept(
    db: &mut SqliteConnection,
    unit: &UnitName,
    world: &World,
    now: Instant,
) -> Result<Vec<Kept>, sqlx::Error> {
    let zone = &world.railway.zone;
    let hold = |row: &HoldRow| {
        let words = row.words.as_deref().map(|words| format!(" “{words}”")).unwrap_or_default();
        let what = format!("Held: {}", reason_says(&row.reason));
        (row.at, Kept { what, says: format!("{}, by {}.{words}", zone.in_words(Instant(row.at)), row.by) })
    };
    let release =
        |row: &ReleaseRow| (row.at, Kept { what: released(&row.how).to_owned(), says: said(row, world) });
    let mut all: Vec<(i64, Kept)> = holds_of(&mut *db, unit, MOST, now).await?.iter().map(hold).collect();
    all.extend(releases_of(db, unit, MOST, now).await?.iter().map(release));
    all.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    Ok(all.into_iter().map(|(_, kept)| kept).collect())
}

fn released(how: &str) -> &'static str {
    match how {
        "restricted" => "Released, restricted",
        "dead_for_repair" => "Released dead for repair",
        _ => "Released into service",
    }
}

fn said(row: &ReleaseRow, world: &World) -> String {
    let part = |name: &str, words: &Option<String>| {
        words.as_deref().map(|words| format!(" {name}: {}.", words.trim_end_matches('.'))).unwrap_or_default()
    };
    format!(
        "{}, by {}.{}{}{}",
        world.railway.zone.in_words(Instant(row.at)),
        row.by,
        part("Restrictions", &row.restrictions),
        part("Checked", &row.checked),
        part("In words", &row.words),
    )
}

fn changed(row: &Amended, world: &World) -> Changed {
    let when = world.railway.zone.in_words(Instant(row.at));
    let what = match (row.withdrawn, row.is_statement) {
        (_, true) => "Statement beside an entry",
        (true, _) => "Entry withdrawn",
        _ => "Entry amended",
    };
    Changed {
        path: row.entry.parse().map(|id| paths::Entry(id).to_string()).unwrap_or_default(),
        what: what.to_owned(),
        says: format!("{when}, by {}: “{}”", row.by, row.words),
    }
}
