//! One finding: its sentence, the rule spelled out, its figures, the entries it rests on.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use sqlx::SqliteConnection;

use super::{
    finding_acts::Acts,
    finding_picture::{Picture, Shown as Pictures},
    lines,
    reckoned::{four, reckoned},
};
use crate::{
    base::{Instant, instant::DAY, text},
    desk::World,
    oversight,
    pages::drawn::{rules, told, told::EntryLine},
    people::Act,
    reports::{self, Entry, stored},
    rules::{
        Finding, Rule, Thresholds,
        explained::{explained_by, take_over_ranks},
        store,
        store::{State as Standing, Wanted},
        thresholds::SETTINGS,
    },
    shop::store::causes,
    web::{Answer, App, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "shop/finding.html")]
struct View {
    frame: Frame,
    unit: String,
    device: String,
    name: &'static str,
    spelled: &'static str,
    /// The railway goes by other settings than those the words name, in its own words.
    otherwise: Vec<String>,
    sentence: String,
    state: &'static str,
    /// A beginning, from what repairs found before and from what the line rests on.
    test_first: Vec<String>,
    since: String,
    until: Option<String>,
    certain: bool,
    rank: String,
    severity: String,
    figures: Vec<Figure>,
    /// How score, luck and weight come about, to be checked with a pencil.
    reckoned: Vec<String>,
    pictures: Option<Pictures>,
    entries: Vec<EntryLine>,
    /// Only the latest are shown.
    more: String,
    /// The board, the handover, the unit and its class.
    links: Vec<(String, String)>,
    acts: Acts,
}

struct Figure {
    name: String,
    value: String,
}

/// So many entries are shown, the latest: a line about a class may rest on thousands.
const ENTRIES: i64 = 100;

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(key): Path<String>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let finding = wanted(&mut db, &world, &me, &key, now).await?;
    let state = store::decisions(&mut db, finding.unit.as_ref(), now).await?.state(&finding, now);
    let rests_on = rests_on(&finding);
    let all = reports::store::count(&mut db, &rests_on).await?;
    let latest = reports::store::Wanted { limit: Some(ENTRIES), ..rests_on };
    let entries = reports::store::entries(&mut db, &latest).await?;
    let causes = causes(&mut db, &world.roster, now).await?;
    let picture = Picture::read(&mut db, &world, &finding, now).await?;
    let acts = Acts::of(&mut db, &finding, &me, &world, now).await?;
    drop(db);
    let told: Vec<Entry> = entries.iter().filter_map(|row| stored::entry(&row.detail).ok()).collect();
    let shown = Shown {
        state,
        test_first: lines::begin_with(&finding, &told, &causes),
        pictures: picture.map(|picture| picture.draw(&world)),
        more: if all > entries.len() {
            format!("The latest {} of {all}.", entries.len())
        } else {
            String::new()
        },
        entries: entries.iter().map(|row| EntryLine::of(row, &world)).collect(),
        acts,
    };
    page(StatusCode::OK, &view(frame, &finding, shown, &world))
}

/// `/findings/…/data/timeline.csv` and its like.
pub async fn data(State(app): State<App>, me: Me, Path((key, what)): Path<(String, String)>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let finding = wanted(&mut db, &world, &me, &key, now).await?;
    let picture = Picture::read(&mut db, &world, &finding, now).await?;
    drop(db);
    let picture =
        picture.ok_or_else(|| Oops::NotFound("A line about no single unit has no picture.".into()))?;
    picture.sheet(&what, &world)?.answer()
}

/// The line of that key, if this person may read it.
async fn wanted(
    db: &mut SqliteConnection,
    world: &World,
    me: &Me,
    key: &str,
    now: Instant,
) -> Result<Finding, Oops> {
    let finding = match store::by_key(db, key).await? {
        None if me.may(Act::ReadBypasses) => joined(db, world, key, now).await?,
        found => found,
    };
    let mut finding = finding.ok_or_else(|| Oops::NotFound(GONE.into()))?;
    if finding.rule == Rule::SharedCause {
        // What it weighs on the board.
        let mut open = store::open_at(db, &Wanted::default(), now).await?;
        let explained = explained_by(&open);
        take_over_ranks(&mut open, &explained);
        finding = open.into_iter().find(|f| f.key == finding.key).unwrap_or(finding);
    }
    if finding.rule.is_ground_protection() {
        // It may name people, and only the register does that.
        me.permit(Act::ReadBypasses)?;
    }
    Ok(finding)
}

/// A line about a whole class names no entries one by one: it rests on all operations of that device in the year before.
fn rests_on(finding: &Finding) -> reports::store::Wanted<'_> {
    match (&finding.device, finding.figures.get("as_of").and_then(serde_json::Value::as_i64)) {
        (Some(device), Some(as_of)) => reports::store::Wanted {
            operations: Some((&finding.units, device)),
            happened_since: Some(Instant(as_of).minus(365 * DAY)),
            happened_by: Some(Instant(as_of)),
            ..Default::default()
        },
        _ => reports::store::Wanted { ids: Some(&finding.entries), ..Default::default() },
    }
}

/// One that no row holds.
async fn joined(
    db: &mut SqliteConnection,
    world: &World,
    key: &str,
    now: Instant,
) -> Result<Option<Finding>, Oops> {
    let register = oversight::store::register(db, now).await?;
    Ok(oversight::joined(&world.ground(), &register, now).into_iter().find(|finding| finding.key == key))
}

