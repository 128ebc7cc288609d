//! One finding: its sentence, the rule spelled out, its figures, the entries it rests on.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use sqlx::SqliteConnection;

use super::{finding_acts::Acts, lines};
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
    unit_path: Option<String>,
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
    entries: Vec<EntryLine>,
    board: String,
    acts: Acts,
}

struct Figure {
    name: String,
    value: String,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(key): Path<String>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let finding = match store::by_key(&mut db, &key).await? {
        None if me.may(Act::ReadBypasses) => joined(&mut db, &world, &key, now).await?,
        found => found,
    };
    let mut finding = finding.ok_or_else(|| Oops::NotFound(GONE.into()))?;
    if finding.rule == Rule::SharedCause {
        // What it weighs on the board.
        let mut open = store::open_at(&mut db, &Wanted::default(), now).await?;
        let explained = explained_by(&open);
        take_over_ranks(&mut open, &explained);
        finding = open.into_iter().find(|f| f.key == finding.key).unwrap_or(finding);
    }
    if finding.rule.is_ground_protection() {
        // It may name people, and only the register does that.
        me.permit(Act::ReadBypasses)?;
    }
    let state = store::decisions(&mut db, finding.unit.as_ref(), now).await?.state(&finding, now);
    let entries = reports::store::entries(&mut db, &rests_on(&finding)).await?;
    let causes = causes(&mut db, &world.roster, now).await?;
    let acts = Acts::of(&mut db, &finding, &me, &world, now).await?;
    drop(db);
    let told: Vec<Entry> = entries.iter().filter_map(|row| stored::entry(&row.detail).ok()).collect();
    let shown = Shown { state, test_first: lines::begin_with(&finding, &told, &causes), acts };
    let entries = entries.iter().map(|row| EntryLine::of(row, &world)).collect();
    page(StatusCode::OK, &view(frame, &finding, shown, entries, &world))
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
    acts: Acts,
}

fn view(frame: Frame, finding: &Finding, shown: Shown, entries: Vec<EntryLine>, world: &World) -> View {
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
        unit_path: unit.map(|unit| paths::Handover(unit.clone()).to_string()),
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
        reckoned: reckoned(finding),
        figures: finding
            .figures
            .iter()
            .filter(|(name, _)| *name != "as_of")
            .map(|(n, v)| figure(n, v))
            .collect(),
        entries,
        board: unit
            .map_or_else(|| paths::Triage.to_string(), |unit| paths::Triage.with(&[("unit", &unit.slug())])),
    }
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

/// The sums behind a burst's figures; nothing for rules that reckon nothing.
fn reckoned(finding: &Finding) -> Vec<String> {
    burst_reckoned(finding).map(Vec::from).unwrap_or_default()
}

fn burst_reckoned(finding: &Finding) -> Option<[String; 3]> {
    let n = |name: &str| finding.figures.get(name).and_then(serde_json::Value::as_f64);
    let (rate, times, before) = (n("rate_per_day")?, n("looks_for_times")?, n("score_before")?);
    let (score, threshold, one_in) = (n("score")?, n("threshold")?, n("one_in")?);
    let (own, days, gap) = (n("year_occurrences")?, n("year_service_days")?, n("normal_gap_days")?);
    let (class, class_days) = (n("class_counts_as_occurrences")?, n("class_counts_as_days")?);
    let (extra, rank) = (n("extra_in_30_days")?, finding.rank?);
    let fall = (times - 1.0) * rate + 1.0 / 365.0;
    Some([
        format!(
            "The score: {} just before the first of them. Every occurrence multiplies it by {times}. From one to the next, so many \
             service days later, it becomes (score − {rest}) × e^(−{fall} × days) + {rest}. There {fall} is {} × {} + 1 ÷ 365, \
             what a day takes away; {rest} is 1 ÷ {fall}, what the score comes to without any. A line is written at {}; the highest \
             was {}. Counting begins with an occurrence before which the score was {} at most, twice what it comes to without any.",
            four(before),
            four(times - 1.0),
            four(rate),
            four(threshold),
            four(score),
            four(2.0 / fall),
            rest = four(1.0 / fall),
            fall = four(fall),
        ),
        format!(
            "The luck: a healthy device that operates {} times a service day gets to such a score in one of {one_in} years of \
             service. That number is the program's own reckoning. To check it: a healthy device's score grows by one a service \
             day on average at most, and is 365 at most on average to begin with, so it can't be there more often than once in \
             {} ÷ 730 = {} years.",
            four(rate),
            four(score),
            four(score / 730.0)
        ),
        format!(
            "The weight: 30 × (({class} + {own}) ÷ ({class_days} + {days}) − 1 ÷ {gap}) = {extra} more occurrences to expect \
             in the next 30 service days than in a sister unit, over a whole year and not this burst alone; times {}, how much \
             one matters, is {rank:.1}.",
            finding.severity
        ),
    ])
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

fn four(n: f64) -> String {
    if n == 0.0 || !n.is_finite() {
        return format!("{n}");
    }
    let digits = 3.0 - n.abs().log10().floor();
    // Between 0 and 17 by the clamp, so that the cast keeps it.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped on the same line")]
    let digits = digits.clamp(0.0, 17.0) as usize;
    format!("{n:.digits$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_tells_how_its_figures_come_about() {
        let finding = serde_json::json!({"rule": "burst", "key": "k", "unit": "QHB 412", "device": "TC2", "units": [], "devices": [],
            "class": null, "since": 0, "until": null, "severity": 2.0, "rank": 0.6, "sentence": "", "entries": [], "figures": {
                "rate_per_day": 0.005, "looks_for_times": 5.0, "score_before": 44.25, "score": 52_560.0, "threshold": 30_000.0,
                "one_in": 310, "year_occurrences": 6, "year_service_days": 365,
                "normal_gap_days": 209.1, "class_counts_as_occurrences": 1.5, "class_counts_as_days": 313.65, "extra_in_30_days": 0.3}});
        let mut finding: Finding = serde_json::from_value(finding).unwrap();
        let says = reckoned(&finding).join("\n");
        for want in [
            "44.25 just before the first of them. Every occurrence multiplies it by 5.",
            "(score − 43.98) × e^(−0.02274 × days) + 43.98.",
            "0.02274 is 4.000 × 0.005000 + 1 ÷ 365",
            "written at 30000; the highest was 52560. Counting begins with an occurrence before which the score was 87.95 at most",
            "one of 310 years of service",
            "52560 ÷ 730 = 72.00 years",
            "30 × ((1.5 + 6) ÷ (313.65 + 365) − 1 ÷ 209.1) = 0.3",
            "times 2, how much one matters, is 0.6.",
        ] {
            assert!(says.contains(want), "{says} has not {want:?}");
        }
        finding.figures.clear();
        assert!(reckoned(&finding).is_empty());
    }

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
