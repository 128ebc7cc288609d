//! The receipt: where a report stands in the book, and its entries as they now read.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{asking::words, entry_line::EntryLine};
use crate::{
    base::{Instant, ReportId, UnitName, Zone},
    book,
    desk::{
        tablets,
        world::{World, is_late},
    },
    pages::drawn::tablet::{clock_says, signed_how},
    people::tablet::TabletReport,
    reports::{
        Report,
        store::{self, EntryRow, ReportRow, Wanted},
        stored,
    },
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
    /// Each with the page of the entry, where it is amended and spoken to.
    pub lines: Vec<(EntryLine, String)>,
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
    let filed = as_filed(&mut db, row.seq).await?;
    let tablet = tablets::of_report(&mut db, id).await?;
    drop(db);
    let consist = filed.as_ref().map_or_else(Vec::new, |report| report.consist.clone());
    // As they happened; of one moment, as they were written down.
    let place = |e: &EntryRow| filed.as_ref()?.entries.iter().position(|f| f.id.to_string() == e.id);
    entries.sort_by_key(|e| (e.at, place(e)));
    let mut view = ReceiptPage::of(frame, &app, &me, &row, &entries, &consist);
    view.facts.extend(tablet.iter().flat_map(|tablet| of_tablet(tablet, &app.world().railway.zone)));
    page(StatusCode::OK, &view)
}

/// What is to be said of the tablet that signed it, and what its author said to it later.
fn of_tablet(tablet: &TabletReport, zone: &Zone) -> Vec<(&'static str, String)> {
    let clock = clock_says(tablet, zone).map(|says| ("Clock", says));
    let words = tablet.answer.as_ref().and_then(|answer| answer.words.clone());
    clock.into_iter().chain(words.map(|words| ("In their words", words))).collect()
}

/// The report as its page of the book has it.
async fn as_filed(db: &mut sqlx::SqliteConnection, seq: i64) -> Result<Option<Report>, Oops> {
    let page = book::store::page(db, seq).await?;
    let read = |blob: &str| stored::report(book::Envelope::read(blob).ok()?.body.get()).ok();
    Ok(page.and_then(|page| read(&page.blob)))
}

impl ReceiptPage {
    fn of(
        frame: Frame,
        app: &App,
        me: &Me,
        row: &ReportRow,
        entries: &[EntryRow],
        consist: &[UnitName],
    ) -> Self {
        let world = app.world();
        let unit = UnitName::from(row.unit.as_str());
        Self {
            frame,
            unit: row.unit.clone(),
            mine: row.author == me.sign_in().as_str(),
            is_final: row.is_final,
            facts: facts(row, consist, &world.railway.zone),
            lines: entries.iter().map(|e| (line(e, &world), entry_path(e))).collect(),
            page: row.seq.to_string(),
            tree_size: (row.seq + 1).to_string(),
            root: row.root.clone(),
            sha256: row.sha256.clone(),
            handover: paths::Handover(unit.clone()).to_string(),
            report: paths::Report(unit).to_string(),
        }
    }
}

fn entry_path(row: &EntryRow) -> String {
    row.id.parse().map(|id| paths::Entry(id).to_string()).unwrap_or_default()
}

pub fn line(row: &EntryRow, world: &World) -> EntryLine {
    let detail = serde_json::from_str(&row.detail).unwrap_or_default();
    let schedule = world.roster.schedule_at(&UnitName::from(row.unit.as_str()), Instant(row.at));
    let mut line = EntryLine::of(&detail, schedule, &world.railway.zone);
    if row.amended.is_some() {
        line.says.push_str(" (amended since)");
    }
    line
}

fn facts(row: &ReportRow, consist: &[UnitName], zone: &Zone) -> Vec<(&'static str, String)> {
    let at = |micros: i64| zone.in_words(Instant(micros));
    let signed = match &row.entered_by {
        Some(by) if *by != row.author => {
            format!("entered by {by} for {}, not signed by {}", row.author, row.author)
        }
        _ => format!("{}, {}{}", row.author, at(row.signed_at), signed_how(row.confirmed)),
    };
    let late = if is_late(Instant(row.signed_at), Instant(row.recorded_at)) { ", late" } else { "" };
    let from = row.run_from.as_ref().map(|place| format!("from {place}"));
    let to = row.run_to.as_ref().map(|place| format!("to {place}"));
    let run: Vec<String> = [row.symbol.clone(), from, to].into_iter().flatten().collect();
    let ended = row.ended.map_or_else(|| "not stated".to_owned(), at);
    let units: Vec<&str> = consist.iter().map(UnitName::as_str).collect();
    let all = [
        ("Occasion", Some(words::say(words::OCCASION, &row.occasion))),
        ("Run", (!run.is_empty()).then(|| run.join(" "))),
        ("Started", (row.occasion == "run").then(|| at(row.started))),
        ("Ended", (row.occasion == "run").then_some(ended)),
        ("Position", row.position.as_deref().map(|p| words::say(words::RUN_POSITION, p))),
        ("Consist", (!units.is_empty()).then(|| units.join(", "))),
        ("Weather", row.weather.as_deref().map(|w| words::say(words::WEATHER, w))),
        ("Remarks", row.remarks.clone()),
        ("Signed", Some(signed)),
        ("Recorded", Some(format!("{}{late}", at(row.recorded_at)))),
    ];
    all.into_iter().filter_map(|(name, says)| says.map(|says| (name, says))).collect()
}
