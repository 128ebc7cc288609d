//! One unit: everything about it on one line of time, its devices' rates against the class, its battery.
use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{
    inspections::Tracked,
    lines::{Eyes, Line},
    pictures_store::{self as store, Whereabouts},
    telling,
};
use crate::{
    base::{Day, Instant, Tag, UnitName},
    desk::{
        World,
        story::{Story, story},
    },
    pages::drawn::{
        picture::{
            Axis, Sheet,
            rates::{self, Rate, Rates},
            timeline::{Lasted, Row, Sketch, Timeline, wet_runs},
            volts::{self, Volts},
        },
        told,
    },
    rules::{Rule, store::State as Standing, store::Wanted},
    web::{Answer, App, Asked, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "shop/unit.html")]
struct View {
    frame: Frame,
    unit: String,
    facts: Vec<(&'static str, String)>,
    links: Vec<(String, String)>,
    lines: Vec<Line>,
    timeline: Timeline,
    /// Devices of which nothing is drawn.
    quiet: String,
    /// All rows, where only the fullest are drawn.
    all_rows: Option<String>,
    before: String,
    after: Option<String>,
    rates: Option<Rates>,
    rates_say: String,
    volts: Option<Volts>,
    volts_say: String,
}

#[derive(Deserialize, Default)]
pub struct UnitForm {
    /// The last day that is drawn; today, if nothing stands there.
    #[serde(default)]
    until: String,
    #[serde(default)]
    rows: String,
}

impl UnitForm {
    /// Never after today: nothing is written there.
    fn last_day(&self, today: Day) -> Result<Day, Oops> {
        if self.until.is_empty() {
            return Ok(today);
        }
        let day = Day::parse(&self.until).map(|day| day.min(today));
        day.ok_or_else(|| Oops::Unreadable("There is no such day. Write it as in until=2026-03-03.".into()))
    }
}

/// So many rows are drawn if nobody asks for all, and so many starts at most.
const ROWS: usize = 12;
const STARTS: i64 = 300;

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(slug): Path<String>,
    Asked(form): Asked<UnitForm>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let unit = known(&slug, &world)?;
    let mut db = app.desk().read().await?;
    let board = app.desk().board(&mut db, now).await?;
    let drawn = Drawn::read(&mut db, &world, &unit, &form, now).await?;
    let there = store::whereabouts(&mut db, &BTreeSet::from([unit.clone()])).await?;
    let due = Tracked::load(&mut db, &world, now).await?;
    drop(db);
    let eyes = Eyes::of(&me, &world, now, &board.causes);
    let wanted = Wanted { unit: Some(&unit), ..Wanted::default() };
    let shown = |rule: Rule| !rule.is_ground_protection() || super::ground::is_shown(rule);
    let open = board.open(&wanted).filter(|f| shown(f.rule) && !Rule::NOTES.contains(&f.rule));
    let with_state = open.map(|f| (board.decisions.state(f, now), f));
    let lines = with_state.filter(|(state, _)| *state != Standing::Ended);
    let lines = lines.map(|(state, f)| Line::of(f, state, &BTreeMap::new(), &eyes)).collect();
    let there = there.get(&unit).cloned().unwrap_or_default();
    let next = due.next_in_the_shop(&unit, world.railway.zone.day_of(now));
    let mut view = drawn.view(frame, lines, &there, &world);
    view.facts.extend(next.map(|says| ("Inspections", says)));
    page(StatusCode::OK, &view)
}

/// `/units/QHB-412/data/timeline.csv` and its like.
pub async fn data(
    State(app): State<App>,
    Path((slug, what)): Path<(String, String)>,
    Asked(form): Asked<UnitForm>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let unit = known(&slug, &world)?;
    let mut db = app.desk().read().await?;
    let drawn = Drawn::read(&mut db, &world, &unit, &form, now).await?;
    drop(db);
    drawn.sheet(&what, &world)?.answer()
}

fn known(slug: &str, world: &World) -> Result<UnitName, Oops> {
    let unit = UnitName::tidy(slug).filter(|unit| world.roster.unit(unit).is_some());
    unit.ok_or_else(|| {
        Oops::NotFound(
            "The roster has no such unit. Look it up on the Units page, by its road number.".into(),
        )
    })
}

/// What the page's pictures are of.
struct Drawn {
    unit: UnitName,
    axis: Axis,
    /// All rows were asked for.
    all: bool,
    today: Day,
    timeline: Sketch,
    /// Rows that are not drawn unless they are asked for.
    hidden: usize,
    quiet: usize,
    rates: Vec<Rate>,
    volts: volts::Sketch,
    volts_axis: Axis,
}

