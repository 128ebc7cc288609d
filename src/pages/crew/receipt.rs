//! The receipt: where a report stands in the book, and its entries as they now read.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{asking::words, entry_line::EntryLine};
use crate::{
    base::{Instant, ReportId, UnitName},
    desk::world::is_late,
    reports::store::{self, EntryRow, ReportRow, Wanted},
    web::{Answer, App, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "crew/receipt.html")]
pub struct ReceiptPage {
    pub frame: Frame,
    pub unit: String,
    /// Its own author looks at it.
    pub mine: bool,
    pub is_final: bool,
    pub facts: Vec<(&'static str, String)>,
    pub lines: Vec<EntryLine>,
    pub page: String,
    pub tree_size: String,
    pub root: String,
    pub sha256: String,
    pub handover: String,
    pub report: String,
}

pub async fn show(State(app): State<App>, me: Me, frame: Frame, Path(id): Path<String>) -> Answer {
    let missing = || Oops::NotFound("The book holds no such report.".into());
    let id: ReportId = id.parse().map_err(|_| missing())?;
    let mut db = app.desk().read().await?;
    let row = store::report(&mut db, id).await?.ok_or_else(missing)?;
    let wanted = Wanted { report: Some(id), ..Wanted::default() };
    let mut entries = store::entries(&mut db, &wanted).await?;
    drop(db);
    entries.reverse();
    page(StatusCode::OK, &ReceiptPage::of(frame, &app, &me, &row, &entries))
}

impl ReceiptPage {
    fn of(frame: Frame, app: &App, me: &Me, row: &ReportRow, entries: &[EntryRow]) -> Self {
        let zone = &app.world().railway.zone;
        let unit = UnitName::from(row.unit.as_str());
        Self {
            frame,
            unit: row.unit.clone(),
            mine: row.author == me.sign_in().as_str(),
            is_final: row.is_final,
            facts: facts(row, zone),
            lines: entries.iter().map(|e| line(e, zone)).collect(),
            page: row.seq.to_string(),
            tree_size: (row.seq + 1).to_string(),
            root: row.root.clone(),
            sha256: row.sha256.clone(),
            handover: paths::Handover(unit.clone()).to_string(),
            report: paths::Report(unit).to_string(),
        }
    }
}

pub fn line(row: &EntryRow, zone: &crate::base::Zone) -> EntryLine {
    let detail = serde_json::from_str(&row.detail).unwrap_or_default();
    let mut line = EntryLine::of(&detail, zone);
    if row.amended.is_some() {
        line.says.push_str(" (amended since)");
    }
    line
}

fn facts(row: &ReportRow, zone: &crate::base::Zone) -> Vec<(&'static str, String)> {
    let at = |micros: i64| zone.in_words(Instant(micros));
    let signed = match &row.entered_by {
        Some(by) if *by != row.author => {
            format!("entered by {by} for {}, not signed by {}", row.author, row.author)
        }
        _ => format!("{}, {}", row.author, at(row.signed_at)),
    };
    let late = if is_late(Instant(row.signed_at), Instant(row.recorded_at)) { ", late" } else { "" };
    let from = row.run_from.as_ref().map(|place| format!("from {place}"));
    let to = row.run_to.as_ref().map(|place| format!("to {place}"));
    let run: Vec<String> = [row.symbol.clone(), from, to].into_iter().flatten().collect();
    let ended = row.ended.map_or_else(|| "not stated".to_owned(), at);
    let all = [
        ("Occasion", Some(words::say(words::OCCASION, &row.occasion))),
        ("Run", (!run.is_empty()).then(|| run.join(" "))),
        ("Started", (row.occasion == "run").then(|| at(row.started))),
        ("Ended", (row.occasion == "run").then_some(ended)),
        ("Position", row.position.as_deref().map(|p| words::say(words::RUN_POSITION, p))),
        ("Weather", row.weather.as_deref().map(|w| words::say(words::WEATHER, w))),
        ("Remarks", row.remarks.clone()),
        ("Signed", Some(signed)),
        ("Recorded", Some(format!("{}{late}", at(row.recorded_at)))),
    ];
    all.into_iter().filter_map(|(name, says)| says.map(|says| (name, says))).collect()
}
