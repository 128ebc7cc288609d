//! What a tablet has to keep of a unit to answer without the network: JSON for `static/answers.js`, which adds the
//! reports that wait in the tablet's own queue. Times are microseconds since 1970.
use std::collections::BTreeMap;

use serde::Serialize;

use super::{
    Dossier, DossierKey, Fact, Told,
    dossier::Subject,
    occurrence::{operations, seen_closed},
    reclosed::{by_crew, window},
    start_answer::InBook,
    start_events::{latest, of_device, of_unit},
};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName, Zone, instant::DAY},
    people::People,
    reports::vocabulary::{Basis, FuseResult, Left, ResetResult, Seen, Signs},
    roster::{Device, Schedule},
};

/// Of this form; the script says so where it meets another.
const FORM: u32 = 1;
/// So much of the time before a picture is in it whole.
const KEPT: i64 = 7 * DAY;
/// How long a picture can still write times of day.
const CLOCK: i64 = 400 * DAY;

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnitSituation {
    pub v: u32,
    pub unit: UnitName,
    /// For whom the picture was made, and whether their closings count as a crew's.
    pub me: SignIn,
    pub crew: bool,
    pub picture_from: Instant,
    /// From when on which minutes east of UTC hold.
    pub zone: Vec<(Instant, i16)>,
    /// By tag: all of the schedule, and whatever else was written of.
    pub devices: BTreeMap<Tag, OfDevice>,
    pub start: InBook,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct OfDevice {
    /// `None`: the schedule does not have it.
    pub rule: Option<Rule>,
    /// Sorted by time and id.
    pub events: Vec<Event>,
}

/// What the schedule says of closing it again; blank is never permission.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rule {
    times: Option<u32>,
    hours: Option<f64>,
    wait_s: Option<u32>,
    before: Option<String>,
    after: Option<String>,
    if_left_off: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Event {
    at: Instant,
    id: EntryId,
    by: SignIn,
    #[serde(skip_serializing_if = "Option::is_none")]
    signs: Option<Signs>,
    #[serde(flatten)]
    did: Did,
    /// The device is closed after it, or was left open by somebody who says so; not in the JSON.
    #[serde(skip)]
    opens: Option<bool>,
    #[serde(skip)]
    operated: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
enum Did {
    Trip { resets: Vec<Reset>, left: Left },
    Position { seen: Seen, moved_to: Option<Seen>, crew: bool },
    Fuse { blown: bool, replaced: bool, basis: Option<Basis> },
    Ground { operations: u32 },
    Repair,
    Other,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct Reset {
    at: Option<Instant>,
    basis: Basis,
    result: Option<ResetResult>,
}

/// Who asks, and by what the answers go.
#[derive(Clone, Copy, Debug)]
pub struct Beside<'a> {
    pub me: &'a SignIn,
    pub people: &'a People,
    pub zone: &'a Zone,
    pub schedule: Option<&'a Schedule>,
    pub now: Instant,
}

/// What the shop has open on a unit.
#[derive(Clone, Debug, Default)]
pub struct InShop {
    pub held: Option<Instant>,
    /// Since when, and of which device.
    pub repairs: Vec<(Instant, Option<Tag>)>,
}

/// All that a tablet needs for the answers about one unit.
pub fn of(
    unit: &UnitName,
    dossiers: &[(DossierKey, Dossier)],
    shop: InShop,
    beside: &Beside<'_>,
) -> UnitSituation {
    let devices = devices(dossiers, beside);
    let earliest = devices.values().filter_map(|d| d.events.first()).map(|e| e.at);
    let start = in_book(dossiers, shop, beside);
    let first = earliest.chain(start.events.first().map(|e| e.at)).min().unwrap_or(beside.now);
    UnitSituation {
        v: FORM,
        unit: unit.clone(),
        me: beside.me.clone(),
        crew: beside.people.is_crew(beside.me),
        picture_from: beside.now,
        zone: beside.zone.offsets(first.min(beside.now.minus(CLOCK)), beside.now.plus(CLOCK)),
        devices,
        start,
    }
}

fn devices(dossiers: &[(DossierKey, Dossier)], beside: &Beside<'_>) -> BTreeMap<Tag, OfDevice> {
    let mut out: BTreeMap<Tag, OfDevice> = BTreeMap::new();
    for device in beside.schedule.into_iter().flat_map(|s| &s.devices) {
        out.entry(device.tag.clone()).or_default().rule = Some(rule(device));
    }
    for (key, dossier) in dossiers {
        let Subject::Device(tag) = &key.subject else { continue };
        let of = out.entry(tag.clone()).or_default();
        let hours = window(of.rule.as_ref().and_then(|r| r.hours));
        of.events = events(dossier.facts(), beside.people, beside.now, hours);
    }
    out
}

/// What the schedule says of closing a device again.
pub fn rule(device: &Device) -> Rule {
    Rule {
        times: device.crew_resets.times,
        hours: device.crew_resets.hours,
        wait_s: device.crew_resets.wait_s,
        before: device.before_closing.clone(),
        after: device.after_closing.clone(),
        if_left_off: device.if_left_off.clone(),
    }
}

/// What the reset answer needs of a device's history, `hours` being the schedule's: what is young enough, and from
/// the last moment on at which nothing was left to answer for.
pub fn events(facts: &[Fact], people: &People, now: Instant, hours: i64) -> Vec<Event> {
    let standing = facts.iter().filter(|f| f.withdrawn.is_none());
    let mut all: Vec<Event> = standing.map(|fact| event(fact, people)).collect();
    all.sort_by_key(|e| (e.at, e.id));
    let young = all.partition_point(|e| now.since(e.at) > hours.max(KEPT));
    let last = all.iter().rposition(|e| e.operated).unwrap_or(all.len());
    let repaired = all.iter().rposition(|e| e.did == Did::Repair);
    let (mut open, mut from) = (false, 0);
    for (place, event) in all.iter().enumerate().take(young.min(last) + 1) {
        if !open {
            from = place;
        }
        open = event.opens.unwrap_or(open);
    }
    if !open && young.min(last) >= all.len() {
        from = all.len();
    }
    let kept = |place: usize| place >= from || Some(place) == repaired;
    all.into_iter().enumerate().filter(|(place, _)| kept(*place)).map(|(_, event)| event).collect()
}

fn event(fact: &Fact, people: &People) -> Event {
    let did = match &fact.told {
        Told::Trip { resets, left, .. } => Did::Trip {
            resets: resets.iter().map(|r| Reset { at: r.at, basis: r.basis, result: r.result }).collect(),
            left: *left,
        },
        Told::Position(p) => {
            Did::Position { seen: p.seen, moved_to: p.moved_to, crew: by_crew(fact, p, people) }
        }
        Told::Fuse { result, replaced_by, basis, .. } => {
            Did::Fuse { blown: *result == FuseResult::Blown, replaced: replaced_by.is_some(), basis: *basis }
        }
        Told::Ground { operations, .. } => Did::Ground { operations: *operations },
        Told::RepairClosed { .. } => Did::Repair,
        _ => Did::Other,
    };
    Event {
        at: fact.at,
        id: fact.entry,
        by: fact.author.clone(),
        signs: fact.signs,
        opens: opens(&did),
        operated: operations(fact) > 0,
        did,
    }
}

/// Whether something is left to answer for after it, at the strictest; `None` where it says nothing of that.
fn opens(did: &Did) -> Option<bool> {
    match did {
        Did::Trip { resets, left } => {
            let failed = resets.last().and_then(|r| r.result).is_some_and(|result| {
                matches!(result, ResetResult::TrippedAgain | ResetResult::WouldNotLatch)
            });
            Some(failed || matches!(left, Left::Off | Left::Tripped | Left::CutOut))
        }
        Did::Position { seen, moved_to, crew } => {
            let closed = seen_closed(*seen) == Some(true);
            let moved = moved_to.and_then(seen_closed) == Some(true) && !crew;
            (closed || moved).then_some(false)
        }
        Did::Repair => Some(false),
        _ => None,
    }
}

/// What the book has of a unit that bears on starting it.
pub fn in_book(dossiers: &[(DossierKey, Dossier)], shop: InShop, beside: &Beside<'_>) -> InBook {
    let group = beside.schedule.into_iter().flat_map(|s| s.devices.iter().filter(|d| d.start_group));
    let group: Vec<(Tag, String)> = group.map(|d| (d.tag.clone(), d.legend.clone())).collect();
    let mut events = Vec::new();
    for (key, dossier) in dossiers {
        match &key.subject {
            Subject::Unit => events.extend(of_unit(dossier.facts())),
            Subject::Device(tag) => {
                let cutout = beside.schedule.and_then(|s| s.device(tag)).is_some_and(|d| d.ground_protection);
                let opened = || dossier.facts().iter().any(|f| matches!(f.told, Told::Bypass(_)));
                if cutout || group.iter().any(|(of, _)| of == tag) || opened() {
                    events.extend(of_device(tag, dossier.facts()));
                }
            }
            Subject::GroundProtection | Subject::Together => {}
        }
    }
    InBook {
        class: beside.schedule.map(|s| s.start.clone()),
        held: shop.held,
        repairs: shop.repairs,
        group,
        events: latest(events, beside.now),
    }
}
