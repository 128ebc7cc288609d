//! The page, ready to print.
use askama::Template;

use super::{Kept, asked::Asking, groups::groups};
use crate::{
    base::{text::count},
    desk::{
        World,
        thresholds::{PastChange, about},
        trial::{Counted, Trial},
    },
    pages::drawn::{form::Field, rules, watch},
    rules::{
        Forecast, Rule,
        thresholds::{SETTINGS, Setting},
    },
    web::{Frame, Me, paths},
};

/// A trial that takes longer says how long.
const WORTH_SAYING: u64 = 2;

/// What was loaded for the page.
pub(super) struct Sheet {
    /// Lines opened in the last twelve months by the settings in force.
    pub opened: Counted,
    pub past: Vec<PastChange>,
    pub expected: Forecast,
    pub trial: Option<Trial>,
}

#[derive(Template)]
#[template(path = "office/thresholds.html")]
pub(super) struct View {
    frame: Frame,
    action: &'static str,
    on_top: Vec<String>,
    /// Of what the forecast is one.
    fleet: String,
    by_chance: String,
    opened: usize,
    watch: String,
    watch_path: &'static str,
    asked: Option<Box<Tried>>,
    groups: Vec<Section>,
    past: Vec<Past>,
}

/// The settings of one rule.
struct Section {
    title: String,
    /// What it has opened, and what to expect of chance; empty where it opens no lines of its own.
    says: String,
    fields: Vec<Field>,
}

/// What the typed values would do, and the form that signs them.
struct Tried {
    changes: Vec<Changed>,
    rows: Vec<Row>,
    /// That the history was judged only in part, or how long it took.
    note: String,
    refused: Option<String>,
    hidden: Vec<(String, String)>,
    signer: String,
    reason: Field,
    password: Field,
}

struct Changed {
    says: &'static str,
    old: String,
    new: String,
}

struct Row {
    rule: &'static str,
    now: String,
    then: String,
    chance_now: String,
    chance_then: String,
}

struct Past {
    by: String,
    at: String,
    reason: String,
    changes: Vec<Changed>,
}

impl View {
    #[expect(clippy::too_many_arguments, reason = "each is one part of the page, loaded by the caller")]
    pub fn of(
        frame: Frame,
        me: &Me,
        world: &World,
        sheet: &Sheet,
        asking: &Asking,
        new: Option<Forecast>,
        refused: Option<String>,
        kept: Kept,
    ) -> Self {
        let wrong = !asking.problems.is_empty();
        let on_top = kept.on_top.clone();
        let asked = new.map(|new| Box::new(tried(me, sheet, asking, &new, refused, kept)));
        Self {
            frame,
            action: paths::Thresholds::PATTERN,
            on_top,
            fleet: fleet(&sheet.expected),
            by_chance: about(sheet.expected.by_chance()),
            opened: sheet.opened.iter().filter(|(rule, _)| is_statistical(**rule)).map(|(_, n)| n).sum(),
            watch: watch::says(world),
            watch_path: paths::Watch::PATTERN,
            asked: asked.filter(|_| !wrong),
            groups: sections(world, sheet, asking),
            past: sheet.past.iter().map(|change| past(change, world)).collect(),
        }
    }
}

fn is_statistical(rule: Rule) -> bool {
    !rule.is_certain() && !matches!(rule, Rule::Proving | Rule::Held)
}

fn fleet(expected: &Forecast) -> String {
    if expected.assumed {
        "Nothing is known of this fleet yet, so chance lines are reckoned for 1,000 devices that operate once in 90 days."
            .to_owned()
    } else {
        format!("{} devices on units are judged: those whose class has a usable rate.", about(expected.pairs))
    }
}

fn chance(expected: &Forecast, rule: Rule) -> String {
    match expected.of(rule) {
        None => "not reckoned".to_owned(),
        Some(line) if line.at_most => format!("at most {}", about(line.lines)),
        Some(line) => about(line.lines),
    }
}

