//! What is due on every unit of the roster, the most pressing first; and the interval a class or unit goes by.
use std::collections::BTreeMap;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::{
    base::{ClassName, Day, Instant, UnitName, text},
    desk::{
        World,
        measure::{IntervalSet, ShopPage},
    },
    pages::drawn::{
        form::{Choice, Field},
        pager::{Pager, page_of},
    },
    people::Act,
    shop::inspections::{
        self, Due, InspectionKind, NO_CREDIT, PAPER, PERIODIC_DAYS, PERIODIC_DAYS_MONITORED, Standing, store,
    },
    web::{
        Answer, App, Asked, Frame, Me, Oops,
        forms::Fields,
        page, paths, see,
        sheet::{Format, Sheet},
        signature,
    },
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    page: String,
    #[serde(default)]
    format: String,
    /// `yes`: all on one page.
    #[serde(default)]
    print: String,
}

#[derive(Template)]
#[template(path = "shop/inspections.html")]
struct View {
    frame: Frame,
    paper: &'static str,
    no_credit: &'static str,
    says: String,
    stood: String,
    lines: Vec<Line>,
    pager: Pager,
    /// All on one page, where there are several.
    print: Option<String>,
    sources: &'static [(&'static str, &'static str)],
    csv: String,
    xlsx: String,
    form: Option<Form>,
}

struct Line {
    unit: String,
    path: String,
    what: &'static str,
    /// How long from one to the next.
    days: String,
    done: String,
    last_day: String,
    standing: String,
    pressing: bool,
}

struct Form {
    action: &'static str,
    signer: String,
    what: Field,
    days: Choice,
    reason: Field,
    password: Field,
}

/// What is tracked of the units in service, the first due of each unit first.
#[derive(Default)]
pub struct Tracked(BTreeMap<UnitName, Vec<Due>>);

impl Tracked {
    /// Of units of which something is written. Two questions to the file, however many units there are.
    pub async fn load(db: &mut SqliteConnection, world: &World, now: Instant) -> Result<Self, sqlx::Error> {
        let last = store::last_done(db).await?;
        let mut all = Self::default();
        if last.is_empty() {
            return Ok(all);
        }
        let (intervals, zone) = (store::intervals(db).await?, &world.railway.zone);
        let today = zone.day_of(now);
        for ((unit, kind), at) in last {
            let card = world.roster.unit(&unit).filter(|card| card.retired.is_none_or(|day| today < day));
            let Some(card) = card else { continue };
            let days = intervals.of(&unit, Some(&card.class));
            let due = Due::of(unit.clone(), kind, Some(zone.day_of(at)), days, today);
            all.0.entry(unit).or_default().extend(due);
        }
        all.0.values_mut().for_each(|of| of.sort_by_key(|due| (due.last_day, due.kind)));
        Ok(all)
    }

    /// The line that the shop sees without asking; `None`: nothing is due within two weeks.
    pub fn notice(&self) -> Option<String> {
        let of = |standing| self.0.values().flatten().filter(|due| due.standing == standing).count();
        let told = |n: usize, how: &str| {
            (n > 0).then(|| format!("{} {how}", text::count(n as u64, "inspection", "inspections")))
        };
        let soon = format!("due within {} days", inspections::TOLD_BEFORE_DAYS);
        let parts = [told(of(Standing::Overdue), "overdue"), told(of(Standing::Soon), &soon)];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| format!("{}.", parts.join(", ")))
    }

    /// `next in the shop by 2 December 2026: periodic inspection, 6 days left`. What a mechanical inspector does each
    /// 33 days brings no unit into a shop.
    pub fn next_in_the_shop(&self, unit: &UnitName, today: Day) -> Option<String> {
        let in_shop = |due: &&Due| due.kind != InspectionKind::MechanicalDaily;
        let due = self.0.get(unit)?.iter().find(in_shop)?;
        let by = due.last_day?.in_words();
        let (how, left) = (due.kind.in_words(), left(due, today));
        Some(match due.standing {
            Standing::Overdue => format!("in the shop since {by} at the latest: {how} {left}"),
            _ => format!("next in the shop by {by}: {how}, {left}"),
        })
    }
}

