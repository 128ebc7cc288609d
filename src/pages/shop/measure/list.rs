//! A unit's measurements, the latest first; what is asked for, and the locks that are still on.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::{super::repair::capital, unit_of};
use crate::{
    base::{Zone, text},
    people::Act,
    shop::measurements::{
        Verdict, store,
        store::{Kept, Wanted},
    },
    web::{
        Answer, App, Asked, Frame, Me, page, paths,
        sheet::{Cell, Format, Sheet},
    },
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    pub format: String,
}

#[derive(Template)]
#[template(path = "shop/measure_list.html")]
struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    fresh: Option<String>,
    asked: Option<String>,
    locks: Vec<String>,
    lines: Vec<Line>,
    csv: String,
    xlsx: String,
}

pub(in crate::pages::shop) struct Line {
    pub path: String,
    pub unit: String,
    pub at: String,
    pub kind: &'static str,
    pub subject: String,
    pub says: String,
    pub verdict: &'static str,
    pub fails: bool,
    pub by: String,
}

impl Line {
    pub fn of(kept: &Kept, zone: &Zone) -> Self {
        let first =
            kept.judged.parts.iter().find(|p| p.verdict == Some(Verdict::Fail)).or(kept.judged.parts.first());
        Self {
            path: paths::Measurement(kept.unit.clone(), kept.id.to_string()).to_string(),
            unit: kept.unit.to_string(),
            at: zone.in_words(kept.at),
            kind: kept.measured.kind().in_words(),
            subject: kept.measured.subject().unwrap_or_default(),
            says: first.map(|part| part.says.clone()).unwrap_or_default(),
            verdict: kept.judged.verdict.in_words(),
            fails: kept.judged.verdict == Verdict::Fail,
            by: kept.by.to_string(),
        }
    }

    /// `Insulation resistance, traction motor 3`.
    pub fn what(&self) -> String {
        let kind = capital(self.kind);
        if self.subject.is_empty() { kind } else { format!("{kind}, {}", text::own_words(&self.subject)) }
    }
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (unit, world) = (unit_of(&unit)?, app.world());
    let format = Format::asked(&query.format)?;
    let mut db = app.desk().read().await?;
    let kept = store::taken(&mut db, &Wanted { unit: Some(&unit), ..Wanted::default() }).await?;
    if let Some(format) = format {
        return sheet(&format!("measurements {unit}"), &kept).answer(format);
    }
    let (asked, locks) =
        (store::relay_test_asked(&mut db, &unit).await?, store::open_locks(&mut db, &unit).await?);
    drop(db);
    let here = paths::Measurements(unit.clone());
    let view = View {
        frame,
        unit_path: paths::Handover(unit.clone()).to_string(),
        fresh: me.may(Act::WorkOnUnits).then(|| paths::MeasurementNew(unit.clone()).to_string()),
        asked: asked.map(|since| world.railway.zone.in_words(since)),
        locks: locks.into_iter().map(|(lock, by)| format!("{lock}, applied by {by}")).collect(),
        lines: kept.iter().map(|kept| Line::of(kept, &world.railway.zone)).collect(),
        csv: here.with(&[("format", "csv")]),
        xlsx: here.with(&[("format", "xlsx")]),
        unit: unit.to_string(),
    };
    page(StatusCode::OK, &view)
}

const COLUMNS: &[&str] = &[
    "measurement",
    "page",
    "unit",
    "repair",
    "kind",
    "subject",
    "at",
    "by",
    "done_by",
    "verdict",
    "says",
    "corrected",
    "corrected_unit",
    "rule",
    "base",
    "sources",
    "measured",
];

/// Times in UTC; of several corrected values each in its place, parted by spaces.
pub(in crate::pages::shop) fn sheet(name: &str, kept: &[Kept]) -> Sheet {
    let mut sheet = Sheet::of(name, COLUMNS);
    for one in kept {
        let (judged, corrected) = (&one.judged, one.judged.corrected.as_ref());
        let says: Vec<String> = judged.parts.iter().map(|p| format!("{}: {}", p.about, p.says)).collect();
        let sources: Vec<&str> =
            judged.parts.iter().flat_map(|p| p.sources.iter().map(|s| s.what.as_str())).collect();
        let values = corrected.map(|c| c.values.iter().map(f64::to_string).collect::<Vec<_>>().join(" "));
        sheet.rows.push(vec![
            one.id.to_string().into(),
            one.seq.into(),
            one.unit.to_string().into(),
            one.repair.map(|id| id.to_string()).into(),
            one.measured.kind().as_str().into(),
            one.measured.subject().into(),
            one.at.to_z().into(),
            one.by.to_string().into(),
            one.done_by.clone().into(),
            judged.verdict.as_str().into(),
            says.join("; ").into(),
            value(values),
            corrected.map(|c| c.unit.clone()).into(),
            corrected.map(|c| c.rule.clone()).into(),
            corrected.map(|c| c.base.clone()).into(),
            sources.join("; ").into(),
            serde_json::to_string(&one.measured).unwrap_or_default().into(),
        ]);
    }
    sheet
}

fn value(values: Option<String>) -> Cell {
    match values.as_deref().map(str::parse::<f64>) {
        Some(Ok(n)) => Cell::Number(n),
        _ => values.as_deref().and_then(text::tidy).into(),
    }
}
