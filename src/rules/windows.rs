//! The spans of time in which it matters who had a unit: while a cutout stood open, and before it was found so.
use std::collections::{BTreeMap, BTreeSet};

use super::{Dossier, fact::Told, occurrence::leaves_closed};
use crate::{
    base::{Instant, Tag, UnitName, instant::DAY},
    reports::vocabulary::Seen,
    roster::Roster,
};

/// A cutout found open that was never seen closed: who had the unit is looked for this far back.
const LOOK_BACK: i64 = 60 * DAY;

/// Spans from the last time a cutout was known closed until it was closed again, for a ground-protection dossier.
/// May be wider than need be, never narrower; empty as long as nothing was ever open.
pub fn windows(unit: &UnitName, dossier: &Dossier, roster: &Roster) -> Vec<(Instant, Instant)> {
    let cutouts = cutouts(unit, dossier, roster);
    let mut closed: BTreeMap<&Tag, Instant> = BTreeMap::new();
    let mut open: BTreeMap<&Tag, Instant> = BTreeMap::new();
    let mut spans = Vec::new();
    for fact in dossier.facts() {
        let (device, opens, closes) = match &fact.told {
            Told::Bypass(bypass) => (&bypass.device, true, bypass.end(fact.at)),
            Told::Position(position) => {
                let now = position.moved_to.unwrap_or(position.seen);
                let seen_open = matches!(position.seen, Seen::Open | Seen::Off | Seen::Tripped);
                let left_open = matches!(now, Seen::Open | Seen::Off | Seen::Tripped);
                let left_closed = matches!(now, Seen::Closed | Seen::On);
                (&position.device, seen_open || left_open, left_closed.then_some(fact.at))
            }
            Told::Trip { device, .. } if cutouts.contains(device) => {
                let left = leaves_closed(fact);
                (device, left == Some(false), (left == Some(true)).then_some(fact.at))
            }
            _ => continue,
        };
        if opens {
            let since =
                closed.get(device).copied().unwrap_or(fact.at.minus(LOOK_BACK)).max(fact.at.minus(LOOK_BACK));
            open.entry(device).or_insert(since);
        }
        // What was withdrawn may have opened it, in what was told then; it closed nothing.
        if let Some(at) = closes.filter(|_| fact.withdrawn.is_none()) {
            spans.extend(open.remove(device).map(|since| (since, at)));
            closed.insert(device, at);
        }
    }
    spans.extend(open.into_values().map(|since| (since, Instant::MAX)));
    spans
}

/// Cutouts of which a trip is told, as `bypass::cutouts` has them: a trip with smoke of any other device lies here, too.
fn cutouts<'a>(unit: &UnitName, dossier: &'a Dossier, roster: &Roster) -> BTreeSet<&'a Tag> {
    let listed = |tag: &Tag, at| roster.device_at(unit, tag, at).is_some_and(|d| d.ground_protection);
    let facts = dossier.facts().iter();
    let tags = facts.filter_map(|fact| match &fact.told {
        Told::Bypass(told) => Some(&told.device),
        Told::Position(told) => listed(&told.device, fact.at).then_some(&told.device),
        Told::Trip { device, .. } => listed(device, fact.at).then_some(device),
        _ => None,
    });
    let any_trip = dossier.facts().iter().any(|fact| matches!(fact.told, Told::Trip { .. }));
    if any_trip { tags.collect() } else { BTreeSet::new() }
}

/// The last moment of these spans, [`Instant::MAX`] while a cutout stands open: who has the unit after it changes
/// nothing. `None` if nothing was ever open.
pub fn watched_until(spans: &[(Instant, Instant)]) -> Option<Instant> {
    spans.iter().map(|(_, to)| *to).max()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::vocabulary::Left,
        rules::{
            fact::Withdrawn,
            sample::{Railway, at, bypass, device, position, trip},
        },
    };

    #[test]
    fn a_cutout_that_tripped_stood_open_and_another_device_did_not() {
        let railway =
            Railway::with(vec![device("GRC", |d| d.ground_protection = true), device("TC2", |_| {})]);
        for (tag, stands) in [("GRC", true), ("TC2", false)] {
            let left_off = trip("2026-03-01T10:00:00Z", tag, Left::Off);
            let left_on = trip("2026-03-02T10:00:00Z", tag, Left::On);
            let spans = |facts| windows(&"QHB 412".into(), &Dossier::of(facts), &railway.roster);
            let from = at("2026-03-01T10:00:00Z").minus(LOOK_BACK);
            let open = if stands { vec![(from, Instant::MAX)] } else { vec![] };
            assert_eq!(spans(vec![left_off.clone()]), open, "{tag}");
            let closed = if stands { vec![(from, at("2026-03-02T10:00:00Z"))] } else { vec![] };
            assert_eq!(spans(vec![left_off, left_on]), closed, "{tag}");
        }
    }

    #[test]
    fn a_closing_that_was_withdrawn_closes_nothing() {
        let railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        let opened = bypass("2026-03-01T10:00:00Z", "GRC", |_| {});
        let mut closed = position("2026-03-01T11:00:00Z", "GRC", "open", Some("closed"));
        let until = |facts| watched_until(&windows(&"QHB 412".into(), &Dossier::of(facts), &railway.roster));
        assert_eq!(until(vec![opened.clone(), closed.clone()]), Some(closed.at));
        let (by, reason) = ("a.lind".into(), "another unit".to_owned());
        closed.withdrawn = Some(Withdrawn { seq: 99, by, at: at("2026-03-02T10:00:00Z"), reason });
        assert_eq!(until(vec![opened, closed]), Some(Instant::MAX));
    }

    #[test]
    fn told_to_be_closed_before_it_was_opened_it_stands_open() {
        let railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        let closed = Some(at("2026-03-01T09:00:00Z"));
        let opened = bypass("2026-03-01T10:00:00Z", "GRC", |b| b.closed_at = closed);
        let spans = windows(&"QHB 412".into(), &Dossier::of(vec![opened]), &railway.roster);
        assert_eq!(watched_until(&spans), Some(Instant::MAX));
    }
}
