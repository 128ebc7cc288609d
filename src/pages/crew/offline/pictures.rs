//! Pictures of units and classes for the scripts, as JSON: what the crew's pages would show, and when it was so.
use std::collections::BTreeMap;

use askama::Template;
use axum::{
    Json,
    extract::{Path, State},
    response::IntoResponse,
};
use serde_json::{Map, Value, json};

use super::super::{
    draft::{DraftEntry, Kept},
    handing,
    holds::held,
    picture::Picture,
    run,
    slip::{open_cutouts, suggest_start},
    start_check, store,
    unit_of::UnitHere,
    walk,
    write::can_be_about,
};
use crate::{
    base::UnitName,
    pages::drawn::{
        facts::DeviceFacts,
        panel::{Drawing, draw},
        state::face_of,
    },
    reports::{self, kinds::Kind},
    roster::{Device, Schedule},
    rules::{
        self,
        situation::{self, Beside},
    },
    shop,
    web::{Answer, App, Me, Oops},
};

#[derive(Template)]
#[template(
    source = r#"{% import "parts/panel.html" as drawn %}{% call drawn::panels(drawing) %}{% endcall %}"#,
    ext = "html"
)]
struct Panels {
    drawing: Drawing,
}

/// Each device leads to `?device=TAG`, wherever it is shown.
fn link(device: &Device) -> Option<String> {
    Some(format!("?device={}", crate::web::paths::encoded(device.tag.as_str())))
}

/// A class's panels and what its schedule says of each device.
pub async fn class(State(app): State<App>, Path(class): Path<String>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let found = world.roster.classes.get(class.as_str()).and_then(|class| class.schedules.last());
    let schedule = found.ok_or_else(|| Oops::NotFound("The book holds no such class.".into()))?;
    let devices: Map<String, Value> = schedule.devices.iter().map(device).collect();
    let panel = Panels { drawing: draw(schedule, now, |_| None, link) }.render()?;
    Ok(Json(json!({ "v": 1, "class": class, "as_of": now.to_z(), "panel": panel, "devices": devices }))
        .into_response())
}

fn device(device: &Device) -> (String, Value) {
    let facts = DeviceFacts::of(device);
    let lines: Vec<_> = facts.lines.into_iter().map(|fact| (fact.name, fact.says)).collect();
    let fits: Vec<_> = Kind::ALL.iter().filter(|kind| can_be_about(**kind, device)).collect();
    let about = json!({ "kind": device.kind, "legend": device.legend, "fits": fits, "lines": lines });
    (device.tag.to_string(), about)
}

/// One unit in full, and what this person wrote down about it and has not signed.
pub async fn unit(State(app): State<App>, me: Me, Path(unit): Path<String>) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let mut db = app.desk().read().await?;
    let dossiers = store::dossiers_of(&mut db, &here.unit).await?;
    let draft = store::draft_of(&mut db, me.sign_in(), &here.unit).await?;
    let read_at = store::handover_read(&mut db, me.sign_in(), &here.unit).await?;
    let in_shop = shop::store::in_shop(&mut db, &here.unit).await?;
    let run = store::run_of(&mut db, me.sign_in()).await?;
    drop(db);
    let picture = Picture::of(&dossiers, here.schedule());
    let mut slip = draft.as_ref().map(|kept| kept.draft.slip.clone()).unwrap_or_default();
    suggest_start(&here, &mut slip, read_at);
    if let Some(kept) = run {
        kept.run.suggest(&here.unit, &mut slip);
    }
    let panel = here.schedule().map(|schedule| panel(schedule, &here, &picture)).transpose()?;
    let cutouts: Vec<_> =
        here.schedule().into_iter().flat_map(Schedule::cutouts).map(|d| d.tag.to_string()).collect();
    let (me, now) = (me.sign_in(), here.now);
    let beside = Beside {
        me,
        people: &here.world.people,
        zone: &here.world.railway.zone,
        schedule: here.schedule(),
        now,
    };
    let situation = situation::of(&here.unit, &dossiers, in_shop.clone(), &beside);
    let still: BTreeMap<_, _> = handing::by_the_book(&here, &picture).into_iter().collect();
    Ok(Json(json!({
        "v": 1, "situation": situation, "unit": here.unit, "class": here.card().map(|card| &card.class), "as_of": here.now.to_z(),
        "panel": panel, "checks": walk::to_keep(&here, &picture), "walks": start_check::to_keep(&here, me, dossiers, in_shop)?,
        "cutouts": cutouts, "open": open_cutouts(&app, &here, &[]).await?, "still": still, "slip": slip,
        "draft": draft.map(|kept| drafted(&kept)),
    }))
    .into_response())
}

