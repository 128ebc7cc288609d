//! Changing what the statistical rules go by: a page of the book with its reason, refused when nobody would read the board
//! any more.
use std::collections::BTreeSet;

use sqlx::{Row, SqliteConnection};

use super::{
    act::{Act, Decided},
    body::{Body, Change, ThresholdsChanged},
    draft::{Draft, Filed, Page},
    refused::Refused,
    world::World,
};
use crate::{
    base::{Code, Instant, Problem, SignIn, Stamp, text},
    book::Channel,
    people::Permit,
    rules::{
        Forecast, Rule, Thresholds,
        forecast::{forecast, forecast_unknown},
        thresholds::SETTINGS,
    },
};

/// New values for some settings, with the ones they were shown beside.
#[derive(Debug)]
pub struct ChangeThresholds(Page);

impl ChangeThresholds {
    pub fn of(changes: Vec<Change>, reason: String, permit: &Permit, now: Instant) -> Self {
        Self(Page {
            author: Some(permit.by().clone()),
            channel: Channel::Page,
            on_behalf_of: None,
            happened_at: Some(Stamp::utc(now)),
            body: Body::ThresholdsChanged(Box::new(ThresholdsChanged { changes, reason })),
        })
    }
}

impl Act for ChangeThresholds {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::ThresholdsChanged(asked) = &self.0.body else { return Ok(Decided::default()) };
        if text::tidy(&asked.reason).is_none() {
            return Err(Refused::Problems(vec![problem(
                "reason",
                "Say why: whoever wonders about the board in a year reads it here.",
            )]));
        }
        let new = changed(&draft.world, &asked.changes)?;
        match too_much(&expected(&draft.world, &new), &expected(&draft.world, &draft.world.thresholds)) {
            Some(says) => Err(Refused::Problems(vec![problem("", &says)])),
            None => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

fn problem(path: &str, says: &str) -> Problem {
    Problem { path: path.to_owned(), code: Code::NotAllowed, says: says.to_owned() }
}

/// The settings as they would be.
///
/// # Errors
/// A sentence beside each setting whose value does not fit, is none or is the one in force; stale when another value is in
/// force than the one it was shown beside.
pub fn changed(world: &World, changes: &[Change]) -> Result<Thresholds, Refused> {
    let (mut new, mut problems, mut named) = (world.thresholds.clone(), Vec::new(), BTreeSet::new());
    for change in changes {
        let in_force = world.thresholds.get(&change.setting);
        if in_force.is_some_and(|in_force| in_force.to_bits() != change.old.to_bits()) {
            return Err(Refused::Stale(format!(
                "Somebody changed “{}” since you opened this page. What you typed is kept below: look again, then sign.",
                says_of(&change.setting)
            )));
        }
        if !named.insert(change.setting.as_str()) {
            problems.push(problem(&change.setting, "This setting stands here twice."));
        } else if in_force.is_some_and(|in_force| in_force.to_bits() == change.new.to_bits()) {
            problems.push(problem(&change.setting, "This is the value in force."));
        } else if let Err(says) = new.set(&change.setting, change.new) {
            problems.push(problem(&change.setting, &says));
        }
    }
    if changes.is_empty() {
        problems.push(problem("", "Nothing is changed: every value is the one in force."));
    }
    if problems.is_empty() { Ok(new) } else { Err(Refused::Problems(problems)) }
}

fn says_of(name: &str) -> &str {
    SETTINGS.iter().find(|setting| setting.name == name).map_or(name, |setting| setting.says)
}

/// What settings should be expected to say by chance on this railway's fleet.
pub fn expected(world: &World, set: &Thresholds) -> Forecast {
    world.figures.as_deref().map_or_else(|| forecast_unknown(set), |figures| forecast(set, figures))
}

/// Why new settings are refused; `None`: they are not. Whatever makes an overfull board emptier is let through.
pub fn too_much(new: &Forecast, now: &Forecast) -> Option<String> {
    if !new.is_too_much() || new.by_chance() <= now.by_chance() {
        return None;
    }
    let fleet = if new.assumed {
        format!("a fleet of {} devices that operate once in 90 days (of this one nothing is known yet)", about(new.pairs))
    } else {
        format!("this fleet of {} devices", about(new.pairs))
    };
    let instead = match new.loudest() {
        Some(Rule::Often) => ("often_certainty", "often_ratio"),
        Some(Rule::DidNotHold) => return Some(refusal(new, &fleet, &format!(
            "Lower “{}” or “{}”.", says_of("returned_chance"), says_of("returned_tail")))),
        _ => {
            return Some(refusal(new, &fleet, &format!(
                "Lower “{}” or raise “{}”.", says_of("burst_chance"), says_of("burst_at_least"))));
        }
    };
    let raise = format!("Raise “{}” or “{}”.", says_of(instead.0), says_of(instead.1));
    Some(refusal(new, &fleet, &raise))
}

fn refusal(new: &Forecast, fleet: &str, instead: &str) -> String {
    format!(
        "These settings would draw about {} lines a year by chance alone on {fleet}: nobody would read the board. {instead}",
        about(new.by_chance())
    )
}

/// To two figures, as a sentence says it: `4,300`, `52`, `0.35`.
pub fn about(x: f64) -> String {
    if x < 10.0 {
        let places = if x < 0.095 { 3 } else { usize::from(x < 0.95) + 1 };
        let short = format!("{x:.places$}");
        return short.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    let unit = 10_f64.powf(x.log10().floor() - 1.0);
    let digits = format!("{:.0}", (x / unit).round() * unit);
    let parts: Vec<&str> = digits.as_bytes().rchunks(3).rev().filter_map(|part| std::str::from_utf8(part).ok()).collect();
    parts.join(",")
}

/// A change that is in the book.
#[derive(Clone, Debug)]
pub struct PastChange {
    pub seq: i64,
    pub by: SignIn,
    pub at: Instant,
    pub reason: String,
    pub changes: Vec<Change>,
}

/// The changes there were, the latest first.
pub async fn past(db: &mut SqliteConnection) -> Result<Vec<PastChange>, sqlx::Error> {
    let sql = "SELECT seq, by, at, reason, changes FROM thresholds ORDER BY seq DESC";
    let read = |row: &sqlx::sqlite::SqliteRow| {
        Ok(PastChange {
            seq: row.try_get("seq")?,
            by: SignIn::from(row.try_get::<String, _>("by")?),
            at: Instant(row.try_get("at")?),
            reason: row.try_get("reason")?,
            changes: serde_json::from_str(row.try_get("changes")?)
                .map_err(|why| sqlx::Error::Decode(Box::new(why)))?,
        })
    };
    sqlx::query(sql).fetch_all(db).await?.iter().map(read).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_to_two_figures() {
        for (x, want) in [
            (0.0, "0"), (0.004, "0.004"), (0.35, "0.35"), (0.96, "1"), (2.0, "2"), (2.64, "2.6"), (52.4, "52"),
            (4_321.0, "4,300"), (1_999_999.0, "2,000,000"),
        ] {
            assert_eq!(about(x), want, "{x}");
        }
    }
}
