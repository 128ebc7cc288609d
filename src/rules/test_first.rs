//! What to test first: from what a line is about and what it rests on. A beginning, never an instruction: common practice
//! of the trade, no source; local instructions and qualified people decide.
use super::finding::{Finding, Rule};
use crate::{
    base::Tag,
    reports::{
        Entry, What,
        vocabulary::{Mode, Outcome},
    },
};

/// `entries`: those that the line rests on. `None`: nothing to say beyond what repairs found.
pub fn test_first(finding: &Finding, entries: &[Entry]) -> Option<&'static str> {
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
            // Failed starts of one kind, or else falling volts.
            if let Some(kind) = finding.figures.get("kind").and_then(|kind| kind.as_str()) {
                return Outcome::parse(kind).and_then(start);
            }
            return Some("battery charge and cell connections, then the start circuit's drop");
        }
        _ => {}
    }
    match finding.device.as_ref()?.as_str() {
        Tag::ENGINE_START => most(entries, |what| match what {
            What::EngineStart(told) => start(told.outcome),
            _ => None,
        }),
        Tag::GROUND_RELAY => most(entries, |what| match what {
            What::GroundRelay(told) => ground(told.mode),
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

/// What most of the entries point to; of as many, the first by alphabet. `None` unless more than half do.
fn most(entries: &[Entry], says: impl Fn(&What) -> Option<&'static str>) -> Option<&'static str> {
    let mut all: Vec<&str> = entries.iter().filter_map(|entry| says(&entry.what)).collect();
    all.sort_unstable();
    let best = all.chunk_by(|a, b| a == b).max_by_key(|same| same.len())?;
    (2 * best.len() > entries.len()).then(|| best.first().copied()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::{stored, vocabulary::Left},
        rules::{
            dossier::Subject,
            sample::{Railway, trip},
        },
    };

    fn told(what: &str) -> Entry {
        let id = "0198f3a2-6c1e-7d3a-0000-000000000001";
        stored::entry(&format!(r#"{{"id": "{id}", "at": "2026-03-01T10:00:00Z", {what}}}"#)).unwrap()
    }

    fn about(rule: Rule, device: &str) -> Finding {
        let railway = Railway::with(vec![]);
        let left = trip("2026-03-01T10:00:00Z", "TC2", Left::Off);
        let mut finding = railway.judge(Subject::Device("TC2".into()), vec![left]).findings.remove(0);
        (finding.rule, finding.device) = (rule, Some(device.into()));
        finding
    }

    #[test]
    fn what_most_of_the_entries_point_to() {
        let start = |outcome: Outcome| told(&format!(r#""kind": "engine_start", "outcome": "{outcome}""#));
        let relay = |mode: Option<Mode>| {
            let mode = mode.map(|mode| format!(r#", "mode": "{mode}""#)).unwrap_or_default();
            told(&format!(r#""kind": "ground_relay"{mode}"#))
        };
        use Outcome::{NoFire, SlowCrank};
        let braking = Some(Mode::Braking);
        for (device, entries, want) in [
            (
                Tag::ENGINE_START,
                vec![start(SlowCrank), start(SlowCrank), start(NoFire)],
                Some("battery volts"),
            ),
            (Tag::ENGINE_START, vec![start(SlowCrank), start(NoFire)], None),
            (Tag::ENGINE_START, vec![], None),
            (Tag::GROUND_RELAY, vec![relay(braking), relay(braking), relay(None)], Some("the braking grids")),
            (Tag::GROUND_RELAY, vec![relay(braking), relay(None)], None),
            ("TC2", vec![relay(braking)], None),
        ] {
            let says = test_first(&about(Rule::Burst, device), &entries);
            assert_eq!(says.is_some(), want.is_some(), "{device} {says:?}");
            assert!(says.unwrap_or("").starts_with(want.unwrap_or("")), "{device} {says:?}");
        }
        assert!(test_first(&about(Rule::SharedCause, "TC2"), &[]).is_some());
        let mut weak = about(Rule::StartingWeakens, Tag::ENGINE_START);
        assert!(test_first(&weak, &[]).unwrap().starts_with("battery charge"));
        weak.figures.insert("kind".into(), NoFire.as_str().into());
        assert!(test_first(&weak, &[]).unwrap().starts_with("fuel at the engine"));
    }
}
