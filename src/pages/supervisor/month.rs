//! One month of the register: counted, by unit and purpose, with its openings and what was done to rights in it. For paper, too.
use std::collections::BTreeMap;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{
    bypasses::{self, Row},
    months::in_words,
    register_sheet::{self, Query},
    rights,
};
use crate::{
    base::{Day, Instant},
    desk::World,
    oversight::{
        self, Line,
        monthly::{Counts, NAMES, month_of},
    },
    pages::drawn::{
        pager::{Pager, page_of},
        told::said,
    },
    rules::{
        Finding, Rule,
        store::{self, Wanted},
    },
    web::{Answer, App, Asked, Frame, Oops, page, paths, sheet::Format},
};

#[derive(Template)]
#[template(path = "supervisor/bypass_month.html")]
struct View {
    frame: Frame,
    railway: String,
    month: String,
    now: String,
    /// Pages in the book when this was read, and the root over them.
    size: u64,
    root: String,
    counts: Vec<(&'static str, u64)>,
    purposes: Vec<(String, u64)>,
    units: Vec<(String, u64)>,
    shops: Vec<(String, u64)>,
    rows: Vec<Row>,
    pager: Pager,
    print: String,
    seals: Vec<String>,
    rights: Vec<String>,
    before: String,
    after: Option<String>,
    csv: String,
    xlsx: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(month): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let first = Day::parse(&format!("{month}-01")).filter(|_| month.len() == 7);
    let first =
        first.ok_or_else(|| Oops::NotFound("A month is a year and a month, as in 2026-03.".into()))?;
    let read = Read::of(&app, &month).await?;
    if let Some(format) = Format::asked(&query.format)? {
        let name = format!("bypasses-{month}");
        return register_sheet::sheet(&name, &read.lines, &world, now).answer(format);
    }
    page(StatusCode::OK, &view(frame, read, (first, &month), &query, &world, now))
}

/// What the book holds of a month.
struct Read {
    lines: Vec<Line>,
    /// Those that are open now, and all of seals.
    findings: Vec<Finding>,
    size: u64,
    root: String,
}

impl Read {
    async fn of(app: &App, month: &str) -> Result<Self, Oops> {
        let (world, now) = (app.world(), app.now());
        let mut db = app.desk().read().await?;
        let register = oversight::store::register(&mut db, now).await?;
        let about = Wanted { rules: Some(&Rule::GROUND_PROTECTION), ..Wanted::default() };
        let mut findings = store::all_until(&mut db, &about, now).await?;
        let (size, root) = oversight::store::head(&mut db).await?;
        drop(db);
        findings.extend(oversight::joined(&world.ground(), &register, now));
        findings.retain(|finding| finding.rule == Rule::Seal || finding.open_at(now));
        let of_month = |line: &Line| month_of(line.bypass.begins(), &world.railway.zone) == month;
        Ok(Self { lines: register.into_iter().filter(of_month).collect(), findings, size, root })
    }
}

fn view(
    frame: Frame,
    read: Read,
    (first, month): (Day, &str),
    query: &Query,
    world: &World,
    now: Instant,
) -> View {
    let zone = &world.railway.zone;
    let Read { lines, findings, size, root } = read;
    let (counts, Tallies { purposes, units, shops }) = (Counts::of(&lines, now), Tallies::of(&lines, world));
    let link = |name, value: &str| paths::BypassMonth(month.to_owned()).with(&[(name, value)]);
    let (lines, pager) = match query.print.as_str() {
        "yes" => (lines, Pager::default()),
        _ => Pager::cut(lines, page_of(&query.page), |n| link("page", &n.to_string())),
    };
    let of_day = |day: Day| day.to_string().chars().take(7).collect::<String>();
    let next = of_day(first.plus(31));
    View {
        frame,
        railway: world.railway.name.clone(),
        month: in_words(month),
        now: zone.in_words(now),
        size,
        root,
        counts: NAMES.iter().zip(counts.all()).map(|((_, _, says), n)| (*says, n)).collect(),
        purposes,
        units,
        shops,
        rows: lines.iter().map(|line| bypasses::row(line, &findings, world, now)).collect(),
        pager,
        print: link("print", "yes"),
        seals: seals(&findings, month, world),
        rights: rights_in(month, world),
        before: paths::BypassMonth(of_day(first.plus(-1))).to_string(),
        after: (next <= month_of(now, zone)).then(|| paths::BypassMonth(next).to_string()),
        csv: link("format", "csv"),
        xlsx: link("format", "xlsx"),
    }
}

struct Tallies {
    purposes: Vec<(String, u64)>,
    units: Vec<(String, u64)>,
    shops: Vec<(String, u64)>,
}

impl Tallies {
    fn of(lines: &[Line], world: &World) -> Self {
        Self {
            purposes: tally(lines, |line| line.bypass.purpose.as_deref().map_or("not stated".into(), said)),
            units: tally(lines, |line| line.bypass.unit.to_string()),
            shops: tally(lines, |line| home_shop(line, world)),
        }
    }
}

fn home_shop(line: &Line, world: &World) -> String {
    let card = world.roster.unit(&line.bypass.unit);
    card.and_then(|card| card.home_shop.clone()).unwrap_or_else(|| "no home shop stated".into())
}

/// How many openings of each, the most first.
fn tally(lines: &[Line], of: impl Fn(&Line) -> String) -> Vec<(String, u64)> {
    let mut counts: BTreeMap<String, u64> = BTreeMap::new();
    for line in lines.iter().filter(|line| !line.bypass.withdrawn) {
        *counts.entry(of(line)).or_default() += 1;
    }
    let mut all: Vec<(String, u64)> = counts.into_iter().collect();
    all.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    all
}

/// Where a chain of seals broke in that month.
fn seals(findings: &[Finding], month: &str, world: &World) -> Vec<String> {
    let zone = &world.railway.zone;
    let mut of_month: Vec<&Finding> =
        findings.iter().filter(|f| f.rule == Rule::Seal && month_of(f.since, zone) == month).collect();
    of_month.sort_by_key(|finding| finding.since);
    let unit = |f: &Finding| f.unit.as_ref().map(ToString::to_string).unwrap_or_default();
    of_month.into_iter().map(|finding| format!("{}: {}", unit(finding), finding.sentence)).collect()
}

/// Rights that were granted, revoked or came to their end in that month.
fn rights_in(month: &str, world: &World) -> Vec<String> {
    let zone = &world.railway.zone;
    let mut all = Vec::new();
    for grant in &world.people.authorisations {
        let revoked = grant.revoked_at.is_some_and(|at| month_of(at, zone) == month);
        let ended =
            grant.to.is_some_and(|to| to.to_string().starts_with(month)) && grant.revoked_at.is_none();
        for (is_so, what) in [
            (month_of(grant.recorded_at, zone) == month, "Granted"),
            (revoked, "Revoked"),
            (ended, "Ends in this month"),
        ] {
            if is_so {
                all.push(format!("{what}: {}.", rights::says(grant, world)));
            }
        }
    }
    all
}
