//! Units: search by road number, what is not signed yet, what one filed.
use askama::Template;
use axum::{
    extract::{Query, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::{
    asking::words,
    draft::Kept,
    run::Run,
    runs::{RunView, last_runs},
    store,
    write::UnitKeys,
};
use crate::{
    base::{Instant, UnitName, text},
    desk::World,
    reports::store::ReportRow,
    web::{Answer, App, Frame, Me, page, paths},
};

#[derive(Template)]
#[template(path = "crew/units.html")]
pub struct UnitsPage {
    pub frame: Frame,
    pub q: String,
    /// Nothing was looked for.
    pub idle: bool,
    /// Of the only unit that was found.
    pub start_check: Option<LinkLine>,
    pub found: Vec<LinkLine>,
    /// A unit that is not on the roster can be written about all the same.
    pub unknown: Option<LinkLine>,
    /// The only unit that was found, or those of the run.
    pub keys: Vec<UnitKeys>,
    /// The run one is on, in words; where it is kept, and where it is closed.
    pub run: Option<String>,
    pub run_page: String,
    pub close: String,
    /// Away from the run's units.
    pub drafts: Vec<LinkLine>,
    pub runs: Vec<RunView>,
    pub all_runs: String,
}

#[derive(Clone, Debug)]
pub struct LinkLine {
    pub href: String,
    pub main: String,
    pub sub: String,
}

#[derive(Deserialize)]
pub struct Search {
    #[serde(default)]
    q: String,
}

const MOST_FOUND: usize = 30;

pub async fn show(State(app): State<App>, me: Me, frame: Frame, Query(search): Query<Search>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let drafts = store::drafts_of(&mut db, me.sign_in()).await?;
    let run = store::run_of(&mut db, me.sign_in()).await?.map(|kept| kept.run).unwrap_or_default();
    let runs = last_runs(&mut db, &world, me.sign_in(), now).await?;
    let q = search.q.trim().to_owned();
    let found = find(&world, &q);
    let view = UnitsPage {
        frame,
        idle: q.is_empty(),
        start_check: start_check(&found),
        unknown: unknown(&world, &q).filter(|_| found.is_empty()),
        keys: keys(&run, &found),
        run: on_a_run(&run),
        run_page: paths::Run.to_string(),
        close: paths::RunClose.to_string(),
        found: found.into_iter().map(|unit| unit_line(&world, unit)).collect(),
        drafts: drafts
            .iter()
            .filter(|kept| !run.awaits(&kept.unit))
            .map(|kept| draft_line(kept, now))
            .collect(),
        runs,
        all_runs: paths::Runs.to_string(),
        q,
    };
    page(StatusCode::OK, &view)
}

/// Of the one unit that was looked for, else of the run's.
fn keys(run: &Run, found: &[&UnitName]) -> Vec<UnitKeys> {
    match found {
        [] => run.open().map(UnitKeys::of).collect(),
        [only] => vec![UnitKeys::of(only)],
        _ => Vec::new(),
    }
}

fn on_a_run(run: &Run) -> Option<String> {
    if run.units.is_empty() {
        return None;
    }
    let named = run.named();
    Some(if named.is_empty() { run.in_words() } else { named })
}

/// By road number from its beginning, or by the whole name; the exact one first.
fn find<'a>(world: &'a World, q: &str) -> Vec<&'a UnitName> {
    if q.is_empty() {
        return Vec::new();
    }
    let exact = UnitName::tidy(q);
    let number = q.trim_start_matches('0').to_ascii_uppercase();
    let fits = |unit: &&UnitName| {
        let road_number = unit.as_str().split_once(' ').map_or("", |(_, number)| number);
        exact.as_ref() == Some(*unit) || (!number.is_empty() && road_number.starts_with(&number))
    };
    let mut found: Vec<_> = world.roster.units.keys().filter(fits).collect();
    found.sort_by_key(|unit| (unit.as_str().len(), unit.as_str().to_owned()));
    found.truncate(MOST_FOUND);
    found
}

fn start_check(found: &[&UnitName]) -> Option<LinkLine> {
    let [unit] = found else { return None };
    let href = paths::StartCheck((*unit).clone()).to_string();
    Some(LinkLine { href, main: format!("Start check of {unit}"), sub: String::new() })
}

fn unit_line(world: &World, unit: &UnitName) -> LinkLine {
    let card = world.roster.unit(unit);
    let class = card.map(|card| format!("class {}", card.class)).unwrap_or_default();
    let shop = card.and_then(|card| card.home_shop.as_ref()).map(|shop| format!(", home shop {shop}"));
    LinkLine {
        href: paths::Handover(unit.clone()).to_string(),
        main: unit.to_string(),
        sub: class + shop.unwrap_or_default().as_str(),
    }
}

fn unknown(world: &World, q: &str) -> Option<LinkLine> {
    let with_mark = || UnitName::tidy(&format!("{} {q}", world.railway.mark));
    let unit = UnitName::tidy(q).or_else(with_mark)?;
    Some(LinkLine {
        href: paths::Write(unit.clone()).to_string(),
        main: format!("Write about {unit} all the same"),
        sub: "Not on the roster: what you write is kept and marked.".to_owned(),
    })
}

fn draft_line(kept: &Kept, now: Instant) -> LinkLine {
    let entries = text::count(kept.draft.unsent().count() as u64, "entry", "entries");
    LinkLine {
        href: paths::Report(kept.unit.clone()).to_string(),
        main: kept.unit.to_string(),
        sub: format!("{entries}, last touched {} ago, not signed", text::span(now.since(kept.saved_at))),
    }
}

pub fn report_line(row: &ReportRow, world: &World) -> LinkLine {
    let id = row.id.parse().unwrap_or(crate::base::ReportId(uuid::Uuid::nil()));
    let entries = match row.entries {
        0 => "nothing to report".to_owned(),
        n => text::count(u64::try_from(n).unwrap_or(0), "entry", "entries"),
    };
    let what = row.symbol.clone().unwrap_or_else(|| words::say(words::OCCASION, &row.occasion));
    let at = world.railway.zone.in_words(Instant(row.started));
    let whole = if row.is_final { "" } else { ", sent at once" };
    LinkLine {
        href: paths::Receipt(id).to_string(),
        main: row.unit.clone(),
        sub: format!("{what}, {at}: {entries}{whole}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::drawn::sample;

    #[test]
    fn sample_of_units() {
        let line = |main: &str, sub: &str| LinkLine { href: "#".into(), main: main.into(), sub: sub.into() };
        sample::write("units", |frame| {
            let view = UnitsPage {
                frame,
                q: "41".into(),
                start_check: None,
                idle: false,
                found: vec![
                    line("QHB 41", "class S2, home shop Slate Gap"),
                    line("QHB 412", "class M6, home shop Harrow Ferry"),
                ],
                unknown: None,
                keys: vec![UnitKeys::of(&"QHB 431".into())],
                run: Some("K17, Harrow Ferry to Slate Gap".into()),
                run_page: "#".into(),
                close: "#".into(),
                drafts: vec![line("QHB 412", "2 entries, last touched 14 min ago, not signed")],
                runs: vec![crate::pages::crew::runs::sample()],
                all_runs: "#".into(),
            };
            view.render().unwrap()
        });
    }
}
