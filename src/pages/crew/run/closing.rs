//! The end of a run, ready to print: each unit with what was written down and what is still open, and one signature.
use std::collections::BTreeSet;

use askama::Template;
use serde_json::Value;

use super::Run;
use crate::{
    base::UnitName,
    pages::{
        crew::{
            answers::Says, draft, entry_line::EntryLine, slip::SlipView, typed::Typed, unit_of::UnitHere,
            wrong::Wrong,
        },
        drawn::form::{Choice, Field},
    },
    web::{Frame, paths},
};

/// One unit of a run that is being closed.
pub struct Closing {
    pub here: UnitHere,
    pub kept: draft::Kept,
    /// The report's own answers: the draft's, the run's, and what was typed on this page.
    pub slip: Typed,
    /// Every entry of the draft in the contract's JSON, as it happened; those sent at once are in the book already.
    pub entries: Vec<(Value, bool)>,
    pub open_cutouts: BTreeSet<String>,
    pub still_open: Vec<String>,
}

impl Closing {
    pub fn unit(&self) -> &UnitName {
        &self.here.unit
    }

    pub fn all(&self) -> Vec<Value> {
        self.entries.iter().map(|(json, _)| json.clone()).collect()
    }

    pub fn unsent(&self) -> Vec<Value> {
        self.entries.iter().filter(|(_, sent)| !sent).map(|(json, _)| json.clone()).collect()
    }
}

#[derive(Template)]
#[template(path = "crew/close.html")]
pub struct ClosePage {
    pub frame: Frame,
    pub named: String,
    pub problems: Vec<String>,
    /// Field and sentence of each problem below.
    pub summary: Vec<(String, String)>,
    pub asked: Vec<String>,
    pub first: Vec<(String, String)>,
    pub units: Vec<UnitView>,
    /// Something is open on one of them.
    pub open: bool,
    /// What is said once for all.
    pub slip: SlipView,
    pub hidden: Vec<(String, String)>,
    pub action: String,
    pub back: String,
}

pub struct UnitView {
    pub unit: String,
    pub lines: Vec<EntryLine>,
    pub says: Vec<String>,
    pub still_open: Vec<String>,
    pub slip: SlipView,
    pub position: Option<Choice>,
    pub remarks: Field,
    pub write: String,
    pub report: String,
}

/// What kept the run from being closed: of the whole, and of each unit by its slug.
#[derive(Default)]
pub struct NotYet {
    pub whole: Wrong,
    pub of_units: Vec<(String, Wrong)>,
}

impl NotYet {
    pub fn of(whole: Wrong) -> Self {
        Self { whole, of_units: Vec::new() }
    }

    fn unit(&self, slug: &str) -> Option<&Wrong> {
        self.of_units.iter().find(|(unit, _)| unit == slug).map(|(_, wrong)| wrong)
    }
}

impl ClosePage {
    /// `None`: there is nothing to close.
    pub fn of(frame: Frame, run: &Run, units: &[Closing], shared: &Typed, not_yet: &NotYet) -> Option<Self> {
        let first = units.first()?;
        let several = units.len() > 1;
        let views: Vec<UnitView> = units.iter().map(|unit| view(unit, several, not_yet)).collect();
        let of_units = || not_yet.of_units.iter();
        let mut says = not_yet.whole.says.clone();
        for (slug, wrong) in of_units() {
            says.extend(wrong.says.iter().map(|(name, says)| (named(slug, name), says.clone())));
        }
        let whole = not_yet.whole.whole.iter().cloned();
        let of_each = of_units().flat_map(|(_, wrong)| wrong.whole.clone());
        let mut problems: Vec<String> = whole.chain(of_each).collect();
        problems.dedup();
        Some(Self {
            frame,
            named: run.named(),
            problems,
            summary: says.iter().map(|(name, says)| (name.clone(), says.clone())).collect(),
            asked: of_units().flat_map(|(_, wrong)| wrong.asked.clone()).collect(),
            first: of_units().flat_map(|(_, wrong)| wrong.first.clone()).collect(),
            open: units.iter().any(|unit| !unit.still_open.is_empty()),
            slip: SlipView::of(&first.here, shared, &says),
            hidden: units.iter().flat_map(hidden).collect(),
            units: views,
            action: paths::RunClose.to_string(),
            back: paths::Run.to_string(),
        })
    }
}

/// What is typed once for all stands under its own name, the rest under the unit's.
fn named(slug: &str, name: &str) -> String {
    if Run::SHARED.contains(&name) || name == "password" { name.to_owned() } else { format!("{slug}.{name}") }
}

fn hidden(unit: &Closing) -> [(String, String); 2] {
    let slug = unit.unit().slug();
    [
        (format!("{slug}.draft"), unit.kept.id.to_string()),
        (format!("{slug}.version"), unit.kept.version.to_string()),
    ]
}

fn view(unit: &Closing, several: bool, not_yet: &NotYet) -> UnitView {
    let slug = unit.unit().slug();
    let wrong = not_yet.unit(&slug);
    let none = Says::new();
    let zone = &unit.here.world.railway.zone;
    let line = |json: &Value| EntryLine::of(json, unit.here.schedule(), zone);
    let slip =
        SlipView::of(&unit.here, &unit.slip, wrong.map_or(&none, |wrong| &wrong.says)).under(unit.unit());
    let remarks = Field { name: format!("{slug}.remarks"), ..slip.remarks.clone() };
    UnitView {
        unit: unit.unit().to_string(),
        lines: unit.entries.iter().map(|(json, _)| line(json)).collect(),
        says: wrong.into_iter().flat_map(|wrong| &wrong.entries).map(|(_, says)| says.clone()).collect(),
        still_open: unit.still_open.clone(),
        position: several.then(|| slip.position.clone()),
        remarks,
        slip,
        write: paths::Write(unit.unit().clone()).to_string(),
        report: paths::Report(unit.unit().clone()).to_string(),
    }
}