/// The run that one is on, as it is typed.
pub async fn run(State(app): State<App>, me: Me) -> Answer {
    let run = run::of(&app, &me).await?.map(|kept| kept.run).unwrap_or_default();
    Ok(Json(json!({ "v": 1, "units": run.units, "signed": run.signed, "slip": run.slip })).into_response())
}

fn panel(schedule: &Schedule, here: &UnitHere, picture: &Picture) -> Result<String, Oops> {
    Ok(Panels { drawing: draw(schedule, here.now, |device| picture.known(device), link) }.render()?)
}

/// Entries as they were typed, so that a report signed on the tablet holds them too.
fn drafted(kept: &Kept) -> Value {
    let one = |entry: &DraftEntry| json!({ "id": entry.id, "kind": entry.kind, "device": entry.about.as_str(), "typed": entry.typed });
    let entries: Vec<_> = kept.draft.unsent().map(one).collect();
    json!({ "id": kept.id, "entries": entries })
}

/// A home area is the units of one home shop: nothing else in the book says which units somebody works with.
const MOST: usize = 300;

/// How the units of the same home shop stand, in a few words each.
pub async fn area(State(app): State<App>, Path(unit): Path<String>) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let shop = here.card().and_then(|card| card.home_shop.clone());
    let near = here.world.roster.units.values().filter(|card| card.home_shop == shop);
    let near: Vec<UnitName> = near.map(|card| card.unit.clone()).take(MOST).collect();
    let mut units = Vec::new();
    for unit in near {
        units.push(short(&app, UnitHere { unit, world: here.world.clone(), now: here.now }).await?);
    }
    let classes: Vec<_> = here
        .world
        .roster
        .classes
        .values()
        .map(|class| (&class.name, class.schedules.last().map(|s| s.effective.to_z())))
        .collect();
    Ok(Json(json!({ "v": 1, "as_of": here.now.to_z(), "shop": shop, "classes": classes, "units": units }))
        .into_response())
}

async fn short(app: &App, here: UnitHere) -> Result<Value, Oops> {
    let mut db = app.desk().read().await?;
    let dossiers = store::dossiers_of(&mut db, &here.unit).await?;
    let of_unit = rules::store::Wanted { unit: Some(&here.unit), ..Default::default() };
    let findings = rules::store::open_at(&mut db, &of_unit, here.now).await?;
    let last = reports::store::last_reports(&mut db, &here.unit, 1).await?;
    let picture = Picture::of(&dossiers, here.schedule());
    let amiss = here.schedule().into_iter().flat_map(|schedule| picture.amiss(schedule));
    let says: Vec<_> = amiss
        .map(|(device, known, _)| format!("{} {}", device.tag, face_of(device, Some(known.state)).word))
        .collect();
    let standing = shop::store::standing(&mut db, &here.unit, here.now).await?;
    let held = held(&here, &picture, &findings, last.first(), &standing);
    Ok(json!({ "unit": here.unit, "class": here.card().map(|card| &card.class), "amiss": says,
        "held": held.lines, "sentence": held.sentence }))
}
