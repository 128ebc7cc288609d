//! The board: what was written since yesterday, then what the rules say, the certain first.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{
    ground, inspections,
    lines::{self, Eyes, Line, Note},
};
use crate::{
    base::{ClassName, Instant, text},
    desk::{Board, World},
    pages::drawn::{
        form::Field,
        pager::{Pager, page_of},
        rules,
        told::{self, EntryLine},
    },
    reports,
    rules::{
        Rule,
        store::{State as Standing, Wanted},
    },
    web::{Answer, App, Asked, Frame, Me, naming, page, paths},
};

#[derive(Template)]
#[template(path = "shop/triage.html")]
struct View {
    frame: Frame,
    unit: Field,
    classes: Vec<Pick>,
    class_says: Option<String>,
    rules: Vec<Pick>,
    rule_says: Option<String>,
    /// Something was asked for that is not known: the counts are of everything, and nothing is listed.
    wrong: bool,
    /// Something is narrowed down: offer the whole board.
    narrowed: bool,
    /// How many entries since yesterday, how many findings: the two parts of the page.
    written: usize,
    open: usize,
    since: String,
    units: Vec<UnitDay>,
    /// Those of which only the usual was seen.
    usual: Vec<UnitDay>,
    days: Pager,
    lines: Vec<Line>,
    pager: Pager,
    /// Repairs on trial and the like: nothing to do, good to know.
    notes: Vec<Note>,
    /// How many lines somebody set aside; they are not shown.
    aside: String,
    /// Inspections overdue or soon due.
    due: Option<Note>,
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

/// What the address asks for, once it is read; what is not known is a sentence beside its field.
#[derive(Default)]
struct Filter {
    unit: naming::NamedUnit,
    class: Option<ClassName>,
    class_says: Option<String>,
    rule: Option<Rule>,
    rule_says: Option<String>,
}

impl Filter {
    fn is_wrong(&self) -> bool {
        let no_unit = self.unit.unit.is_none() && self.unit.says.is_some();
        no_unit || self.class_says.is_some() || self.rule_says.is_some()
    }
}

/// The rules that have lines on this board.
fn on_the_board(rule: Rule) -> bool {
    !rule.is_ground_protection() || ground::is_shown(rule)
}

impl TriageForm {
    fn read(&self, world: &World) -> Filter {
        let mut filter = Filter { unit: naming::unit(&self.unit, world), ..Filter::default() };
        let class = Some(self.class.trim()).filter(|c| !c.is_empty()).map(ClassName::from);
        match class {
            Some(class) if !world.roster.classes.contains_key(&class) => {
                filter.class_says = Some("There is no such class. Choose one of the list.".into());
            }
            known => filter.class = known,
        }
        match Rule::parse(&self.rule).filter(|rule| on_the_board(*rule)) {
            None if !self.rule.is_empty() => {
                filter.rule_says =
                    Some("No such rule has lines on this board. Choose one of the list.".into());
            }
            known => filter.rule = known,
        }
        filter
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

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(form): Asked<TriageForm>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let asked = form.read(&world);
    let mut view = View::empty(frame, &form, &asked, &world, now);
    let wrong = view.wrong;
    let filter = if wrong { Filter::default() } else { asked };
    let mut db = app.desk().read().await?;
    let board = app.desk().board(&mut db, now).await?;
    let eyes = Eyes::of(&me, &world, now, &board.causes);
    view.put_findings(&filter, &board, &form, &eyes);
    view.load_entries(&mut db, &filter, &form, &eyes).await?;
    view.due = inspections::notice(&mut db, &world, now)
        .await?
        .map(|says| Note { path: paths::Inspections.to_string(), says });
    drop(db);
    if wrong {
        view.list_nothing();
    }
    page(if wrong { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK }, &view)
}

fn as_sql(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

/// The beginning of yesterday, where the railway is.
fn yesterday(world: &World, now: Instant) -> Instant {
    let zone = &world.railway.zone;
    zone.start_of(zone.day_of(now).plus(-1))
}

impl View {
    fn empty(frame: Frame, form: &TriageForm, asked: &Filter, world: &World, now: Instant) -> Self {
        let class = |name: &ClassName| Pick {
            value: name.to_string(),
            text: name.to_string(),
            chosen: name.as_str() == form.class,
        };
        let of_equipment = Rule::ALL.iter().filter(|rule| !rule.is_ground_protection());
        let all = ground::RULES.iter().chain(of_equipment);
        let rule = |rule: &Rule| Pick {
            value: rule.to_string(),
            text: rules::name(*rule).into(),
            chosen: rule.as_str() == form.rule,
        };
        Self {
            frame,
            unit: Field {
                input: "search",
                ..Field::text("unit", "Unit", &form.unit).says(asked.unit.says.clone())
            },
            classes: world.roster.classes.keys().map(class).collect(),
            class_says: asked.class_says.clone(),
            rules: all.map(rule).collect(),
            rule_says: asked.rule_says.clone(),
            wrong: asked.is_wrong(),
            narrowed: !(form.unit.is_empty() && form.class.is_empty() && form.rule.is_empty()),
            since: world.railway.zone.day_in_words(yesterday(world, now)),
            written: 0,
            open: 0,
            units: Vec::new(),
            usual: Vec::new(),
            days: Pager::default(),
            lines: Vec::new(),
            notes: Vec::new(),
            pager: Pager::default(),
            aside: String::new(),
            due: None,
        }
    }

    /// What is about ground protection, then what is certain, then what is reckoned.
    fn put_findings(&mut self, filter: &Filter, board: &Board, form: &TriageForm, eyes: &Eyes<'_>) {
        let all = Wanted {
            unit: filter.unit.unit.as_ref(),
            class: filter.class.as_ref().map(ClassName::as_str),
            rule: filter.rule,
            ..Wanted::default()
        };
        // Nothing to do about notes: a number, unless they are asked for.
        let asked = filter.rule.filter(|rule| Rule::NOTES.contains(rule));
        let many = asked.map_or_else(|| Rule::CERTAIN.to_vec(), |rule| vec![rule]);
        let many = Wanted { rules: Some(&many), ..all.clone() };
        let folded = board.reckoned(&all);
        let state = |f| (board.decisions.state(f, eyes.now), f);
        let open = folded.top.iter().map(state).filter(|(state, _)| *state != Standing::Ended);
        let (aside, reckoned): (Vec<_>, Vec<_>) = open.partition(|(state, _)| *state == Standing::SetAside);
        self.say_aside(aside.len());
        let ground = ground::pressing(board.open(&all), &board.decisions, eyes.now);
        let lines: Vec<_> = ground.into_iter().chain(board.open(&many).map(state)).chain(reckoned).collect();
        self.open = lines.len();
        let (range, pager) = Pager::of(self.open, page_of(&form.page), |n| form.link(n, page_of(&form.day)));
        let shown = lines.get(range).unwrap_or_default().iter();
        self.lines = shown.map(|(state, finding)| Line::of(finding, *state, &folded.under, eyes)).collect();
        if asked.is_none() {
            let notes = Wanted { rules: Some(&Rule::NOTES), ..all.clone() };
            self.notes = lines::notes(board.open(&notes), &form.unit, &form.class);
        }
        self.pager = pager;
    }

    fn say_aside(&mut self, lines: usize) {
        if lines > 0 {
            let (one, many) = ("line is set aside and not shown", "lines are set aside and not shown");
            self.aside = text::count(lines as u64, one, many);
        }
    }

    /// A list of everything would pass for what was asked for.
    fn list_nothing(&mut self) {
        (self.lines, self.units, self.usual) = (Vec::new(), Vec::new(), Vec::new());
        self.notes = Vec::new();
        (self.pager, self.days, self.aside) = (Pager::default(), Pager::default(), String::new());
    }

    /// Grouped by unit; the unit written about last comes first. Only what is shown is read: a large railway writes
    /// thousands of entries a day.
    async fn load_entries(
        &mut self,
        db: &mut SqliteConnection,
        filter: &Filter,
        form: &TriageForm,
        eyes: &Eyes<'_>,
    ) -> Result<(), sqlx::Error> {
        let since = reports::store::Wanted {
            unit: filter.unit.unit.as_ref(),
            class: filter.class.as_ref(),
            recorded_since: Some(yesterday(eyes.world, eyes.now)),
            ..Default::default()
        };
        self.written = reports::store::count(db, &since).await?;
        let (range, pager) =
            Pager::of(self.written, page_of(&form.day), |n| form.link(page_of(&form.page), n));
        let part =
            reports::store::Wanted { limit: Some(as_sql(range.len())), after: as_sql(range.start), ..since };
        let rows = reports::store::entries(db, &part).await?;
        self.put_entries(rows.iter().map(|row| EntryLine::of(row, eyes.world)).collect());
        self.days = pager;
        Ok(())
    }

    fn put_entries(&mut self, entries: Vec<EntryLine>) {
        for entry in entries {
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
        // Units of which only the usual was seen come last, a line each; the order within both parts stays.
        let all = std::mem::take(&mut self.units);
        (self.usual, self.units) = all.into_iter().partition(|day| day.entries.is_empty());
    }
}