/// Everything tracked of every unit in service, by how pressing it is.
pub async fn all(db: &mut SqliteConnection, world: &World, now: Instant) -> Result<Vec<Due>, sqlx::Error> {
    let mut tracked = Tracked::load(db, world, now).await?;
    let today = world.railway.zone.day_of(now);
    let mut all = Vec::new();
    for card in world.roster.units.values().filter(|card| card.retired.is_none_or(|day| today < day)) {
        let of_unit = tracked.0.remove(&card.unit).unwrap_or_default();
        let periodic = of_unit.iter().any(|due| due.kind == InspectionKind::Periodic);
        let blank = || Due::of(card.unit.clone(), InspectionKind::Periodic, None, 0, today);
        all.extend((!periodic).then(blank).flatten().into_iter().chain(of_unit));
    }
    all.sort_by(|a, b| {
        (a.standing, a.last_day, &a.unit, a.kind).cmp(&(b.standing, b.last_day, &b.unit, b.kind))
    });
    Ok(all)
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let due = all(&mut db, &world, now).await?;
    if let Some(format) = Format::asked(&query.format)? {
        return sheet(&due).answer(format);
    }
    let wanted = (query.print != "yes").then(|| page_of(&query.page));
    let view = view(frame, &me, &due, &world, now, wanted, &Fields(Vec::new()), &[]);
    page(StatusCode::OK, &view)
}

#[expect(clippy::too_many_arguments, reason = "each is one part of the page, loaded by the caller")]
fn view(
    frame: Frame,
    me: &Me,
    due: &[Due],
    world: &World,
    now: Instant,
    wanted: Option<usize>,
    typed: &Fields,
    says: &[(&str, String)],
) -> View {
    let today = world.railway.zone.day_of(now);
    let lines: Vec<Line> = due.iter().map(|due| line(due, today)).collect();
    let (lines, pager) = match wanted {
        None => (lines, Pager::default()),
        Some(n) => Pager::cut(lines, n, |n| paths::Inspections.with(&[("page", &n.to_string())])),
    };
    View {
        frame,
        paper: PAPER,
        no_credit: NO_CREDIT,
        says: summary(due, today),
        stood: world.railway.zone.in_words(now),
        print: (!pager.says.is_empty()).then(|| paths::Inspections.with(&[("print", "yes")])),
        lines,
        pager,
        sources: SOURCES,
        csv: paths::Inspections.with(&[("format", "csv")]),
        xlsx: paths::Inspections.with(&[("format", "xlsx")]),
        form: me.may(Act::KeepRoster).then(|| form(me, typed, says)),
    }
}

fn form(me: &Me, typed: &Fields, says: &[(&str, String)]) -> Form {
    let said = |name: &str| says.iter().find(|(field, _)| *field == name).map(|(_, says)| says.clone());
    let days: &[(&str, &str)] = &[("92", "92 days"), ("184", "184 days")];
    Form {
        action: paths::Inspections::PATTERN,
        signer: me.sign_in().to_string(),
        what: Field::text("what", "Class or unit", typed.get("what")).says(said("what")),
        days: Choice::of("days", "From one periodic inspection to the next", typed.get("days"), days)
            .hint("184 only with electronic condition monitoring on board (49 CFR 229.23); then a mechanical inspector's daily inspection each 33 days, too.")
            .says(said("days")),
        reason: Field::text("reason", "Why", typed.get("reason")).says(said("reason")),
        password: Field::password("password", "Your password, as your signature").says(said("password")),
    }
}

/// What the days are from; the standards notes have read these in the text itself.
const SOURCES: &[(&str, &str)] = &[
    (
        "Periodic inspection",
        "49 CFR 229.23: at most 92 days; at most 184 where class or unit are set so, for electronic condition monitoring on board.",
    ),
    (
        "Daily inspection by a mechanical inspector",
        "49 CFR 229.23: where 184 days hold, at least each 33 days.",
    ),
    ("Annual tests", "49 CFR 229.27: at most 368 days."),
    ("Told 14 days before", "Common practice, no source."),
];

fn summary(due: &[Due], today: Day) -> String {
    let of = |standing| due.iter().filter(|due| due.standing == standing).count();
    let soon = today.plus(inspections::TOLD_BEFORE_DAYS).in_words();
    let blank = match of(Standing::NotInBook) {
        0 => String::new(),
        n => format!(
            " {} no periodic inspection in the book.",
            text::count(n as u64, "unit has", "units have")
        ),
    };
    format!(
        "{} overdue, {} due within {} days (up to {soon}), {} later.{blank}",
        of(Standing::Overdue),
        of(Standing::Soon),
        inspections::TOLD_BEFORE_DAYS,
        of(Standing::Later),
    )
}

