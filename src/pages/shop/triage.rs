//! The board: what was written since yesterday, then what the rules say, the certain first.
use std::collections::BTreeSet;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use sqlx::SqliteConnection;

use super::{
    ground,
    inspections::Tracked,
    lines::{self, Eyes, Line, Note},
    looked::{self, Seen},
    narrowed::{Filter, Select, TriageForm, fields, selects},
    pictures_store as store,
};
use crate::{
    base::{Instant, UnitName, text},
    desk::{Board, World},
    pages::drawn::{
        form::Field,
        pager::{Pager, page_of},
        told::{self, EntryLine},
    },
    reports,
    rules::{
        Finding, Rule,
        store::{State as Standing, Wanted},
    },
    web::{Answer, App, Asked, Frame, Me, page, paths},
};

#[derive(Template)]
#[template(path = "shop/triage.html")]
struct View {
    frame: Frame,
    fields: [Field; 2],
    selects: [Select; 4],
    /// Something was asked for that is not known: the counts are of everything, and nothing is listed.
    wrong: bool,
    /// Something is narrowed down: offer the whole board.
    narrowed: bool,
    /// How many entries since yesterday, how many findings: the two parts of the page.
    written: usize,
    open: usize,
    since: String,
    /// As the paper says it.
    stood: String,
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
    new: New,
    /// Inspections overdue or soon due.
    due: Option<Note>,
}

/// So many lines on a page, each with its words, what to test first and where the unit is: more than one sheet of the
/// morning's paper, and what somebody works off before looking again.
const LINES: usize = 30;
/// So many entries since yesterday: a day of forty units.
const ENTRIES: usize = 50;

/// What is new since this person last looked.
#[derive(Default)]
struct New {
    /// `new since 26 Nov 2026 06:10`; nothing to somebody who never said that they looked.
    says: String,
    n: usize,
    /// Only those, or all again.
    link: String,
    /// The lines on this page that they may say they looked at; nothing where there is no new one.
    lines: String,
    back: String,
    action: String,
}

/// One unit's entries since yesterday.
struct UnitDay {
    unit: String,
    path: String,
    entries: Vec<EntryLine>,
    /// The usual, all of it in one quiet line.
    seen: String,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(form): Asked<TriageForm>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let asked = form.read(&world);
    let mut view = View::empty(frame, &form, &asked, &world, now);
    let wrong = view.wrong;
    let filter = if wrong { Filter::default() } else { asked };
    let mut db = app.desk().read().await?;
    let board = app.desk().board(&mut db, now).await?;
    let mut eyes = Eyes::of(&me, &world, now, &board.causes);
    eyes.seen = Seen::of(store::looked(&mut db, me.sign_in()).await?);
    eyes.due = Tracked::load(&mut db, &world, now).await?;
    view.put_findings(&mut db, &filter, &board, &form, &mut eyes).await?;
    view.load_entries(&mut db, &filter, &form, &eyes).await?;
    drop(db);
    view.due = eyes.due.notice().map(|says| Note { path: paths::Inspections.to_string(), says });
    if wrong {
        view.list_nothing();
    }
    page(if wrong { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK }, &view)
}

/// A line, and how it stands if that is known already.
type Standings<'a> = Vec<(Option<Standing>, &'a Finding)>;

