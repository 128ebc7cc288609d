//! All records of one unit with their amendments, for an inspector: on the screen, on paper, as a file.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::measure::unit_of;
use crate::{
    base::{Day, Instant, UnitName, Zone, text},
    desk::World,
    pages::drawn::{
        form::Field,
        pager::{PER_PAGE, Pager, page_of},
        told,
    },
    people::Act,
    reports::stored,
    shop::{
        inspections::{PAPER, answer_by},
        records::{Record, What, store, store::Span},
    },
    web::{
        Answer, App, Asked, Frame, Me, page, paths,
        sheet::{Cell, Format, Sheet},
    },
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
    #[serde(default)]
    page: String,
    #[serde(default)]
    format: String,
    /// All on one page, to print.
    #[serde(default)]
    print: String,
}

#[derive(Template)]
#[template(path = "shop/records.html")]
struct View {
    frame: Frame,
    unit: String,
    back: String,
    action: String,
    paper: &'static str,
    railway: String,
    now: String,
    answer_by: String,
    from: Field,
    to: Field,
    says: String,
    lines: Vec<Line>,
    pager: Pager,
    print: String,
    csv: String,
    xlsx: String,
    /// For whoever may read the book itself.
    pack: Option<String>,
}

struct Line {
    what: &'static str,
    at: String,
    by: String,
    says: String,
    before: Option<String>,
}

/// The last 92 days unless asked otherwise.
const DAYS: i32 = 92;
/// On paper at once; more comes as a file.
const MOST_PRINTED: i64 = 2_000;

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (unit, world) = (unit_of(&unit)?, app.world());
    let zone = &world.railway.zone;
    let days = Days::asked(&query, zone.day_of(app.now()));
    if let Some(format) = Format::asked(&query.format)? {
        let mut db = app.desk().read().await?;
        let records = store::of_unit(&mut db, &unit, days.span(zone)).await?;
        return sheet(&format!("records {unit} {} to {}", days.from, days.to), &records).answer(format);
    }
    screen(&app, frame, &me, unit, &query, days).await
}

async fn screen(app: &App, frame: Frame, me: &Me, unit: UnitName, query: &Query, days: Days) -> Answer {
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let whole = days.span(zone);
    let mut db = app.desk().read().await?;
    let total = usize::try_from(store::count(&mut db, &unit, whole).await?).unwrap_or(0);
    let with = |name: &str, value: &str| days.link(&unit, name, value);
    let (range, pager) = Pager::of(total, page_of(&query.page), |n| with("page", &n.to_string()));
    let printing = query.print == "yes";
    let span = if printing { Span { limit: MOST_PRINTED, ..whole } } else { part(whole, range.start) };
    let records = store::of_unit(&mut db, &unit, span).await?;
    drop(db);
    let view = View {
        frame,
        back: paths::UnitInspections(unit.clone()).to_string(),
        action: paths::Records(unit.clone()).to_string(),
        paper: PAPER,
        railway: world.railway.name.clone(),
        now: zone.in_words(now),
        answer_by: answer_by(zone.day_of(now)).in_words(),
        from: Field::text("from", "From", &days.from.to_string())
            .hint("2026-03-01")
            .says(days.from_says.clone()),
        to: Field::text("to", "To", &days.to.to_string()).says(days.to_says.clone()),
        says: says(total, printing),
        lines: records.iter().map(|record| line(record, &unit, &world)).collect(),
        pager: if printing { Pager::default() } else { pager },
        print: with("print", "yes"),
        csv: with("format", "csv"),
        xlsx: with("format", "xlsx"),
        pack: me.may(Act::ReadPages).then(|| paths::Pack.with(&[("unit", unit.as_str())])),
        unit: unit.to_string(),
    };
    page(StatusCode::OK, &view)
}

/// From when to when, both days included.
struct Days {
    from: Day,
    to: Day,
    from_says: Option<String>,
    to_says: Option<String>,
}

impl Days {
    fn asked(query: &Query, today: Day) -> Self {
        let (from, from_says) = day(&query.from, today.plus(-DAYS));
        let (to, to_says) = day(&query.to, today);
        Self { from, to, from_says, to_says }
    }

    fn span(&self, zone: &Zone) -> Span {
        Span { from: zone.start_of(self.from), to: zone.start_of(self.to.plus(1)), limit: -1, after: 0 }
    }

    fn link(&self, unit: &UnitName, name: &str, value: &str) -> String {
        let (from, to) = (self.from.to_string(), self.to.to_string());
        paths::Records(unit.clone()).with(&[("from", &from), ("to", &to), (name, value)])
    }
}

/// One screen of it.
fn part(whole: Span, first: usize) -> Span {
    let as_sql = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    Span { limit: as_sql(PER_PAGE), after: as_sql(first), ..whole }
}

