//! My runs: what one filed, run by run, and what became of each entry.
use askama::Template;
use axum::{
    extract::{Query, State},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{asking::words, outcomes::Known, receipt};
use crate::{
    base::{Instant, ReportId, SignIn, text},
    desk::World,
    reports::store::{EntryRow, ReportRow, Wanted, entries, reports_by},
    web::{Answer, App, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "crew/runs.html")]
pub struct RunsPage {
    pub frame: Frame,
    /// What was signed just now.
    pub done: String,
    pub runs: Vec<RunView>,
    pub earlier: Option<String>,
}

/// The reports of one run, and of an occasion that was none.
#[derive(Clone, Debug)]
pub struct RunView {
    /// `K17, Harrow Ferry to Slate Gap`.
    pub named: String,
    pub when: String,
    pub reports: Vec<ReportView>,
}

#[derive(Clone, Debug)]
pub struct ReportView {
    pub href: String,
    pub unit: String,
    /// `nothing to report`, `2 entries`.
    pub says: String,
    pub entries: Vec<EntryView>,
}

#[derive(Clone, Debug)]
pub struct EntryView {
    pub says: String,
    /// Empty where nothing is to become of it.
    pub became: String,
}

#[derive(Deserialize)]
pub struct Asked {
    before: Option<i64>,
    closed: Option<u32>,
}

const ON_A_PAGE: i64 = 20;

pub async fn show(State(app): State<App>, me: Me, frame: Frame, Query(asked): Query<Asked>) -> Answer {
    let mut db = app.desk().read().await?;
    let before = asked.before.unwrap_or(i64::MAX);
    let rows = reports_by(&mut db, me.sign_in().as_str(), before, ON_A_PAGE).await?;
    let full = i64::try_from(rows.len()).is_ok_and(|n| n == ON_A_PAGE);
    let oldest = rows.last().filter(|_| full).map(|row| row.seq.to_string());
    let done = match asked.closed {
        None => String::new(),
        Some(0) => "The run was closed already, in another tab: what is in the book stands below, and nothing more was signed.".to_owned(),
        Some(1) => "Signed: the report is in the book.".to_owned(),
        Some(n) => format!("Signed: {n} reports are in the book, one for each unit."),
    };
    let runs = views(&mut db, &app.world(), &rows, app.now()).await?;
    let earlier = oldest.map(|seq| paths::Runs.with(&[("before", &seq)]));
    page(StatusCode::OK, &RunsPage { frame, done, runs, earlier })
}

/// The last runs of somebody, for their home page.
pub async fn last_runs(
    db: &mut SqliteConnection,
    world: &World,
    who: &SignIn,
    now: Instant,
) -> Result<Vec<RunView>, Oops> {
    const RUNS: usize = 3;
    let rows = reports_by(db, who.as_str(), i64::MAX, 6).await?;
    let mut runs = views(db, world, &rows, now).await?;
    runs.truncate(RUNS);
    Ok(runs)
}

async fn views(
    db: &mut SqliteConnection,
    world: &World,
    rows: &[ReportRow],
    now: Instant,
) -> Result<Vec<RunView>, Oops> {
    let ids: Vec<String> = rows.iter().map(|row| row.id.clone()).collect();
    let wanted = Wanted { reports: Some(&ids), ..Wanted::default() };
    let mut found = entries(db, &wanted).await?;
    found.reverse();
    let known = Known::of(db, world, &found, now).await?;
    let mut runs: Vec<(Option<i64>, RunView)> = Vec::new();
    for row in rows {
        let report = report_view(row, &found, &known, world);
        let of_run = (row.occasion == "run").then_some(row.started);
        match runs.iter_mut().find(|(started, _)| of_run.is_some() && *started == of_run) {
            Some((_, run)) => {
                if run.named.is_empty() {
                    run.named = named(row);
                }
                // As they were filed: the leading unit first.
                run.reports.insert(0, report);
            }
            None => runs.push((of_run, run_view(row, report, world))),
        }
    }
    let unnamed = |mut run: RunView| {
        if run.named.is_empty() {
            "A run".clone_into(&mut run.named);
        }
        run
    };
    Ok(runs.into_iter().map(|(_, run)| unnamed(run)).collect())
}

fn run_view(row: &ReportRow, report: ReportView, world: &World) -> RunView {
    RunView {
        named: named(row),
        when: world.railway.zone.in_words(Instant(row.started)),
        reports: vec![report],
    }
}

fn named(row: &ReportRow) -> String {
    let way = match (&row.run_from, &row.run_to) {
        (Some(from), Some(to)) => Some(format!("{from} to {to}")),
        (Some(from), None) => Some(format!("from {from}")),
        (None, Some(to)) => Some(format!("to {to}")),
        (None, None) => None,
    };
    let occasion = (row.occasion != "run").then(|| words::say(words::OCCASION, &row.occasion));
    [row.symbol.clone(), way, occasion].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn report_view(row: &ReportRow, found: &[EntryRow], known: &Known, world: &World) -> ReportView {
    let id = row.id.parse().unwrap_or(ReportId(uuid::Uuid::nil()));
    let count = u64::try_from(row.entries).unwrap_or(0);
    let says = match (row.entries, row.is_final) {
        (0, _) => "nothing to report".to_owned(),
        (_, true) => text::count(count, "entry", "entries"),
        (_, false) => format!("{}, sent at once", text::count(count, "entry", "entries")),
    };
    let view = |entry: &EntryRow| EntryView {
        says: receipt::line(entry, world).says,
        became: known.became(entry, world),
    };
    ReportView {
        href: paths::Receipt(id).to_string(),
        unit: row.unit.clone(),
        says,
        entries: found.iter().filter(|entry| entry.report == row.id).map(view).collect(),
    }
}

/// For looking at pages that list runs.
#[cfg(test)]
pub fn sample() -> RunView {
    let entry = |says: &str, became: &str| EntryView { says: says.into(), became: became.into() };
    let report = |unit: &str, says: &str, entries| ReportView {
        href: "#".into(),
        unit: unit.into(),
        says: says.into(),
        entries,
    };
    RunView {
        named: "K17, Harrow Ferry to Slate Gap".into(),
        when: "2 Mar 2026 21:40 -06:00".into(),
        reports: vec![
            report(
                "QHB 431",
                "2 entries",
                vec![
                    entry(
                        "TC2 Traction inverter 2 tripped. No reset written. Left tripped.",
                        "Lead chafed, replaced: repair closed 4 March 2026.",
                    ),
                    entry("GRC seen closed.", ""),
                ],
            ),
            report("QHB 418", "nothing to report", vec![]),
        ],
    }
}
