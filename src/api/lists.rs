//! `GET /api/v1/{findings,bypasses,entries}?as_of=&history=&format=json|csv|xlsx`.
use axum::{
    extract::State,
    http::{HeaderValue, header},
    response::IntoResponse,
};
use serde::{Deserialize, Serialize};

use super::{
    formats,
    out::{self, Question},
};
use crate::{
    base::{Code, Instant, Problem},
    pages::shop::ground,
    people::Act,
    web::{Answer, App, Asked, Me, Oops, sheet},
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    as_of: String,
    #[serde(default)]
    history: String,
    #[serde(default)]
    format: String,
}

#[derive(Clone, Copy)]
enum Format {
    Json,
    Csv,
    Xlsx,
}

impl Query {
    /// Every problem at once, like everything that is refused.
    fn check(&self, now: Instant) -> Result<(Question, Format), Oops> {
        let mut problems = Vec::new();
        let mut refuse = |path: &str, says: &str| {
            problems.push(Problem { path: path.into(), code: Code::NotAllowed, says: says.into() });
        };
        let as_of = Some(self.as_of.as_str()).filter(|text| !text.is_empty()).and_then(|text| {
            let at = Instant::parse(text);
            if at.is_none() {
                refuse(
                    "as_of",
                    "Give a time with its offset, as in 2026-03-03T05:14:00-06:00 (write + as %2B).",
                );
            }
            at
        });
        let history = match self.history.as_str() {
            "" | "no" => false,
            "yes" => true,
            _ => {
                refuse("history", "history is yes or no.");
                false
            }
        };
        let format = match self.format.as_str() {
            "csv" => Format::Csv,
            "xlsx" => Format::Xlsx,
            "" | "json" => Format::Json,
            _ => {
                refuse("format", "format is json, csv or xlsx.");
                Format::Json
            }
        };
        let question = Question { as_of, now, history };
        if problems.is_empty() { Ok((question, format)) } else { Err(Oops::Problems(problems)) }
    }
}

pub async fn findings(State(app): State<App>, me: Me, Asked(query): Asked<Query>) -> Answer {
    let (question, format) = query.check(app.now())?;
    let mut rows = out::findings(&mut *app.desk().read().await?, &app.world(), question).await?;
    if !me.may(Act::ReadBypasses) {
        // Ground protection may name people, and only the register does that: the shop has what is about equipment.
        rows.retain(|row| !row.rule.is_ground_protection() || ground::is_shown(row.rule));
        for row in &mut rows {
            row.sentence = ground::without_names(row.rule, &row.sentence);
        }
    }
    list("findings", &rows, out::FINDINGS, format)
}

pub async fn bypasses(State(app): State<App>, Asked(query): Asked<Query>) -> Answer {
    let (question, format) = query.check(app.now())?;
    let rows = out::bypasses(&mut *app.desk().read().await?, &app.world(), question).await?;
    list("bypasses", &rows, out::BYPASSES, format)
}

pub async fn entries(State(app): State<App>, Asked(query): Asked<Query>) -> Answer {
    let (question, format) = query.check(app.now())?;
    let rows = out::entries(&mut *app.desk().read().await?, question).await?;
    list("entries", &rows, out::ENTRIES, format)
}

fn list<T: Serialize>(name: &str, rows: &[T], columns: &[&str], format: Format) -> Answer {
    let (kind, text) = match format {
        Format::Json => ("application/json", formats::to_json(rows).map_err(|why| Oops::machine(&why))?),
        Format::Csv => {
            ("text/csv; charset=utf-8", formats::to_csv(rows, columns).map_err(|why| Oops::machine(&why))?)
        }
        Format::Xlsx => return formats::to_sheet(name, rows, columns).answer(sheet::Format::Xlsx),
    };
    Ok(([(header::CONTENT_TYPE, HeaderValue::from_static(kind))], text).into_response())
}
