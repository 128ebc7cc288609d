//! One battery, on whatever units it was: its record follows it.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::list::{Line, Query, sheet};
use crate::{
    base::UnitName,
    shop::measurements::{
        Kind, Measured, figures, store,
        store::{Kept, Wanted},
    },
    web::{Answer, App, Asked, Frame, Oops, page, paths, sheet::Format},
};

#[derive(Template)]
#[template(path = "shop/measure_battery.html")]
struct View {
    frame: Frame,
    name: String,
    /// Where it is by its last measurement, and since which one.
    on: String,
    on_path: String,
    /// Where it was, the latest first.
    stays: Vec<String>,
    rows: Vec<Row>,
    csv: String,
    xlsx: String,
}

struct Row {
    line: Line,
    lowest: String,
    highest: String,
    spread: String,
    rested: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(name): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (name, world) = (name.to_uppercase(), app.world());
    let wanted = Wanted { kind: Some(Kind::Battery), subject: Some(&name), ..Wanted::default() };
    let kept = store::taken(&mut *app.desk().read().await?, &wanted).await?;
    let Some(last) = kept.first() else {
        return Err(Oops::NotFound(
            "No battery of this mark was measured: look at the unit's measurements.".to_owned(),
        ));
    };
    if let Some(format) = Format::asked(&query.format)? {
        return sheet(&format!("battery {name}"), &kept).answer(format);
    }
    let zone = &world.railway.zone;
    let here = paths::Battery(name.clone());
    let view = View {
        frame,
        on: last.unit.to_string(),
        on_path: paths::Measurements(last.unit.clone()).to_string(),
        stays: stays(&kept)
            .into_iter()
            .map(|(unit, first)| format!("{unit}, first measured there {}", zone.in_words(first)))
            .collect(),
        rows: kept.iter().map(|kept| row(kept, Line::of(kept, zone))).collect(),
        csv: here.with(&[("format", "csv")]),
        xlsx: here.with(&[("format", "xlsx")]),
        name,
    };
    page(StatusCode::OK, &view)
}

/// On which units it was, one after the other, the latest first; of each stay the first measurement.
fn stays(kept: &[Kept]) -> Vec<(UnitName, crate::base::Instant)> {
    let mut all: Vec<(UnitName, crate::base::Instant)> = Vec::new();
    for one in kept {
        match all.last_mut() {
            Some((unit, first)) if *unit == one.unit => *first = one.at,
            _ => all.push((one.unit.clone(), one.at)),
        }
    }
    all
}

fn row(kept: &Kept, line: Line) -> Row {
    let Measured::Battery(battery) = &kept.measured else {
        return Row {
            line,
            lowest: String::new(),
            highest: String::new(),
            spread: String::new(),
            rested: String::new(),
        };
    };
    // Corrected, where a temperature was stated; else as read, and said so.
    let (values, as_read) = match &kept.judged.corrected {
        Some(corrected) => (&corrected.values, ""),
        None => (&battery.gravities, " as read"),
    };
    let edge = |better: fn(f64, f64) -> f64| values.iter().copied().reduce(better);
    let told = |v: Option<f64>| v.map(|v| format!("{v:.3}{as_read}")).unwrap_or_default();
    let (low, high) = (edge(f64::min), edge(f64::max));
    Row {
        line,
        lowest: told(low),
        highest: told(high),
        spread: low
            .zip(high)
            .map(|(low, high)| format!("{:.0} points", (high - low) * 1_000.0))
            .unwrap_or_default(),
        rested: battery.rested_v.map(|v| format!("{} V", figures(v))).unwrap_or_default(),
    }
}