impl Drawn {
    async fn read(
        db: &mut SqliteConnection,
        world: &World,
        unit: &UnitName,
        form: &UnitForm,
        now: Instant,
    ) -> Result<Self, Oops> {
        let zone = &world.railway.zone;
        let today = zone.day_of(now);
        let last = form.last_day(today)?;
        let axis = Axis::year_up_to(last, 0, zone);
        let span = (axis.from, axis.to);
        let told = story(db, world, unit, span).await?;
        let repairs = store::repairs_between(db, unit, span).await?;
        let openings = store::openings_between(db, unit, span).await?;
        let starts = store::starts_between(db, unit, span, STARTS).await?;
        let bars = telling::bars(&told.holds, &repairs, &openings, zone);
        let all = form.rows == "all";
        let (rows, hidden, quiet) = rows(world, unit, &told, bars, (all, &axis));
        let timeline = Sketch { rows, wet: wet_runs(told.weather.iter(), &axis) };
        let ahead = if last == today { volts::AHEAD } else { 0 };
        let repaired = repairs.iter().filter(|r| telling::mends_starting(r)).filter_map(|r| r.closed_at);
        Ok(Self {
            axis,
            all,
            today,
            timeline,
            hidden,
            quiet,
            rates: rates_of(world, unit),
            volts: volts_of(world, unit, starts, repaired.max()),
            volts_axis: Axis::year_up_to(last, ahead, zone),
            unit: unit.clone(),
        })
    }

    fn until(&self, day: Day) -> String {
        if day >= self.today { String::new() } else { day.to_string() }
    }

    fn link(&self, last: Day, all: bool) -> String {
        let rows = if all { "all" } else { "" };
        paths::Unit(self.unit.clone()).with(&[("until", &self.until(last)), ("rows", rows)])
    }

    fn csv(&self, what: &str) -> String {
        let rows = if self.all { "all" } else { "" };
        let address = paths::UnitData(self.unit.clone(), format!("{what}.csv"));
        address.with(&[("until", &self.until(self.axis.last)), ("rows", rows)])
    }

    fn sheet(&self, what: &str, world: &World) -> Result<Sheet, Oops> {
        let name = |what: &str| format!("{}-{what}", self.unit.slug());
        match what {
            "timeline.csv" => Ok(self.timeline.sheet(name("timeline"), &self.axis, &world.railway.zone)),
            "rates.csv" => Ok(rates::sheet(&self.rates, name("rates"))),
            "starts.csv" => Ok(self.volts.sheet(name("starts"))),
            _ => Err(Oops::NotFound(
                "A unit's pictures have timeline.csv, rates.csv and starts.csv. Follow the link beneath a picture.".into(),
            )),
        }
    }

    fn view(self, frame: Frame, lines: Vec<Line>, there: &Whereabouts, world: &World) -> View {
        let (unit, zone) = (&self.unit, &world.railway.zone);
        let title = format!("{unit}: occurrences, repairs, holds and wet days");
        let figures = world.figures.as_ref();
        let taken = figures.map(|f| zone.day_in_words(f.as_of));
        let draw = |rates: &[Rate]| {
            let title = format!("{unit}: how often each device operates, beside its class");
            rates::draw(rates, ("rates", &title, self.csv("rates")))
        };
        let trend = self.volts.trend();
        let volts_say = self.volts.answer(trend.as_ref(), zone);
        View {
            frame,
            unit: unit.to_string(),
            facts: facts(unit, there, world),
            links: links(unit, world),
            lines,
            timeline: self.timeline.draw(("timeline", &title, self.csv("timeline")), &self.axis, zone),
            quiet: telling::quiet_devices(self.quiet),
            all_rows: (self.hidden > 0).then(|| self.link(self.axis.last, true)),
            before: self.link(self.axis.first.plus(-1), self.all),
            after: (self.axis.last < self.today).then(|| self.link(self.axis.last.plus(364), self.all)),
            rates: (!self.rates.is_empty()).then(|| draw(&self.rates)),
            rates_say: telling::rates_from(taken),
            volts: (!self.volts.starts.is_empty()).then(|| {
                let title = format!("{unit}: battery volts at its starts");
                let told = (trend.as_ref(), volts_say.as_str());
                self.volts.draw(("volts", &title, self.csv("starts")), told, &self.volts_axis, zone)
            }),
            volts_say,
        }
    }
}

