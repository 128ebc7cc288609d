//! Looks that say again what the book knows. Nearly every report has one ('cutout seen closed'), so that the histories
//! they go to are the longest there are; such a look is put away without judging anything.
use super::fact::{Fact, PositionFact, Told};
use crate::{
    base::Instant,
    reports::{
        Entry, What,
        vocabulary::{SealWord, Seen, Signs},
    },
};

/// Whether an entry may turn out to be one, seen by itself.
pub fn is_look(entry: &Entry) -> bool {
    let calm = matches!(entry.signs, None | Some(Signs::None));
    match &entry.what {
        What::Position(p) => calm && seen_closed(p.seen) && p.moved_to.is_none(),
        _ => false,
    }
}

fn seen_closed(seen: Seen) -> bool {
    matches!(seen, Seen::Closed | Seen::On)
}

fn look(fact: &Fact) -> Option<&PositionFact> {
    let calm = matches!(fact.signs, None | Some(Signs::None)) && fact.withdrawn.is_none();
    match &fact.told {
        Told::Position(p) if calm && seen_closed(p.seen) && p.moved_to.is_none() => Some(p),
        _ => None,
    }
}

/// Whether the facts from place `new` on, the last ones of a device's or of ground protection's dossier, change nothing
/// that is judged: looks that found a device closed, each after another that found the same and the same seal, with
/// nothing of that device in between. `watched_until`: see `windows::watched_until`; all of it has to be over.
/// Facts before `facts` need not be known.
pub fn say_nothing_new(facts: &[Fact], new: usize, watched_until: Option<Instant>) -> bool {
    (new..facts.len()).all(|n| says_nothing_new(&facts[..n], &facts[n], watched_until))
}

fn says_nothing_new(before: &[Fact], new: &Fact, watched_until: Option<Instant>) -> bool {
    let Some(seen) = look(new) else { return false };
    let Some(last) = before.iter().rev().find(|fact| is_about(fact, seen)) else { return false };
    let same = look(last).is_some_and(|then| then.device == seen.device && then.seal == seen.seal);
    let numbered = seen.seal.as_deref().is_none_or(|seal| SealWord::parse(seal.trim()).is_none());
    same && numbered && watched_until.is_none_or(|over| over < last.at)
}

/// Whether a fact may say anything of the device that was looked at.
fn is_about(fact: &Fact, seen: &PositionFact) -> bool {
    match &fact.told {
        Told::Position(p) => p.device == seen.device,
        Told::Bypass(b) => b.device == seen.device,
        Told::Start { .. }
        | Told::Shutdown { .. }
        | Told::Defect { .. }
        | Told::Released
        | Told::StartRepaired
        | Told::Operated { .. }
        | Told::Mended { .. }
        | Told::RepairAnswered { .. } => false,
        Told::Trip { device, .. } | Told::Fuse { device, .. } => *device == seen.device,
        // In a device's own dossier the ground relay's operations say how it was left.
        Told::Ground { .. } | Told::RepairClosed { .. } => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::vocabulary::GroundReset,
        rules::sample::{fact, ground, position},
    };

    #[test]
    fn a_look_after_a_ground_relay_that_was_not_reset_says_something() {
        let look = |when| position(when, "GR", "closed", None);
        let not_reset = Told::Ground {
            operations: 1,
            last_at: None,
            mode: None,
            reset: Some(GroundReset::NotReset),
            after: None,
        };
        let then = fact("2026-01-27T01:10:00Z", not_reset);
        let facts = [look("2026-01-01T00:00:00Z"), then, look("2026-01-28T00:00:00Z")];
        assert!(!say_nothing_new(&facts, 2, None), "it closes what was left open");
        let facts = [look("2026-01-01T00:00:00Z"), look("2026-01-28T00:00:00Z")];
        assert!(say_nothing_new(&facts, 1, None), "nothing came between");
        let facts =
            [ground("2026-01-01T00:00:00Z", 1), look("2026-01-02T00:00:00Z"), look("2026-01-28T00:00:00Z")];
        assert!(say_nothing_new(&facts, 2, None), "it was looked at since");
    }
}
