//! What a tablet has to keep of a unit to answer without the network: JSON for `static/answers.js`, which adds the
//! reports that wait in the tablet's own queue. Times are microseconds since 1970.
use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{
    Dossier, DossierKey, Fact, Told, answer_words,
    dossier::Subject,
    occurrence::{operations, seen_closed},
    reclosed::{by_crew, window},
    start_answer::InBook,
    start_events::{latest, of_device, of_unit},
};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName, Zone, instant::DAY},
    people::People,
    reports::vocabulary::{
        Basis, FuseResult, Left, Outcome, Protection, ResetResult, Seen, ShutdownCause, Signs, TestCock,
    },
    roster::{Device, Schedule},
};

/// Of this form; a tablet that meets another fetches the picture again.
const FORM: u32 = 1;
/// So much of the time before a picture is in it whole: reports that come late from another tablet fall into it.
pub const KEPT: i64 = 7 * DAY;
/// How far from its own day a picture can write times of day.
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
    /// What the schedule says of closing each of its devices again, by tag.
    pub rules: BTreeMap<Tag, Rule>,
    /// What was written and may still matter, sorted by time and id.
    pub events: Vec<Event>,
    pub start: InBook,
}

/// The sentences of both answers by name, which the script wants beside the unit: the same for every unit.
pub fn words() -> BTreeMap<&'static str, &'static str> {
    answer_words::ALL.iter().copied().collect()
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

/// An entry, or a repair, in the words of the interchange contract as far as they go: the script takes entries of its
/// queue for events.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Event {
    at: Instant,
    id: EntryId,
    by: SignIn,
    #[serde(skip_serializing_if = "Option::is_none")]
    device: Option<Tag>,
    #[serde(skip_serializing_if = "Option::is_none")]
    signs: Option<Signs>,
    #[serde(flatten)]
    did: Did,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
enum Did {
    BreakerTrip {
        resets: Vec<Reset>,
        left: Left,
    },
    Position {
        seen: Seen,
        moved_to: Option<Seen>,
        crew: bool,
    },
    FuseCheck {
        result: FuseResult,
        replaced_by: bool,
        basis: Option<Basis>,
    },
    Bypass {
        protection: Option<Protection>,
        closed_at: Option<Instant>,
    },
    EngineStart {
        outcome: Outcome,
        attempt: Option<u32>,
        battery_cranking_v: Option<f64>,
        test_cock_result: Option<TestCock>,
    },
    Shutdown {
        cause: Option<ShutdownCause>,
        warning_notice: bool,
    },
    Defect {
        warning_notice: bool,
    },
    /// A repair was closed: of the device, or of the unit.
    Repaired,
    /// A repair of the unit was closed that answers these entries, and nothing else.
    Answered {
        entries: Vec<EntryId>,
    },
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
    let devices = beside.schedule.map_or(&[][..], |s| &s.devices);
    let start = in_book(dossiers, shop, beside);
    let events = events(dossiers, &start, beside);
    let first = events.first().map_or(beside.now, |e| e.at).min(beside.now.minus(CLOCK));
    UnitSituation {
        v: FORM,
        unit: unit.clone(),
        me: beside.me.clone(),
        crew: beside.people.is_crew(beside.me),
        picture_from: beside.now,
        zone: beside.zone.offsets(first, beside.now.plus(CLOCK)),
        rules: devices.iter().map(|device| (device.tag.clone(), rule(device))).collect(),
        events,
        start,
    }
}

fn events(dossiers: &[(DossierKey, Dossier)], start: &InBook, beside: &Beside<'_>) -> Vec<Event> {
    let mut kept: BTreeSet<EntryId> = start.events.iter().map(|event| event.id).collect();
    let mut all = Vec::new();
    for (key, dossier) in dossiers {
        let device = match &key.subject {
            // What is written of starting lies in the unit's dossier, too.
            Subject::Device(tag) if [Tag::ENGINE_START, Tag::GROUND_RELAY].contains(&tag.as_str()) => {
                continue;
            }
            Subject::Device(tag) => Some(tag),
            Subject::Unit => None,
            Subject::GroundProtection | Subject::Together => continue,
        };
        let standing: Vec<&Fact> = dossier.facts().iter().filter(|f| f.withdrawn.is_none()).collect();
        if let Some(tag) = device {
            let listed = beside.schedule.and_then(|s| s.device(tag));
            let hours = window(listed.and_then(|d| d.crew_resets.hours));
            kept.extend(for_a_reset(&standing, beside, hours).iter().map(|fact| fact.entry));
        }
        all.extend(standing.into_iter().filter_map(|fact| event(fact, device, beside.people)));
    }
    all.retain(|event| kept.contains(&event.id));
    all.sort_by_key(|event| (event.at, event.id));
    all
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

/// What the reset answer needs of a device's history: what is young enough, and all from the last moment on at which
/// nothing was left to answer for.
fn for_a_reset<'a>(facts: &[&'a Fact], beside: &Beside<'_>, hours: i64) -> Vec<&'a Fact> {
    let young = facts.partition_point(|f| beside.now.since(f.at) > hours.max(KEPT));
    let operated = facts.iter().rposition(|f| operations(f) > 0).unwrap_or(facts.len());
    let repaired = facts.iter().rposition(|f| matches!(f.told, Told::RepairClosed { .. }));
    let (mut open, mut from) = (false, 0);
    for (place, fact) in facts.iter().enumerate().take(young.min(operated) + 1) {
        if !open {
            from = place;
        }
        open = opens(fact, beside.people).unwrap_or(open);
    }
    let kept = |place: usize| place >= from || Some(place) == repaired;
    facts.iter().enumerate().filter(|(place, _)| kept(*place)).map(|(_, fact)| *fact).collect()
}

/// Whether something is left to answer for after it, at the strictest; `None` where it says nothing of that.
fn opens(fact: &Fact, people: &People) -> Option<bool> {
    match &fact.told {
        Told::Trip { resets, left, .. } => {
            let failed = resets.last().and_then(|r| r.result).is_some_and(|result| {
                matches!(result, ResetResult::TrippedAgain | ResetResult::WouldNotLatch)
            });
            Some(failed || matches!(left, Left::Off | Left::Tripped | Left::CutOut))
        }
        Told::Position(p) => {
            let closed = seen_closed(p.seen) == Some(true) || (p.closed() && !by_crew(fact, p, people));
            closed.then_some(false)
        }
        Told::RepairClosed { .. } => Some(false),
        _ => None,
    }
}

fn event(fact: &Fact, device: Option<&Tag>, people: &People) -> Option<Event> {
    let mut device = device.cloned();
    let did = match &fact.told {
        Told::Trip { resets, left, .. } => Did::BreakerTrip {
            resets: resets.iter().map(|r| Reset { at: r.at, basis: r.basis, result: r.result }).collect(),
            left: *left,
        },
        // In the unit's dossier it is only there because the device has to stay on.
        Told::Position(_) if device.is_none() => return None,
        Told::Position(p) => {
            Did::Position { seen: p.seen, moved_to: p.moved_to, crew: by_crew(fact, p, people) }
        }
        Told::Fuse { result, replaced_by, basis, .. } => {
            Did::FuseCheck { result: *result, replaced_by: replaced_by.is_some(), basis: *basis }
        }
        Told::Bypass(b) => Did::Bypass { protection: b.protection, closed_at: b.end(fact.at) },
        Told::Start { outcome, attempt, battery_cranking_v, test_cock, .. } => Did::EngineStart {
            outcome: *outcome,
            attempt: *attempt,
            battery_cranking_v: *battery_cranking_v,
            test_cock_result: *test_cock,
        },
        Told::Shutdown { cause, warning_notice } => {
            Did::Shutdown { cause: *cause, warning_notice: warning_notice.is_some() }
        }
        Told::Defect { warning_notice, .. } => Did::Defect { warning_notice: warning_notice.is_some() },
        Told::StartRepaired => {
            device = Some(Tag::ENGINE_START.into());
            Did::Repaired
        }
        Told::RepairClosed { .. } => Did::Repaired,
        Told::RepairAnswered { entries } => Did::Answered { entries: entries.clone() },
        _ => return None,
    };
    let (at, id, by, signs) = (fact.at, fact.entry, fact.author.clone(), fact.signs);
    Some(Event { at, id, by, device, signs, did })
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