fn sections(world: &World, sheet: &Sheet, asking: &Asking) -> Vec<Section> {
    let section = |group: super::groups::Group| Section {
        says: group.rule.filter(|rule| is_statistical(*rule)).map_or_else(String::new, |rule| {
            format!(
                "{} opened in the last 12 months. By chance alone: {} a year.",
                count(sheet.opened.get(&rule).copied().unwrap_or(0) as u64, "line", "lines"),
                chance(&sheet.expected, rule)
            )
        }),
        title: group.title,
        fields: group.settings.iter().map(|setting| field(setting, world, asking)).collect(),
    };
    groups().into_iter().map(section).collect()
}

fn field(setting: &Setting, world: &World, asking: &Asking) -> Field {
    let in_force = world.thresholds.get(setting.name).unwrap_or(setting.default);
    let value = asking.typed.get(setting.name).cloned().unwrap_or_else(|| in_force.to_string());
    let hint = format!("In force: {in_force}. Default {}: {}", setting.default, setting.reason);
    let mut letters = setting.says.chars();
    let label: String =
        letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default() + letters.as_str();
    Field::number(setting.name, &label, &value)
        .hint(&hint)
        .says(asking.problems.get(setting.name).cloned())
}

fn tried(
    me: &Me,
    sheet: &Sheet,
    asking: &Asking,
    new: &Forecast,
    refused: Option<String>,
    kept: Kept,
) -> Tried {
    let changes = asking.changes.iter().filter_map(|c| changed(&c.setting, c.old, c.new)).collect();
    let hidden = |change: &crate::desk::body::Change| {
        [
            (change.setting.clone(), change.new.to_string()),
            (format!("old.{}", change.setting), change.old.to_string()),
        ]
    };
    Tried {
        changes,
        rows: rows(sheet, new),
        note: sheet.trial.as_ref().map(note).unwrap_or_default(),
        refused,
        hidden: asking.changes.iter().flat_map(hidden).collect(),
        signer: me.sign_in().to_string(),
        reason: Field::text("reason", "Why", &kept.reason)
            .hint("Whoever wonders about the board in a year reads it here.")
            .says(kept.reason_says),
        password: Field::password("password", "Your password, as your signature").says(kept.password_says),
    }
}

fn changed(name: &str, old: f64, new: f64) -> Option<Changed> {
    let setting = SETTINGS.iter().find(|setting| setting.name == name)?;
    Some(Changed { says: setting.says, old: old.to_string(), new: new.to_string() })
}

/// Rules of which anything is known or to be expected.
fn rows(sheet: &Sheet, new: &Forecast) -> Vec<Row> {
    let counted = |counted: Option<&Counted>, rule: Rule| {
        counted.map_or_else(|| "not judged".to_owned(), |all| all.get(&rule).copied().unwrap_or(0).to_string())
    };
    let trial = sheet.trial.as_ref();
    let row = |rule: Rule| Row {
        rule: rules::name(rule),
        now: counted(Some(trial.map_or(&sheet.opened, |trial| &trial.now)), rule),
        then: counted(trial.map(|trial| &trial.then), rule),
        chance_now: chance(&sheet.expected, rule),
        chance_then: chance(new, rule),
    };
    Rule::ALL.iter().copied().filter(|rule| is_statistical(*rule)).map(row).collect()
}

fn note(trial: &Trial) -> String {
    let seconds = trial.took.as_secs();
    if trial.is_whole() && seconds < WORTH_SAYING {
        return String::new();
    }
    let took = count(seconds.max(1), "second", "seconds");
    if trial.is_whole() {
        format!("Judging the whole history of this book took {took}.")
    } else {
        format!(
            "This book is large: in {took} the history of {} of its {} units was judged, and both columns count the lines of \
             these units only.",
            trial.units, trial.of
        )
    }
}

fn past(change: &PastChange, world: &World) -> Past {
    Past {
        by: change.by.to_string(),
        at: world.railway.zone.in_words(change.at),
        reason: change.reason.clone(),
        changes: change.changes.iter().filter_map(|c| changed(&c.setting, c.old, c.new)).collect(),
    }
}