/// Ground protection, the certain lines, the reckoned ones. How a certain line stands is asked when it is shown: a large
/// railway has thousands of them.
fn in_order<'a>(
    board: &'a Board,
    (all, many): (&Wanted<'_>, &Wanted<'_>),
    reckoned: Vec<(Standing, &'a Finding)>,
    now: Instant,
) -> Standings<'a> {
    let grounds = Wanted { rules: Some(&ground::RULES), ..all.clone() };
    let pressing = ground::pressing(board.open(&grounds), &board.decisions, now);
    let known = |(standing, finding)| (Some(standing), finding);
    let certain = board.open(many).map(|finding| (None, finding));
    pressing.into_iter().map(known).chain(certain).chain(reckoned.into_iter().map(known)).collect()
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
        Self {
            frame,
            fields: fields(form, asked),
            selects: selects(form, asked, world),
            wrong: asked.is_wrong(),
            narrowed: form.is_narrow(),
            since: world.railway.zone.day_in_words(yesterday(world, now)),
            stood: world.railway.zone.in_words(now),
            written: 0,
            open: 0,
            units: Vec::new(),
            usual: Vec::new(),
            days: Pager::default(),
            lines: Vec::new(),
            notes: Vec::new(),
            pager: Pager::default(),
            aside: String::new(),
            new: New::default(),
            due: None,
        }
    }

    /// What is about ground protection, then what is certain, then what is reckoned.
    async fn put_findings(
        &mut self,
        db: &mut SqliteConnection,
        filter: &Filter,
        board: &Board,
        form: &TriageForm,
        eyes: &mut Eyes<'_>,
    ) -> Result<(), sqlx::Error> {
        let all = filter.wanted();
        // Nothing to do about notes: a number, unless they are asked for.
        let asked = filter.rule.filter(|rule| Rule::NOTES.contains(rule));
        let many = asked.map_or_else(|| Rule::CERTAIN.to_vec(), |rule| vec![rule]);
        let many = Wanted { rules: Some(&many), ..all.clone() };
        let folded = board.reckoned(&all);
        let (now, decisions) = (eyes.now, &board.decisions);
        let state = |f| (decisions.state(f, now), f);
        let open = folded.top.iter().map(state).filter(|(state, _)| *state != Standing::Ended);
        let (aside, reckoned): (Vec<_>, Vec<_>) = open.partition(|(state, _)| *state == Standing::SetAside);
        self.say_aside(aside.len());
        let mut lines = in_order(board, (&all, &many), reckoned, now);
        let is_new = |(_, finding): &(Option<Standing>, &Finding)| eyes.seen.is_new(finding);
        let new = lines.iter().filter(|line| is_new(line)).count();
        if filter.new {
            lines.retain(is_new);
        }
        self.open = lines.len();
        let (range, pager) =
            Pager::by(LINES, self.open, page_of(&form.page), |n| form.link(n, page_of(&form.day)));
        let shown = lines.get(range).unwrap_or_default();
        let units: BTreeSet<UnitName> = shown.iter().filter_map(|(_, f)| f.unit.clone()).collect();
        eyes.places = store::whereabouts(db, &units).await?;
        let eyes = &*eyes;
        let standing =
            |line: &(Option<Standing>, &Finding)| line.0.unwrap_or_else(|| decisions.state(line.1, now));
        self.lines = shown.iter().map(|line| Line::of(line.1, standing(line), &folded.under, eyes)).collect();
        if asked.is_none() {
            let notes = Wanted { rules: Some(&Rule::NOTES), ..all.clone() };
            self.notes = lines::notes(board.open(&notes), |rule| form.with_rule(rule));
        }
        self.pager = pager;
        self.say_new(new, filter, form, eyes);
        Ok(())
    }

    fn say_new(&mut self, new: usize, filter: &Filter, form: &TriageForm, eyes: &Eyes<'_>) {
        let since = eyes.seen.at.map(|at| eyes.world.railway.zone.in_words(at));
        let fresh = since.is_none() || self.lines.iter().any(|line| line.new);
        let keys = self.lines.iter().flat_map(|line| &line.keys).map(String::as_str);
        self.new = New {
            says: since.map(|since| format!("new since {since}")).unwrap_or_default(),
            n: new,
            link: form.with_new(!filter.new),
            lines: if fresh { looked::written(keys) } else { String::new() },
            back: form.link(page_of(&form.page), page_of(&form.day)),
            action: paths::TriageLooked.to_string(),
        };
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
        self.new = New::default();
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
            device: filter.device.as_ref(),
            units: filter.units.as_ref(),
            recorded_since: Some(yesterday(eyes.world, eyes.now)),
            ..Default::default()
        };
        self.written = reports::store::count(db, &since).await?;
        let (range, pager) =
            Pager::by(ENTRIES, self.written, page_of(&form.day), |n| form.link(page_of(&form.page), n));
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
