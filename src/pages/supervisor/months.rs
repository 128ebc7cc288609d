//! The register month by month, counted.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use crate::{
    base::Day,
    oversight::{
        self,
        monthly::{Counts, NAMES, by_month},
    },
    web::{
        Answer, App, Asked, Frame, page, paths,
        sheet::{Cell, Format, Sheet},
    },
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    format: String,
}

#[derive(Template)]
#[template(path = "supervisor/bypass_months.html")]
struct View {
    frame: Frame,
    railway: String,
    now: String,
    heads: Vec<&'static str>,
    rows: Vec<Row>,
    csv: String,
    xlsx: String,
}

struct Row {
    path: String,
    month: String,
    counts: Vec<(&'static str, u64)>,
    loud: bool,
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(query): Asked<Query>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let mut db = app.desk().read().await?;
    let register = oversight::store::register(&mut db, now).await?;
    drop(db);
    let months = by_month(&register, zone);
    let counted: Vec<(String, Counts)> =
        months.into_iter().map(|(month, of)| (month, Counts::of(of, now))).collect();
    if let Some(format) = Format::asked(&query.format)? {
        return sheet(&counted).answer(format);
    }
    let link = |format| paths::BypassMonths.with(&[("format", format)]);
    let view = View {
        frame,
        railway: world.railway.name.clone(),
        now: zone.in_words(now),
        heads: NAMES.iter().map(|(_, short, _)| *short).collect(),
        rows: counted.iter().map(|(month, counts)| row(month, counts)).collect(),
        csv: link("csv"),
        xlsx: link("xlsx"),
    };
    page(StatusCode::OK, &view)
}

fn row(month: &str, counts: &Counts) -> Row {
    Row {
        path: paths::BypassMonth(month.to_owned()).to_string(),
        month: in_words(month),
        counts: NAMES.iter().zip(counts.all()).map(|((_, _, says), n)| (*says, n)).collect(),
        loud: counts.not_authorised > 0 || counts.still_open > 0,
    }
}

/// `March 2026` of `2026-03`.
pub(super) fn in_words(month: &str) -> String {
    let first = Day::parse(&format!("{month}-01"));
    let words = first.map(|day| day.in_words());
    words.map_or_else(|| month.to_owned(), |says| says.trim_start_matches("1 ").to_owned())
}

fn sheet(months: &[(String, Counts)]) -> Sheet {
    let mut columns = vec!["month"];
    columns.extend(NAMES.iter().map(|(name, ..)| *name));
    let mut sheet = Sheet::of("bypasses-by-month", &columns);
    for (month, counts) in months {
        let numbers = counts.all().map(|n| Cell::from(i64::try_from(n).unwrap_or(i64::MAX)));
        sheet.rows.push(std::iter::once(month.clone().into()).chain(numbers).collect());
    }
    sheet
}