fn day(typed: &str, otherwise: Day) -> (Day, Option<String>) {
    let typed = typed.trim();
    match Day::parse(typed) {
        _ if typed.is_empty() => (otherwise, None),
        Some(day) => (day, None),
        None => (otherwise, Some("Write the day as 2026-03-01.".to_owned())),
    }
}

fn says(total: usize, printing: bool) -> String {
    let count = text::count(total as u64, "record", "records");
    match usize::try_from(MOST_PRINTED) {
        Ok(most) if printing && total > most => {
            format!("{count}, of which the latest {most} are here. All of them come as a file.")
        }
        _ => format!("{count}, each as it was filed; amendments stand apart, with what they changed."),
    }
}

fn line(record: &Record, unit: &UnitName, world: &World) -> Line {
    let zone = &world.railway.zone;
    let page = if record.seq < 0 { String::new() } else { format!("page {}", record.seq) };
    let recorded = record.recorded_at.map(|at| format!("recorded {}", zone.in_words(at)));
    let by: Vec<String> =
        [record.by.clone(), page].into_iter().chain(recorded).filter(|part| !part.is_empty()).collect();
    Line {
        what: record.what.in_words(),
        at: zone.in_words(record.at),
        by: by.join(" · "),
        says: told_of(record, &record.data, unit, world),
        before: record.before.as_ref().map(|before| entry_says(before, unit, record.at, world)),
    }
}

fn told_of(record: &Record, data: &str, unit: &UnitName, world: &World) -> String {
    let value: serde_json::Value = serde_json::from_str(data).unwrap_or_default();
    let text = |name: &str| value.get(name).and_then(|v| v.as_str()).unwrap_or_default().to_owned();
    match record.what {
        What::Entry => entry_says(data, unit, record.at, world),
        What::Amendment => {
            let now = match value.get("now").and_then(|now| now.as_str()) {
                Some(now) => entry_says(now, unit, record.at, world),
                None => "withdrawn".to_owned(),
            };
            format!("Reason: {}. Now: {now}", text("reason"))
        }
        What::Statement => text("words"),
        What::Report => report_says(&value),
        What::RepairOpened | What::RepairClosed => repair_says(data, &world.railway.zone),
        What::Measurement => measured_says(&value),
        What::Inspection => format!(
            "{}: {}. Conditions: {}",
            text("kind").replace('_', " "),
            text("place"),
            text("conditions")
        ),
        What::Handover | What::Held | What::Released => String::new(),
    }
}

fn entry_says(detail: &str, unit: &UnitName, at: Instant, world: &World) -> String {
    match stored::entry(detail) {
        Ok(entry) => told::told_in_full(&entry, world.roster.schedule_at(unit, at), &world.railway.zone),
        Err(_) => detail.to_owned(),
    }
}

fn report_says(value: &serde_json::Value) -> String {
    let text = |name: &str| value.get(name).and_then(|v| v.as_str()).unwrap_or_default().to_owned();
    let entries = value.get("entries").and_then(serde_json::Value::as_u64).unwrap_or(0);
    let run = [text("symbol"), text("from"), text("to")]
        .into_iter()
        .filter(|t| !t.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    let remarks = text("remarks");
    let remarks = if remarks.is_empty() { remarks } else { format!(" “{remarks}”") };
    let occasion = text("occasion").replace('_', " ");
    let run = if run.is_empty() { run } else { format!(" {run}") };
    format!(
        "{occasion}{run}: {}.{remarks} SHA-256 {}",
        text::count(entries, "entry", "entries"),
        text("sha256")
    )
}

fn repair_says(data: &str, zone: &Zone) -> String {
    match serde_json::from_str(data) {
        Ok(repair) => super::inspections::repair_says(&repair, zone),
        Err(_) => data.to_owned(),
    }
}

fn measured_says(value: &serde_json::Value) -> String {
    let kind = value.pointer("/measured/kind").and_then(|v| v.as_str()).unwrap_or_default().replace('_', " ");
    let verdict =
        value.pointer("/judged/verdict").and_then(|v| v.as_str()).unwrap_or_default().replace('_', " ");
    let parts = value.pointer("/judged/parts").and_then(|v| v.as_array()).cloned().unwrap_or_default();
    let says: Vec<&str> = parts.iter().filter_map(|part| part.get("says")?.as_str()).collect();
    format!("{kind}: {verdict}. {}", says.join(" "))
}

fn sheet(name: &str, records: &[Record]) -> Sheet {
    let mut sheet = Sheet::of(name, &["page", "what", "at", "recorded_at", "by", "data", "before"]);
    for record in records {
        sheet.rows.push(vec![
            if record.seq < 0 { Cell::Blank } else { record.seq.into() },
            record.what.as_str().into(),
            record.at.to_z().into(),
            record.recorded_at.map(Instant::to_z).into(),
            record.by.as_str().into(),
            record.data.as_str().into(),
            record.before.clone().into(),
        ]);
    }
    sheet
}
