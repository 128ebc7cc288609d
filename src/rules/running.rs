//! *must_stay_on*: a device that must stay on while the engine runs, or anything that feeds it, opened by hand.
//! A trip of the same device is said apart, by the other rules.
use super::{
    case::Case,
    fact::{Fact, PositionFact, Told},
    finding::{Finding, Rule},
    occurrence::{did_not_run, seen_closed},
};
use crate::{
    base::{Instant, Tag, instant::MINUTE, text::span},
    reports::vocabulary::{Outcome, Seen, YesNo},
    roster::{Device, Schedule},
};

/// What the unit's dossier tells about the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Engine {
    NotKnown,
    Running,
    ShutDown(Instant),
}

pub fn must_stay_on(case: &Case<'_>, out: &mut Vec<Finding>) {
    let mut engine = Engine::NotKnown;
    let mut open: Vec<Finding> = Vec::new();
    for fact in case.standing() {
        engine = engine_after(engine, fact);
        match &fact.told {
            Told::RepairClosed { .. } | Told::RepairAnswered { .. } => {
                let answered =
                    |finding: &mut Finding| finding.entries.iter().any(|entry| fact.answers(*entry));
                out.extend(open.extract_if(.., answered).map(|f| f.until(Some(fact.at))));
            }
            Told::Position(p) => take_position(case, fact, p, engine, &mut open, out),
            _ => {}
        }
    }
    out.append(&mut open);
}

fn engine_after(engine: Engine, fact: &Fact) -> Engine {
    match (&fact.told, fact.engine) {
        (Told::Shutdown { .. }, _) => Engine::ShutDown(fact.at),
        (Told::Start { outcome: Outcome::Running, .. }, _) => Engine::Running,
        (_, YesNo::Yes) => Engine::Running,
        // Nobody cranks an engine that runs.
        (Told::Start { outcome, .. }, _) if did_not_run(*outcome) && engine == Engine::Running => {
            Engine::NotKnown
        }
        // Said to be off by the throttle: since when is not told, unless a shutdown was.
        (_, YesNo::No) if engine == Engine::Running => Engine::NotKnown,
        _ => engine,
    }
}

fn take_position(
    case: &Case<'_>,
    fact: &Fact,
    told: &PositionFact,
    engine: Engine,
    open: &mut Vec<Finding>,
    out: &mut Vec<Finding>,
) {
    let stands = open.iter().position(|f| f.device.as_ref() == Some(&told.device));
    let left = told.moved_to.or(Some(told.seen)).and_then(seen_closed);
    match (left, stands) {
        (Some(true), Some(place)) => out.push(open.remove(place).until(Some(fact.at))),
        (Some(false), Some(place)) => open[place].entries.push(fact.entry),
        (Some(false), None) if told.opened() || matches!(told.seen, Seen::Off | Seen::Open) => {
            open.extend(opened(case, fact, told, engine));
        }
        _ => {}
    }
}

fn opened(case: &Case<'_>, fact: &Fact, told: &PositionFact, engine: Engine) -> Option<Finding> {
    let schedule = case.ground.roster.schedule_at(case.unit(), fact.at)?;
    let keeps = keeps_on(schedule, &told.device)?;
    let during = match (engine, keeps.keep_on_after_shutdown_min) {
        (Engine::Running, _) => "with the engine running".to_owned(),
        (Engine::ShutDown(at), Some(minutes)) if fact.at.since(at) < i64::from(minutes) * MINUTE => {
            format!(
                "{} after the engine was shut down; it must stay on for {minutes} min",
                span(fact.at.since(at))
            )
        }
        _ => return None,
    };
    let name = case.named(&told.device, fact.at);
    let feeds =
        if keeps.tag == told.device { String::new() } else { format!(", which feeds {},", keeps.tag) };
    let how = if told.opened() { "was opened by hand" } else { "was found off (not tripped)" };
    let says = format!("{name}{feeds} {how} {during}. {}.", case.when(fact.at));
    let finding = case.finding(Rule::MustStayOn, Some(&told.device), &fact.entry.to_string(), fact.at);
    Some(finding.weighs(keeps.severity.unwrap_or(4.0)).says(says).rests_on([fact.entry]))
}

/// The device that must stay on and would lose its feed: itself, or one it feeds.
pub fn keeps_on<'a>(schedule: &'a Schedule, tag: &Tag) -> Option<&'a Device> {
    schedule.device(tag).filter(|d| d.keep_on_running).or_else(|| {
        let mut kept = schedule.devices.iter().filter(|d| d.keep_on_running);
        kept.find(|d| schedule.feeds_of(d).any(|feed| feed.tag == *tag))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        sample::{self, Railway, at, device, fact, position},
    };

    fn railway() -> Railway {
        Railway::with(vec![
            device("MAIN", |_| {}),
            device("TLP", |d| {
                d.keep_on_running = true;
                d.keep_on_after_shutdown_min = Some(30);
                d.feed = Some("MAIN".into());
            }),
            device("LIGHTS", |d| d.feed = Some("MAIN".into())),
        ])
    }

    fn start(when: &str) -> Fact {
        sample::start(when, "running", None)
    }

    fn stop(when: &str) -> Fact {
        fact(when, Told::Shutdown { cause: None, warning_notice: None })
    }

    #[test]
    fn opened_by_hand_while_the_engine_runs_or_soon_after() {
        let railway = railway();
        let (ten, eleven) = ("2026-03-01T10:00:00Z", "2026-03-01T11:00:00Z");
        let off = |when, tag| position(when, tag, "on", Some("off"));
        for (facts, want) in [
            (vec![start(ten), off(eleven, "TLP")], 1),
            (vec![start(ten), off(eleven, "MAIN")], 1),
            (vec![start(ten), off(eleven, "LIGHTS")], 0),
            (vec![off(eleven, "TLP")], 0),
            (vec![start(ten), position(eleven, "TLP", "tripped", None)], 0),
            (vec![start(ten), position(eleven, "TLP", "off", None)], 1),
            (vec![start(ten), stop("2026-03-01T10:30:01Z"), off(eleven, "TLP")], 1),
            (vec![start(ten), stop("2026-03-01T10:30:00Z"), off(eleven, "TLP")], 0),
            (vec![Fact { engine: YesNo::Yes, ..off(eleven, "TLP") }], 1),
        ] {
            let found = railway.judge(Subject::Unit, facts.clone()).findings;
            assert_eq!(found.len(), want, "{facts:?}");
        }
    }

    #[test]
    fn it_ends_when_it_is_on_again() {
        let facts = vec![
            start("2026-03-01T10:00:00Z"),
            position("2026-03-01T11:00:00Z", "MAIN", "on", Some("off")),
            position("2026-03-01T12:00:00Z", "MAIN", "on", None),
        ];
        let found = railway().judge(Subject::Unit, facts).findings;
        assert_eq!(found[0].until, Some(at("2026-03-01T12:00:00Z")));
        assert!(
            found[0].sentence.starts_with("MAIN (MAIN LEGEND), which feeds TLP, was opened by hand with")
        );
    }
}