/// `6 days left`, `OVERDUE by 5 days`.
fn left(due: &Due, today: Day) -> String {
    let days = |last: Day| i64::from(last.0) - i64::from(today.0);
    match (due.standing, due.last_day) {
        (Standing::Overdue, Some(last)) => {
            format!("OVERDUE by {}", text::count(days(last).unsigned_abs(), "day", "days"))
        }
        (Standing::Soon | Standing::Later, Some(last)) if days(last) == 0 => {
            "today is the last day".to_owned()
        }
        (Standing::Soon | Standing::Later, Some(last)) => {
            format!("{} left", text::count(days(last).unsigned_abs(), "day", "days"))
        }
        _ => "none in the book: look at the paper".to_owned(),
    }
}

fn line(due: &Due, today: Day) -> Line {
    let standing = left(due, today);
    Line {
        unit: due.unit.to_string(),
        path: paths::UnitInspections(due.unit.clone()).to_string(),
        what: due.kind.in_words(),
        days: due
            .days()
            .map(|days| text::count(u64::from(days.unsigned_abs()), "day", "days"))
            .unwrap_or_default(),
        done: due.done.map(Day::in_words).unwrap_or_default(),
        last_day: due.last_day.map(Day::in_words).unwrap_or_default(),
        standing,
        pressing: due.is_notice(),
    }
}

fn sheet(due: &[Due]) -> Sheet {
    let mut sheet =
        Sheet::of("inspections due", &["unit", "inspection", "done", "last_lawful_day", "standing"]);
    for one in due {
        let day = |day: Option<Day>| day.map(|day| day.to_string());
        sheet.rows.push(vec![
            one.unit.to_string().into(),
            one.kind.as_str().into(),
            day(one.done).into(),
            day(one.last_day).into(),
            one.standing.as_str().into(),
        ]);
    }
    sheet
}

pub async fn set(State(app): State<App>, frame: Frame, me: Me, fields: Fields) -> Answer {
    let permit = me.permit(Act::KeepRoster)?;
    let world = app.world();
    let mut says: Vec<(&str, String)> = Vec::new();
    let what = subject(&world, fields.get("what"));
    if what.is_none() {
        says.push(("what", "The roster has no such class and no such unit.".to_owned()));
    }
    let days = [PERIODIC_DAYS, PERIODIC_DAYS_MONITORED]
        .into_iter()
        .find(|days| days.to_string() == fields.get("days"));
    if days.is_none() {
        says.push(("days", "Choose one of the two.".to_owned()));
    }
    let reason = text::words(fields.get("reason"));
    if reason.is_none() {
        says.push(("reason", "Say why: what is on board, or whose word it is.".to_owned()));
    }
    if let (Some((class, unit)), Some(days), Some(reason)) = (what, days, reason) {
        match signature::sign(&app, &me, fields.get("password")).await? {
            Ok(()) => {
                let set = IntervalSet { class, unit, days, reason };
                app.desk().act(ShopPage::interval(set, &permit, app.now())).await?;
                return see(&paths::Inspections);
            }
            Err(wrong) => says.push(("password", wrong)),
        }
    }
    let due = all(&mut *app.desk().read().await?, &world, app.now()).await?;
    page(
        StatusCode::UNPROCESSABLE_ENTITY,
        &view(frame, &me, &due, &world, app.now(), Some(1), &fields, &says),
    )
}

/// A class by its name, else a unit.
fn subject(world: &World, typed: &str) -> Option<(Option<ClassName>, Option<UnitName>)> {
    let typed = typed.trim();
    let class = world.roster.classes.keys().find(|class| class.as_str().eq_ignore_ascii_case(typed));
    match class {
        Some(class) => Some((Some(class.clone()), None)),
        None => {
            let unit = UnitName::tidy(typed).filter(|unit| world.roster.unit(unit).is_some())?;
            Some((None, Some(unit)))
        }
    }
}

pub(super) fn not_a_unit(typed: &str) -> Oops {
    Oops::NotFound(format!("{typed} is no unit: a mark and a road number are wanted."))
}