/// Rows to draw, how many more there are, and devices without any mark. The fullest first, the unit itself before all.
fn rows(
    world: &World,
    unit: &UnitName,
    told: &Story,
    mut bars: BTreeMap<Option<Tag>, Vec<Lasted>>,
    (all, axis): (bool, &Axis),
) -> (Vec<Row>, usize, usize) {
    let schedule = world.roster.schedule_at(unit, axis.to);
    let class = world.roster.unit(unit).map(|card| &card.class);
    let scheduled = schedule.into_iter().flat_map(|s| &s.devices).map(|d| d.tag.clone());
    let mut tags: Vec<Tag> =
        scheduled.chain(told.devices.keys().cloned()).chain(bars.keys().flatten().cloned()).collect();
    tags.sort();
    tags.dedup();
    let row = |tag: &Tag| {
        let occurrences = told.devices.get(tag).map(|d| d.occurrences.clone()).unwrap_or_default();
        let label = telling::label(tag, occurrences.len(), schedule);
        let href = class.map(|class| paths::Class(class.to_string()).with(&[("device", tag.as_str())]));
        let bars = bars.remove(&Some(tag.clone())).unwrap_or_default();
        Row { name: tag.to_string(), label, href, occurrences, bars }
    };
    let mut rows: Vec<Row> = tags.iter().map(row).collect();
    let devices = rows.len();
    rows.retain(|row| !(row.occurrences.is_empty() && row.bars.is_empty()));
    let quiet = devices - rows.len();
    // A stable sort: among equals the order of the tags stays.
    rows.sort_by_key(|row| std::cmp::Reverse(row.occurrences.len()));
    let hidden = if all { 0 } else { rows.len().saturating_sub(ROWS) };
    rows.truncate(rows.len() - hidden);
    let own = bars.remove(&None).unwrap_or_default();
    let of_unit = Row { name: "unit".into(), label: "The unit itself".into(), bars: own, ..Row::default() };
    rows.insert(0, of_unit);
    (rows, hidden, quiet)
}

/// Of every device of the class, as the figures in force have them: nothing is read for it.
fn rates_of(world: &World, unit: &UnitName) -> Vec<Rate> {
    let (Some(figures), Some(card)) = (&world.figures, world.roster.unit(unit)) else { return Vec::new() };
    let schedule = world.roster.schedule_at(unit, figures.as_of);
    let days = figures.unit_days.get(unit).copied().unwrap_or(0);
    let of_class = figures.devices.iter().filter(|d| d.class == card.class);
    let rate = |of: &crate::rules::figures::DeviceFigures| Rate {
        tag: of.device.clone(),
        label: told::named(&of.device, schedule),
        n: of.occurrences.get(unit).copied().unwrap_or(0),
        days,
        others: figures.normal(unit, &card.class, &of.device).map(|normal| (normal.others, normal.days)),
    };
    rates::in_order(of_class.map(rate).filter(|r| r.n > 0 || r.others.is_some()).collect())
}

fn volts_of(
    world: &World,
    unit: &UnitName,
    starts: Vec<store::Volts>,
    repaired: Option<Instant>,
) -> volts::Sketch {
    let class = world.roster.unit(unit).map(|card| &card.class);
    let normal = |at: Instant| world.figures.as_ref().and_then(|f| f.cranking_of(class?, at));
    let read = |s: store::Volts| volts::Read {
        at: s.at,
        rest: s.rest,
        cranking: s.cranking,
        class: s.cranking.and_then(|_| normal(s.at)),
    };
    let last = starts.last().map(|s| s.at);
    let schedule = last.and_then(|at| world.roster.schedule_at(unit, at));
    volts::Sketch {
        starts: starts.into_iter().map(read).collect(),
        minimum: schedule.and_then(|s| s.start.cranking_min_v).filter(|v| v.is_finite()),
        repaired,
        at_least: world.thresholds.starts_at_least,
    }
}

fn facts(unit: &UnitName, there: &Whereabouts, world: &World) -> Vec<(&'static str, String)> {
    let zone = &world.railway.zone;
    let Some(card) = world.roster.unit(unit) else { return Vec::new() };
    let mut facts = vec![
        ("Class", card.class.to_string()),
        ("In service since", card.in_service.in_words()),
        ("Home shop", card.home_shop.clone().unwrap_or_else(|| "not written".into())),
        ("Last run went to", telling::last_place(there, zone)),
    ];
    if let Some(held) = there.held {
        facts.push(("Kept from service since", zone.in_words(held)));
    }
    if let Some(days) = world.figures.as_ref().and_then(|f| f.unit_days.get(unit)) {
        facts.push(("Service days in the year of the class figures", days.to_string()));
    }
    facts
}

fn links(unit: &UnitName, world: &World) -> Vec<(String, String)> {
    let mut links = vec![
        (paths::Triage.with(&[("unit", &unit.slug())]), format!("The board for {unit}")),
        (paths::UnitShop(unit.clone()).to_string(), format!("{unit} in the shop")),
        (paths::Measurements(unit.clone()).to_string(), "Measurements".to_owned()),
        (paths::UnitInspections(unit.clone()).to_string(), "Inspections".to_owned()),
        (paths::Records(unit.clone()).to_string(), "All records, each entry of them".to_owned()),
        (paths::Handover(unit.clone()).to_string(), format!("Handover of {unit}")),
    ];
    if let Some(card) = world.roster.unit(unit) {
        links.push((paths::Class(card.class.to_string()).to_string(), format!("Class {}", card.class)));
    }
    links
}
