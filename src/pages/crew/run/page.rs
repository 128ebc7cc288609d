//! My run: which units, the train symbol, from, to; what is written down on each unit so far.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use super::{Run, change, of};
use crate::{
    base::{UnitName, text},
    desk::World,
    pages::{
        crew::{answers::Says, asking::words, store, typed::Typed},
        drawn::form::{Choice, Field},
    },
    web::{Answer, App, Frame, Me, forms::Fields, page, paths, see},
};

/// A longer consist than any railway couples is a slip of the thumb.
const MOST_UNITS: usize = 12;

#[derive(Template)]
#[template(path = "crew/run.html")]
pub struct RunPage {
    pub frame: Frame,
    pub done: bool,
    pub named: String,
    pub summary: Vec<(String, String)>,
    pub fields: RunFields,
    pub lines: Vec<UnitLine>,
    pub action: String,
    /// Where the run is closed; nothing while there is none.
    pub close: Option<String>,
}

/// What is typed of a run.
#[derive(Clone, Debug)]
pub struct RunFields {
    pub units: Field,
    pub occasion: Choice,
    pub symbol: Field,
    pub from: Field,
    pub to: Field,
    pub started: Field,
}

/// One unit of the run, and where its pages are.
#[derive(Clone, Debug)]
pub struct UnitLine {
    pub unit: String,
    /// `leads: 2 entries written down`.
    pub says: String,
    pub write: String,
    pub handover: String,
    pub report: String,
}

pub async fn show(State(app): State<App>, me: Me, frame: Frame, fields: axum::extract::RawQuery) -> Answer {
    let run = of(&app, &me).await?.map(|kept| kept.run).unwrap_or_default();
    let lines = lines(&app, &me, &run).await?;
    let mut view = RunPage::of(frame, &run.in_words(), &run.slip, &Says::new(), lines);
    view.done = fields.0.as_deref() == Some("kept=yes");
    view.named = run.named();
    page(StatusCode::OK, &view)
}

async fn lines(app: &App, me: &Me, run: &Run) -> Result<Vec<UnitLine>, crate::web::Oops> {
    let mut db = app.desk().read().await?;
    let drafts = store::drafts_of(&mut db, me.sign_in()).await?;
    let several = run.units.len() > 1;
    let line = |(n, unit): (usize, &UnitName)| {
        let written = drafts.iter().find(|kept| kept.unit == *unit).map_or(0, |k| k.draft.entries.len());
        let entries = match written {
            _ if !run.awaits(unit) => "its report is signed".to_owned(),
            0 => "nothing written down yet".to_owned(),
            n => format!("{} written down", text::count(n as u64, "entry", "entries")),
        };
        UnitLine {
            unit: unit.to_string(),
            says: if several && n == 0 { format!("leads: {entries}") } else { entries },
            write: paths::Write(unit.clone()).to_string(),
            handover: paths::Handover(unit.clone()).to_string(),
            report: paths::Report(unit.clone()).to_string(),
        }
    };
    Ok(run.units.iter().enumerate().map(line).collect())
}

impl RunPage {
    fn of(frame: Frame, units: &str, slip: &Typed, says: &Says, lines: Vec<UnitLine>) -> Self {
        Self {
            frame,
            done: false,
            named: String::new(),
            summary: says.iter().map(|(name, says)| (name.clone(), says.clone())).collect(),
            fields: RunFields::of(units, slip, says),
            close: (!lines.is_empty()).then(|| paths::RunClose.to_string()),
            lines,
            action: paths::Run.to_string(),
        }
    }
}

impl RunFields {
    pub fn of(units: &str, slip: &Typed, says: &Says) -> Self {
        let say = |name: &str| says.get(name).cloned();
        let text = |name: &str, label: &str| Field::text(name, label, slip.raw(name)).says(say(name));
        let mut occasion = Choice::of("occasion", "What is it?", slip.raw("occasion"), words::OCCASION).few();
        if occasion.value.is_empty() {
            "run".clone_into(&mut occasion.value);
        }
        Self {
            units: Field::text("units", "Units, the leading one first", units)
                .hint("Road numbers, commas between: 412, 431")
                .says(say("units")),
            occasion,
            symbol: text("run.symbol", "Train symbol"),
            from: text("run.from", "From"),
            to: text("run.to", "To"),
            started: Field::time("run.started", "Run started", slip.raw("run.started"))
                .says(say("run.started")),
        }
    }
}

pub async fn keep(State(app): State<App>, me: Me, frame: Frame, Fields(fields): Fields) -> Answer {
    let mut typed: Typed = fields.into_iter().collect();
    let named = typed.remove("units").unwrap_or_default();
    // Signed on a tablet without network, before the run was known here.
    let signed = check(&app.world(), &typed.remove("signed").unwrap_or_default(), &Typed::default()).0;
    let (units, says) = check(&app.world(), &named, &typed);
    if !says.is_empty() {
        let run = of(&app, &me).await?.map(|kept| kept.run).unwrap_or_default();
        let lines = lines(&app, &me, &run).await?;
        let view = RunPage::of(frame, &named, &typed, &says, lines);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
    }
    let now = app.now();
    change(&app, me.sign_in(), now, move |run| {
        let mut run = run.unwrap_or_default();
        let fresh: Vec<_> = units.iter().filter(|unit| !run.has(unit)).cloned().collect();
        run.since.extend(fresh.into_iter().map(|unit| (unit, now)));
        run.signed.extend(signed);
        run.signed.retain(|signed| units.contains(signed));
        run.units = units;
        run.learn(&typed);
        Some(run)
    })
    .await?;
    see(&paths::Run.with(&[("kept", "yes")]))
}

/// The units that were named, each once, and what is wrong.
fn check(world: &World, named: &str, typed: &Typed) -> (Vec<UnitName>, Says) {
    let mut says = Says::new();
    let mut units: Vec<UnitName> = Vec::new();
    for word in named.split([',', ';', '\n']).map(str::trim).filter(|word| !word.is_empty()) {
        match unit(world, word) {
            Some(unit) if units.contains(&unit) => {}
            Some(unit) => units.push(unit),
            None => {
                let sentence = format!("{word} is no road number. Write them with commas between: 412, 431.");
                says.entry("units".to_owned()).or_insert(sentence);
            }
        }
    }
    if units.is_empty() {
        says.entry("units".to_owned()).or_insert_with(|| "Write at least one road number.".to_owned());
    }
    if units.len() > MOST_UNITS {
        let sentence = format!("These are {} units; one run takes {MOST_UNITS} at most.", units.len());
        says.entry("units".to_owned()).or_insert(sentence);
    }
    let started = typed.stated("run.started");
    if started.is_some_and(|text| world.railway.zone.parse_local(&text).is_none()) {
        let sentence = "Set a date and a time, like 2026-03-03T05:14, or leave it empty.";
        says.insert("run.started".to_owned(), sentence.to_owned());
    }
    (units, says)
}

/// A road number alone is one of the railway's own mark.
fn unit(world: &World, word: &str) -> Option<UnitName> {
    if word.bytes().all(|b| b.is_ascii_digit()) {
        return UnitName::tidy(&format!("{} {word}", world.railway.mark));
    }
    UnitName::tidy(word)
}
