//! What to test first: from what a line is about and what it rests on. A beginning, never an instruction: common practice
//! of the trade, no source; local instructions and qualified people decide.
use super::{
    fact::{Fact, Told},
    finding::{Finding, Rule},
};
use crate::{
    base::Tag,
    reports::vocabulary::{Mode, Outcome},
};

/// `facts`: those of the entries that the line rests on. `None`: nothing to say beyond what repairs found.
pub fn test_first(finding: &Finding, facts: &[Fact]) -> Option<&'static str> {
    match finding.rule {
        Rule::SharedCause if finding.units.len() > 1 => {
            return Some("the jumper and its receptacles between these units, before the devices");
        }
        Rule::SharedCause => {
            return Some("what these devices share, the feed or the panel's wiring, before each of them");
        }
        Rule::ClassWide => {
            return Some("what this class has that the others lack: a fitting, a rating, a way of working");
        }
        Rule::StartingWeakens => {
            return Some("battery charge and cell connections, then the start circuit's drop");
        }
        _ => {}
    }
    match finding.device.as_ref()?.as_str() {
        Tag::ENGINE_START => most(facts, |told| match told {
            Told::Start { outcome, .. } => start(*outcome),
            _ => None,
        }),
        Tag::GROUND_RELAY => most(facts, |told| match told {
            Told::Ground { mode, .. } => ground(*mode),
            _ => None,
        }),
        _ => None,
    }
}

fn start(outcome: Outcome) -> Option<&'static str> {
    match outcome {
        Outcome::NoCrank | Outcome::NoResponse => {
            Some("control volts at the start circuit, then its contactors")
        }
        Outcome::SlowCrank => Some("battery volts while cranking and the cable connections"),
        Outcome::NoFire => Some("fuel at the engine: cut-off devices, suction, fuel pump"),
        Outcome::LowOil | Outcome::LowWater => Some("the level itself, then the protective device"),
        _ => None,
    }
}

fn ground(mode: Option<Mode>) -> Option<&'static str> {
    match mode? {
        Mode::Motoring => {
            Some("traction motors and their leads, one cut out after another by qualified people")
        }
        Mode::Braking => Some("the braking grids and their leads, which motoring does not put under voltage"),
        Mode::Idle => Some("the auxiliary and excitation circuits, which are live at idle"),
        Mode::Cranking => Some("the battery and starting circuit"),
        Mode::LoadTest | Mode::NotKnown => None,
    }
}

/// What most of the facts point to; of as many, the first by alphabet. `None` unless more than half do.
fn most(facts: &[Fact], says: impl Fn(&Told) -> Option<&'static str>) -> Option<&'static str> {
    let mut all: Vec<&str> = facts.iter().filter_map(|fact| says(&fact.told)).collect();
    all.sort_unstable();
    let best = all.chunk_by(|a, b| a == b).max_by_key(|same| same.len())?;
    (2 * best.len() > facts.len()).then(|| best.first().copied()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        sample::{Railway, ground as operated},
    };

    fn about(rule: Rule, device: &str) -> Finding {
        let railway = Railway::with(vec![]);
        let left =
            crate::rules::sample::trip("2026-03-01T10:00:00Z", "TC2", crate::reports::vocabulary::Left::Off);
        let mut finding = railway.judge(Subject::Device("TC2".into()), vec![left]).findings.remove(0);
        (finding.rule, finding.device) = (rule, Some(device.into()));
        finding
    }

    #[test]
    fn what_most_of_the_entries_point_to() {
        let start =
            |outcome: Outcome| crate::rules::sample::start("2026-03-01T10:00:00Z", outcome.as_str(), None);
        let relay = |mode| {
            let mut fact = operated("2026-03-01T10:00:00Z", 1);
            if let Told::Ground { mode: told, .. } = &mut fact.told {
                *told = mode;
            }
            fact
        };
        for (device, facts, want) in [
            (
                Tag::ENGINE_START,
                vec![start(Outcome::SlowCrank), start(Outcome::SlowCrank), start(Outcome::NoFire)],
                Some("battery volts"),
            ),
            (Tag::ENGINE_START, vec![start(Outcome::SlowCrank), start(Outcome::NoFire)], None),
            (Tag::ENGINE_START, vec![], None),
            (
                Tag::GROUND_RELAY,
                vec![relay(Some(Mode::Braking)), relay(Some(Mode::Braking)), relay(None)],
                Some("the braking grids"),
            ),
            (Tag::GROUND_RELAY, vec![relay(Some(Mode::Braking)), relay(None)], None),
            ("TC2", vec![relay(Some(Mode::Braking))], None),
        ] {
            let says = test_first(&about(Rule::Burst, device), &facts);
            assert_eq!(says.is_some(), want.is_some(), "{device} {says:?}");
            assert!(says.unwrap_or("").starts_with(want.unwrap_or("")), "{device} {says:?}");
        }
        assert!(test_first(&about(Rule::SharedCause, "TC2"), &[]).is_some());
    }
}