const GONE: &str =
    "There is no such line any more: what was written since may have answered it. Look at the board again.";

/// What is joined to a finding when it is read.
struct Shown {
    state: Standing,
    test_first: Vec<String>,
    pictures: Option<Pictures>,
    entries: Vec<EntryLine>,
    more: String,
    acts: Acts,
}

fn view(frame: Frame, finding: &Finding, shown: Shown, world: &World) -> View {
    let zone = &world.railway.zone;
    let unit = finding.unit.as_ref();
    let schedule = unit.and_then(|unit| world.roster.schedule_at(unit, finding.since));
    View {
        frame,
        unit: match (unit, &finding.class) {
            (Some(unit), _) => unit.to_string(),
            (None, Some(class)) => format!("class {class}"),
            (None, None) => String::new(),
        },
        device: finding.device.as_ref().map(|tag| told::named(tag, schedule)).unwrap_or_default(),
        name: rules::name(finding.rule),
        spelled: rules::spelled(finding.rule),
        otherwise: if finding.rank.is_some() { set_otherwise(&world.thresholds) } else { Vec::new() },
        sentence: finding.sentence.clone(),
        state: state_says(shown.state),
        test_first: shown.test_first,
        acts: shown.acts,
        since: zone.in_words(finding.since),
        until: finding.until.map(|until| zone.in_words(until)),
        certain: finding.rank.is_none(),
        rank: finding.rank.map(text::tenths).unwrap_or_default(),
        severity: finding.severity.to_string(),
        reckoned: reckoned(finding, &world.thresholds),
        pictures: shown.pictures,
        figures: finding
            .figures
            .iter()
            .filter(|(name, _)| *name != "as_of")
            .map(|(n, v)| figure(n, v))
            .collect(),
        entries: shown.entries,
        more: shown.more,
        links: links(finding, world),
    }
}

fn links(finding: &Finding, world: &World) -> Vec<(String, String)> {
    let mut links = match &finding.unit {
        None => vec![(paths::Triage.to_string(), "The board".to_owned())],
        Some(unit) => vec![
            (paths::Triage.with(&[("unit", &unit.slug())]), format!("The board for {unit}")),
            (paths::Handover(unit.clone()).to_string(), format!("Handover of {unit}")),
        ],
    };
    if let Some(unit) = finding.unit.as_ref().filter(|unit| world.roster.unit(unit).is_some()) {
        links.push((paths::Unit(unit.clone()).to_string(), format!("Unit {unit}")));
    }
    if let Some(class) = finding.class.as_ref().filter(|class| world.roster.classes.contains_key(*class)) {
        let scheduled = world.roster.classes.get(class).and_then(|of| of.at(finding.since));
        let known = finding.device.as_ref().filter(|tag| scheduled.is_some_and(|s| s.device(tag).is_some()));
        let device = known.map_or("", |tag| tag.as_str());
        let says =
            if device.is_empty() { format!("Class {class}") } else { format!("{device} in class {class}") };
        links.push((paths::Class(class.to_string()).with(&[("device", device)]), says));
    }
    links
}

/// Every setting that is not at its default.
fn set_otherwise(set: &Thresholds) -> Vec<String> {
    let other = SETTINGS.iter().filter_map(|setting| {
        let value = set.get(setting.name)?;
        let differs = value.to_bits() != setting.default.to_bits();
        differs.then(|| format!("{}: {value} instead of {}", setting.says, setting.default))
    });
    other.collect()
}

pub fn state_says(state: Standing) -> &'static str {
    match state {
        Standing::Open => "open",
        Standing::SetAside => "set aside",
        Standing::InRepair => "in repair",
        Standing::Proving => "repair on trial",
        Standing::Reviewed => "reviewed",
        Standing::Ended => "ended",
    }
}

/// A rule's figures by the names it gave them; numbers to four figures.
fn figure(name: &str, value: &serde_json::Value) -> Figure {
    let value = match value {
        serde_json::Value::Number(n) if name == "rate_per_day" => {
            let rate = n.as_f64().unwrap_or(0.0);
            format!("{}, that is one in {:.0} service days", four(rate), 1.0 / rate)
        }
        serde_json::Value::Number(n) => {
            n.as_i64().map_or_else(|| four(n.as_f64().unwrap_or(0.0)), |n| n.to_string())
        }
        serde_json::Value::String(text) => text.replace('_', " "),
        serde_json::Value::Array(all) => {
            all.iter().map(|v| figure("", v).value).collect::<Vec<_>>().join(", ")
        }
        serde_json::Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        serde_json::Value::Null => "not known".to_owned(),
        other => other.to_string(),
    };
    Figure { name: rules::figure_name(name), value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_read_to_four_figures() {
        for (n, want) in [(0.011_111_1, "0.01111"), (7.0, "7.000"), (1234.56, "1235"), (0.0, "0")] {
            assert_eq!(four(n), want);
        }
        let rate = figure("rate_per_day", &serde_json::json!(0.005_848));
        assert_eq!(rate.value, "0.005848, that is one in 171 service days");
        assert!(rate.name.contains("one more"));
        let gap = figure("normal_gap_days", &serde_json::json!(209.1));
        assert!(gap.name.ends_with("on average") && !gap.name.contains("worst"), "{}", gap.name);
        assert_eq!(figure("some_new_name", &serde_json::json!(90)).name, "some new name");
    }
}
