//! Questions that need what others wrote: the same thing told twice, a seal misread.
use super::{Path, ask};
use crate::{
    base::{Code, Instant, Problems, SignIn, Tag, Zone, instant::MINUTE, text},
    reports::{Entry, What, entry::Seal, kinds::Kind},
};

/// Two people who tell of one thing seldom differ by more.
pub const SAME_TIME: i64 = 10 * MINUTE;

/// Asks about entries that somebody else also wrote: same device, within 10 minutes. `others` are entries about
/// the same unit; operations of the ground relay stand under [`Tag::GROUND_RELAY`], starts under
/// [`Tag::ENGINE_START`].
pub fn same_again(
    entries: &[Entry],
    author: &SignIn,
    others: &[(Tag, Instant, SignIn)],
    zone: &Zone,
) -> Problems {
    let mut problems = Problems::default();
    let list = Path::Field(&Path::Whole, "entries");
    for (place, entry) in entries.iter().enumerate() {
        let Some(tag) = counted_under(entry) else { continue };
        let near = |at: Instant| entry.when.at().since(at).saturating_abs() <= SAME_TIME;
        let twin = others.iter().find(|(t, at, by)| t.as_str() == tag && near(*at) && by != author);
        let Some((_, at, by)) = twin else { continue };
        let what = if entry.what.kind() == Kind::GroundRelay { "the ground relay" } else { tag };
        let what = if tag == Tag::ENGINE_START { "an engine start" } else { what };
        let says = format!(
            "{by} wrote down {what} at {}. If it is the same one, leave it to them.",
            zone.time_in_words(*at)
        );
        let field = if entry.what.device().is_some() { "device" } else { entry.what.kind().time_fields().0 };
        ask(&mut problems, &Path::Item(&list, place), field, Code::SameAgain, says);
    }
    problems
}

fn counted_under(entry: &Entry) -> Option<&str> {
    match entry.what.kind() {
        Kind::GroundRelay => Some(Tag::GROUND_RELAY),
        Kind::EngineStart => Some(Tag::ENGINE_START),
        // How a device stands may well be told by two crews one after the other.
        Kind::Position => None,
        _ => entry.what.device()?.tag().map(Tag::as_str),
    }
}

/// Asks about seals found that are a digit or two off the one last applied. `known_seals` gives that one, as the
/// book had it before this report; seals applied within the report come first.
pub fn seals_near(entries: &[Entry], known_seals: &dyn Fn(&Tag) -> Option<String>) -> Problems {
    let mut problems = Problems::default();
    let list = Path::Field(&Path::Whole, "entries");
    let mut applied: Vec<(&Tag, &str)> = Vec::new();
    for (place, entry) in entries.iter().enumerate() {
        let (found, field) = match &entry.what {
            What::Bypass(bypass) => (bypass.seal_found.as_ref(), "seal_found"),
            What::Position(position) => (position.seal.as_ref(), "seal"),
            _ => continue,
        };
        let Some(tag) = entry.what.device().and_then(|device| device.tag()) else { continue };
        if let Some(Seal::Number(found)) = found {
            let last = applied.iter().rev().find(|(t, _)| *t == tag).map(|(_, seal)| (*seal).to_owned());
            if let Some(last) = last.or_else(|| known_seals(tag)).filter(|last| seal_near(found, last)) {
                let says =
                    format!("The seal last applied here is {last}, not {found}. Read it again if you can.");
                ask(&mut problems, &Path::Item(&list, place), field, Code::Unusual, says);
            }
        }
        if let What::Bypass(bypass) = &entry.what
            && let Some(Seal::Number(seal)) = &bypass.seal_applied
        {
            applied.push((tag, seal));
        }
    }
    problems
}

/// One or two digits off, and more alike than not: likelier misread than another seal.
pub fn seal_near(a: &str, b: &str) -> bool {
    // Nobody's seal has more; this bounds the work.
    if a.len().max(b.len()) > 40 {
        return false;
    }
    let slips = text::slips_between(a, b);
    (1..=2).contains(&slips) && slips * 2 < a.chars().count().min(b.chars().count())
}
