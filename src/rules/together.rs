//! Operations as the rule about shared causes sees them: what operated, when by the clock, on which unit. They go to
//! the unit's own dossier of what operated together, and to that of every unit that the report says was coupled to it.
use std::collections::BTreeSet;

use super::{
    fact::{Fact, On, Told},
    occurrence::did_not_run,
    routing::{Source, tag_of},
};
use crate::{
    base::{Instant, SignIn, Tag, UnitName},
    reports::{Entry, What, vocabulary::AtHow, vocabulary::FuseResult, vocabulary::YesNo},
};

/// What an entry says operated, if it says when by the clock. A time from memory, or of finding it so on taking over,
/// says nothing about what operated together.
pub fn operated(entry: &Entry) -> Option<Tag> {
    if entry.at_how != AtHow::Clock || entry.when.is_found() {
        return None;
    }
    match &entry.what {
        What::BreakerTrip(trip) => Some(tag_of(&trip.device)),
        What::FuseCheck(check) if check.result == FuseResult::Blown => Some(tag_of(&check.device)),
        What::GroundRelay(_) => Some(Tag::GROUND_RELAY.into()),
        What::EngineStart(start) if did_not_run(start.outcome) => Some(Tag::ENGINE_START.into()),
        _ => None,
    }
}

/// The units in whose dossiers of what operated together an entry about `unit` belongs; none for most entries.
pub fn units(unit: &UnitName, consist: &[UnitName], entry: &Entry) -> BTreeSet<UnitName> {
    match operated(entry) {
        Some(_) => consist.iter().chain([unit]).cloned().collect(),
        None => BTreeSet::new(),
    }
}

/// The facts an entry about `unit` gives, each with the unit whose dossier of what operated together it goes to.
pub fn route(source: &Source, unit: &UnitName, consist: &[UnitName], entry: &Entry) -> Vec<(UnitName, Fact)> {
    let Some(device) = operated(entry) else { return Vec::new() };
    let mut all = units(unit, consist, entry);
    all.remove(unit);
    let others = all.iter().map(|other| (other.clone(), On::Other(unit.clone())));
    let own = (unit.clone(), On::Itself { with: all.iter().cloned().collect() });
    let told = others.chain([own]);
    told.map(|(whose, on)| (whose, thin(source, entry, Told::Operated { device: device.clone(), on })))
        .collect()
}

/// The units in whose dossiers what operated on this one is found, too.
pub fn coupled(own: &[Fact]) -> impl Iterator<Item = &UnitName> {
    own.iter().flat_map(|fact| match &fact.told {
        Told::Operated { on: On::Itself { with }, .. } => with.as_slice(),
        _ => &[],
    })
}

/// Only what the rule looks at: these facts are about devices and name nobody, and every report with an operation
/// writes some.
fn thin(source: &Source, entry: &Entry, told: Told) -> Fact {
    Fact {
        entry: entry.id,
        report: source.report,
        seq: source.seq,
        at: entry.when.at(),
        at_how: AtHow::Clock,
        found: false,
        author: SignIn::from(""),
        recorded_at: Instant(0),
        run: None,
        position: None,
        signs: None,
        engine: YesNo::NotKnown,
        withdrawn: None,
        told,
    }
}
