//! What the shop has in hand: units held or restricted, repairs under way, lines set aside.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use sqlx::SqliteConnection;

use super::{aside, hold::held_says, repair::RepairLine};
use crate::{
    base::{Instant, Tag},
    desk::World,
    rules::{Rule, store},
    shop::store::{AsideRow, asides, kept_units, open_repairs, standing},
    web::{Answer, App, Frame, page, paths},
};

#[derive(Template)]
#[template(path = "shop/in_shop.html")]
struct View {
    frame: Frame,
    units: Vec<Unit>,
    repairs: Vec<RepairLine>,
    asides: Vec<Aside>,
}

struct Unit {
    path: String,
    unit: String,
    says: String,
}

struct Aside {
    /// Of the line itself, while there is one.
    path: Option<String>,
    what: String,
    says: String,
}

pub async fn show(State(app): State<App>, frame: Frame) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let mut units = Vec::new();
    for unit in kept_units(&mut db).await? {
        let standing = standing(&mut db, &unit, now).await?;
        let restricted = standing.released.as_ref().and_then(|row| row.restricts());
        let restricted = restricted.map(|words| format!("Restricted: {words}."));
        let says: Vec<String> =
            held_says(&standing, &world.railway.zone).into_iter().chain(restricted).collect();
        units.push(Unit {
            path: paths::UnitShop(unit.clone()).to_string(),
            unit: unit.to_string(),
            says: says.join(" "),
        });
    }
    let repairs = open_repairs(&mut db).await?;
    let mut lines = Vec::new();
    for row in asides(&mut db, now).await? {
        lines.push(line(&mut db, &row, &world, now).await?);
    }
    drop(db);
    let repairs = repairs.iter().map(|repair| RepairLine::of(repair, &world)).collect();
    page(StatusCode::OK, &View { frame, units, repairs, asides: lines })
}

async fn line(
    db: &mut SqliteConnection,
    row: &AsideRow,
    world: &World,
    now: Instant,
) -> Result<Aside, sqlx::Error> {
    let unit = row.unit.as_str().into();
    let rule = Rule::parse(&row.rule);
    let device = row.device.as_deref().map(Tag::from);
    let wanted = store::Wanted { unit: Some(&unit), rule, ..store::Wanted::default() };
    let open = store::open_at(db, &wanted, now).await?;
    let open = open.into_iter().find(|f| f.unit.as_ref() == Some(&unit) && f.device == device);
    let ended = if open.is_some() { "" } else { " The line itself has ended meanwhile." };
    let what = rule
        .map_or_else(|| row.rule.clone(), |rule| aside::what(rule, &row.unit, device.as_ref(), now, world));
    Ok(Aside {
        path: open.map(|finding| paths::FindingAside(finding.key).to_string()),
        what,
        says: format!("{}{ended}", aside::says(row, &world.railway.zone)),
    })
}
