//! The board: what was written since yesterday, then what the rules say, the certain first.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use crate::{
    base::{ClassName, Instant, UnitName, text},
    desk::World,
    pages::drawn::{
        form::Field,
        pager::{Pager, page_of},
        rules,
        told::{self, EntryLine},
    },
    reports,
    rules::{
        Finding, Rule,
        store::{self, Decisions, State as Standing, Wanted},
    },
    web::{Answer, App, Asked, Frame, page, paths},
};

#[derive(Template)]
#[template(path = "shop/triage.html")]
struct View {
    frame: Frame,
    unit: Field,
    classes: Vec<Pick>,
    rules: Vec<Pick>,
    /// Something is narrowed down: offer the whole board.
    narrowed: bool,
    /// How many entries since yesterday, how many findings: the two parts of the page.
    written: usize,
    open: usize,
    since: String,
    units: Vec<UnitDay>,
    days: Pager,
    lines: Vec<Line>,
    pager: Pager,
    /// How many lines somebody set aside; they are not shown.
    aside: String,
}

struct Pick {
    value: String,
    text: String,
    chosen: bool,
}

/// One unit's entries since yesterday.
struct UnitDay {
    unit: String,
    path: String,
    entries: Vec<EntryLine>,
    /// The usual, all of it in one quiet line.
    seen: String,
}

struct Line {
    path: String,
    certain: bool,
    unit: String,
    device: String,
    rule: &'static str,
    sentence: String,
    since: String,
    rank: String,
    state: Option<&'static str>,
}

#[derive(Deserialize, Default)]
pub struct TriageForm {
    #[serde(default)]
    unit: String,
    #[serde(default)]
    class: String,
    #[serde(default)]
    rule: String,
    #[serde(default)]
    page: String,
    #[serde(default)]
    day: String,
}

/// What the address asks for, once it is read; a unit that is none is a sentence beside its field.
struct Filter {
    unit: Option<UnitName>,
    class: Option<ClassName>,
    rule: Option<Rule>,
}

impl TriageForm {
    fn check(&self) -> Result<Filter, String> {
        let unit = match self.unit.trim() {
            "" => None,
            typed => Some(UnitName::tidy(typed).ok_or("Give mark and road number, as in QHB 412.")?),
        };
        let class = Some(self.class.as_str()).filter(|c| !c.is_empty()).map(ClassName::from);
        Ok(Filter { unit, class, rule: Rule::parse(&self.rule) })
    }

    fn link(&self, page: usize, day: usize) -> String {
        let number = |n: usize| if n == 1 { String::new() } else { n.to_string() };
        let (page, day) = (number(page), number(day));
        paths::Triage.with(&[
            ("unit", &self.unit),
            ("class", &self.class),
            ("rule", &self.rule),
            ("page", &page),
            ("day", &day),
        ])
    }
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<TriageForm>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut view = View::empty(frame, &form, &world, now);
    let filter = match form.check() {
        Ok(filter) => filter,
        Err(says) => {
            view.unit.says = Some(says);
            return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
        }
    };
    let mut db = app.desk().read().await?;
    let wanted = Wanted {
        unit: filter.unit.as_ref(),
        class: filter.class.as_ref().map(ClassName::as_str),
        rule: filter.rule,
        ground_protection: Some(false),
    };
    let found = store::open_at(&mut db, &wanted, now).await?;
    let decisions = store::decisions(&mut db, now).await?;
    let since = reports::store::Wanted {
        unit: filter.unit.as_ref(),
        recorded_since: Some(yesterday(&world, now)),
        ..Default::default()
    };
    let entries = reports::store::entries(&mut db, &since).await?;
    drop(db);
    view.put_findings(found, &decisions, &form, &world, now);
    let of_class = |row: &reports::store::EntryRow| {
        filter.class.as_ref().is_none_or(|c| row.class.as_deref() == Some(c.as_str()))
    };
    view.put_entries(
        entries.iter().filter(|row| of_class(row)).map(|row| EntryLine::of(row, &world)).collect(),
        &form,
    );
    page(StatusCode::OK, &view)
}

