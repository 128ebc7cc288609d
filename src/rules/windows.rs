//! The spans of time in which it matters who had a unit: while a cutout stood open, and before it was found so.
use std::collections::BTreeMap;

use super::{Dossier, fact::Told};
use crate::{
    base::{Instant, Tag, instant::DAY},
    reports::vocabulary::Seen,
};

/// A cutout found open that was never seen closed: who had the unit is looked for this far back.
const LOOK_BACK: i64 = 60 * DAY;

/// Spans from the last time a cutout was known closed until it was closed again, for a ground-protection dossier.
/// May be wider than need be, never narrower; empty as long as nothing was ever open.
pub fn windows(dossier: &Dossier) -> Vec<(Instant, Instant)> {
    let mut closed: BTreeMap<&Tag, Instant> = BTreeMap::new();
    let mut open: BTreeMap<&Tag, Instant> = BTreeMap::new();
    let mut spans = Vec::new();
    for fact in dossier.facts() {
        let (device, opens, closes) = match &fact.told {
            Told::Bypass(bypass) => (&bypass.device, true, bypass.closed_at),
            Told::Position(position) => {
                let now = position.moved_to.unwrap_or(position.seen);
                let seen_open = matches!(position.seen, Seen::Open | Seen::Off | Seen::Tripped);
                let left_open = matches!(now, Seen::Open | Seen::Off | Seen::Tripped);
                let left_closed = matches!(now, Seen::Closed | Seen::On);
                (&position.device, seen_open || left_open, left_closed.then_some(fact.at))
            }
            _ => continue,
        };
        if opens {
            let since =
                closed.get(device).copied().unwrap_or(fact.at.minus(LOOK_BACK)).max(fact.at.minus(LOOK_BACK));
            open.entry(device).or_insert(since);
        }
        if let Some(at) = closes {
            spans.extend(open.remove(device).map(|since| (since, at)));
            closed.insert(device, at);
        }
    }
    spans.extend(open.into_values().map(|since| (since, Instant::MAX)));
    spans
}

/// The last moment of these spans, [`Instant::MAX`] while a cutout stands open: who has the unit after it changes
/// nothing. `None` if nothing was ever open.
pub fn watched_until(spans: &[(Instant, Instant)]) -> Option<Instant> {
    spans.iter().map(|(_, to)| *to).max()
}
