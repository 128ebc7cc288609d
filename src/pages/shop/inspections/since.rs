//! Defects and repairs of a unit since its last periodic inspection (49 CFR 229.23(h)), to print.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::due::not_a_unit;
use crate::{
    base::{Instant, UnitName, Zone},
    pages::drawn::told::EntryLine,
    reports::{self, store::EntryRow},
    shop::{
        Repair,
        inspections::{InspectionKind, PAPER, is_since, store},
        store::repairs_of,
    },
    web::{
        Answer, App, Asked, Frame, page, paths,
        sheet::{Format, Sheet},
    },
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    format: String,
}

#[derive(Template)]
#[template(path = "shop/since_inspection.html")]
struct View {
    frame: Frame,
    unit: String,
    back: String,
    railway: String,
    /// When the last one was, and by whom.
    last: Option<String>,
    printed: String,
    entries: Vec<EntryLine>,
    repairs: Vec<String>,
    /// Written down since, about before: whoever inspected did not have them.
    late: Vec<EntryLine>,
    paper: &'static str,
    csv: String,
    xlsx: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(unit): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let unit = UnitName::tidy(&unit).ok_or_else(|| not_a_unit(&unit))?;
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let Listed { last, entries, late, repairs } = load(&mut *app.desk().read().await?, &unit, now).await?;
    if let Some(format) = Format::asked(&query.format)? {
        return sheet(&unit, &entries, &repairs).answer(format);
    }
    let here = paths::SinceInspection(unit.clone());
    let view = View {
        frame,
        back: paths::UnitInspections(unit.clone()).to_string(),
        railway: world.railway.name.clone(),
        last: last
            .map(|kept| format!("{}, by {} at {}", zone.in_words(kept.done.at), kept.by, kept.done.place)),
        printed: zone.in_words(now),
        entries: entries.iter().map(|row| EntryLine::of(row, &world)).collect(),
        repairs: repairs.iter().map(|repair| repair_says(repair, zone)).collect(),
        late: late.iter().map(|row| EntryLine::of(row, &world)).collect(),
        paper: PAPER,
        csv: here.with(&[("format", "csv")]),
        xlsx: here.with(&[("format", "xlsx")]),
        unit: unit.to_string(),
    };
    page(StatusCode::OK, &view)
}

/// The last periodic inspection, and what is on the list since.
struct Listed {
    last: Option<store::Kept>,
    entries: Vec<EntryRow>,
    late: Vec<EntryRow>,
    repairs: Vec<Repair>,
}

async fn load(db: &mut SqliteConnection, unit: &UnitName, now: Instant) -> Result<Listed, sqlx::Error> {
    let done = store::of_unit(db, unit).await?;
    let last = done.into_iter().find(|kept| kept.done.kind == InspectionKind::Periodic);
    let at = last.as_ref().map(|kept| kept.done.at);
    let wanted = reports::store::Wanted { unit: Some(unit), happened_since: at, ..Default::default() };
    let mut entries = reports::store::entries(db, &wanted).await?;
    entries.retain(|row| is_listed(row) && is_since(at, Instant(row.at)));
    let wanted = reports::store::Wanted {
        unit: Some(unit),
        recorded_since: at,
        happened_by: at,
        ..Default::default()
    };
    let mut late = if at.is_some() { reports::store::entries(db, &wanted).await? } else { Vec::new() };
    late.retain(is_listed);
    let mut repairs = repairs_of(db, std::slice::from_ref(unit)).await?;
    repairs.retain(|repair| is_since(at, repair.closed_at.unwrap_or(now)));
    Ok(Listed { last, entries, late, repairs })
}

/// Positions that were only looked at are on the page of all records.
fn is_listed(row: &EntryRow) -> bool {
    row.kind != "position"
}

pub(in crate::pages::shop) fn repair_says(repair: &Repair, zone: &Zone) -> String {
    let device = repair.device.as_ref().map_or("the unit", |tag| tag.as_str());
    let opened = format!("{device}: opened {} by {}", zone.in_words(repair.opened_at), repair.opened_by);
    let (Some(closed), Some(by)) = (repair.closed_at, &repair.closed_by) else {
        return format!("{opened}, still open");
    };
    let cause = repair.cause.as_deref().unwrap_or("not stated");
    let words = repair.words.as_ref().map(|words| format!(" “{words}”")).unwrap_or_default();
    format!("{opened}, closed {} by {by}. Cause: {cause}.{words}", zone.in_words(closed))
}

fn sheet(unit: &UnitName, entries: &[EntryRow], repairs: &[Repair]) -> Sheet {
    let columns =
        &["what", "unit", "device", "at", "by", "recorded_at", "closed_at", "closed_by", "cause", "detail"];
    let mut sheet = Sheet::of(&format!("since inspection {unit}"), columns);
    for row in entries {
        sheet.rows.push(vec![
            row.kind.as_str().into(),
            row.unit.as_str().into(),
            row.device.clone().into(),
            Instant(row.at).to_z().into(),
            row.author.as_str().into(),
            Instant(row.recorded_at).to_z().into(),
            "".into(),
            "".into(),
            "".into(),
            row.detail.as_str().into(),
        ]);
    }
    for repair in repairs {
        sheet.rows.push(vec![
            "repair".into(),
            repair.unit.to_string().into(),
            repair.device.as_ref().map(ToString::to_string).into(),
            repair.opened_at.to_z().into(),
            repair.opened_by.to_string().into(),
            "".into(),
            repair.closed_at.map(Instant::to_z).into(),
            repair.closed_by.as_ref().map(ToString::to_string).into(),
            repair.cause.clone().into(),
            repair.words.clone().into(),
        ]);
    }
    sheet
}