/// The beginning of yesterday, where the railway is.
fn yesterday(world: &World, now: Instant) -> Instant {
    let zone = &world.railway.zone;
    zone.start_of(zone.day_of(now).plus(-1))
}

impl View {
    fn empty(frame: Frame, form: &TriageForm, world: &World, now: Instant) -> Self {
        let class = |name: &ClassName| Pick {
            value: name.to_string(),
            text: name.to_string(),
            chosen: name.as_str() == form.class,
        };
        let of_equipment = Rule::ALL.iter().filter(|rule| !rule.is_ground_protection());
        let rule = |rule: &Rule| Pick {
            value: rule.to_string(),
            text: rules::name(*rule).into(),
            chosen: rule.as_str() == form.rule,
        };
        Self {
            frame,
            unit: Field { input: "search", ..Field::text("unit", "Unit", &form.unit) },
            classes: world.roster.classes.keys().map(class).collect(),
            rules: of_equipment.map(rule).collect(),
            narrowed: !(form.unit.is_empty() && form.class.is_empty() && form.rule.is_empty()),
            since: world.railway.zone.day_in_words(yesterday(world, now)),
            written: 0,
            open: 0,
            units: Vec::new(),
            days: Pager::default(),
            lines: Vec::new(),
            pager: Pager::default(),
            aside: String::new(),
        }
    }

    fn put_findings(
        &mut self,
        found: Vec<Finding>,
        decisions: &Decisions,
        form: &TriageForm,
        world: &World,
        now: Instant,
    ) {
        let with_state = found.into_iter().map(|f| (decisions.state(&f, now), f));
        let (aside, shown): (Vec<_>, Vec<_>) =
            with_state.partition(|(state, _)| *state == Standing::SetAside);
        if !aside.is_empty() {
            self.aside = text::count(
                aside.len() as u64,
                "line is set aside and not shown",
                "lines are set aside and not shown",
            );
        }
        self.open = shown.len();
        let (shown, pager) = Pager::cut(shown, page_of(&form.page), |n| form.link(n, page_of(&form.day)));
        self.lines = shown.into_iter().map(|(state, finding)| line(&finding, state, world)).collect();
        self.pager = pager;
    }

    /// Grouped by unit; the unit written about last comes first.
    fn put_entries(&mut self, entries: Vec<EntryLine>, form: &TriageForm) {
        self.written = entries.len();
        let (shown, pager) = Pager::cut(entries, page_of(&form.day), |n| form.link(page_of(&form.page), n));
        for entry in shown {
            match self.units.iter_mut().find(|day| day.unit == entry.unit) {
                Some(day) => day.entries.push(entry),
                None => {
                    let (unit, path) = (entry.unit.clone(), entry.unit_path.clone());
                    self.units.push(UnitDay { unit, path, entries: vec![entry], seen: String::new() });
                }
            }
        }
        for day in &mut self.units {
            let (telling, usual) = told::fold(std::mem::take(&mut day.entries));
            (day.entries, day.seen) = (telling, usual.join(" "));
        }
        // Units of which only the usual was seen come last; the order within both parts stays.
        self.units.sort_by_key(|day| day.entries.is_empty());
        self.days = pager;
    }
}

fn line(finding: &Finding, state: Standing, world: &World) -> Line {
    let schedule = finding.unit.as_ref().and_then(|unit| world.roster.schedule_at(unit, finding.since));
    Line {
        path: paths::Finding(finding.key.clone()).to_string(),
        certain: finding.rank.is_none(),
        unit: finding.unit.as_ref().map_or_else(|| several(finding), ToString::to_string),
        device: finding.device.as_ref().map(|tag| told::named(tag, schedule)).unwrap_or_default(),
        rule: rules::name(finding.rule),
        sentence: finding.sentence.clone(),
        since: world.railway.zone.in_words(finding.since),
        rank: finding.rank.map(|rank| format!("{rank:.1}")).unwrap_or_default(),
        state: (state == Standing::InRepair).then_some("in repair"),
    }
}

fn several(finding: &Finding) -> String {
    let units: Vec<_> = finding.units.iter().map(ToString::to_string).collect();
    if units.is_empty() {
        finding.class.as_ref().map_or_else(String::new, |c| format!("class {c}"))
    } else {
        units.join(", ")
    }
}
