//! What was written that bears on starting an engine: events, and what follows from them at a moment.
use std::collections::{BTreeMap, BTreeSet};

use super::{
    Fact, Told,
    occurrence::did_not_run,
    situation::KEPT,
    state::{Standing, left_by},
};
use crate::{
    base::{EntryId, Instant, Tag, instant::DAY},
    reports::vocabulary::{Outcome, Protection, ShutdownCause, TestCock},
};

/// Attempts and their volts count for so long: after a night's charge they say nothing any more.
const ATTEMPTS: i64 = DAY;

#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    pub at: Instant,
    pub id: EntryId,
    pub did: Did,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Did {
    Start {
        outcome: Outcome,
        attempt: Option<u32>,
        cranking_v: Option<f64>,
        cock: Option<TestCock>,
    },
    Stop {
        cause: Option<ShutdownCause>,
        notice: bool,
    },
    /// A defect with a warning notice.
    Notice,
    /// How a device was last written to stand.
    Device {
        device: Tag,
        standing: Standing,
    },
    /// A cutout opened or found open, and what was at it.
    Guard {
        device: Tag,
        what: Option<Protection>,
        until: Option<Instant>,
    },
    /// A repair was closed: of the unit, or only of what starts it.
    Repaired {
        start_only: bool,
    },
    /// A repair of the unit was closed that answers these entries, and nothing else.
    Answered {
        entries: Vec<EntryId>,
    },
}

/// A stop after which an engine is not simply started again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    CrankcaseDevice,
    Overspeed,
    LowOil,
    LowWater,
}

impl Stop {
    /// Only a repair answers it. The others are past once the engine has run, or stopped for another reason.
    fn stays(self) -> bool {
        matches!(self, Self::CrankcaseDevice | Self::Overspeed)
    }
}

impl Event {
    fn stop(&self) -> Option<Stop> {
        match self.did {
            Did::Stop { cause: Some(ShutdownCause::CrankcaseDevice), .. }
            | Did::Start { outcome: Outcome::CrankcaseDevice, .. } => Some(Stop::CrankcaseDevice),
            Did::Stop { cause: Some(ShutdownCause::Overspeed), .. }
            | Did::Start { outcome: Outcome::Overspeed, .. } => Some(Stop::Overspeed),
            Did::Stop { cause: Some(ShutdownCause::LowOil), .. }
            | Did::Start { outcome: Outcome::LowOil, .. } => Some(Stop::LowOil),
            Did::Stop { cause: Some(ShutdownCause::LowWater), .. }
            | Did::Start { outcome: Outcome::LowWater, .. } => Some(Stop::LowWater),
            _ => None,
        }
    }

    fn answers(&self, entry: EntryId) -> bool {
        matches!(&self.did, Did::Answered { entries } if entries.contains(&entry))
    }

    fn ran(&self) -> bool {
        matches!(self.did, Did::Start { outcome: Outcome::Running, .. })
    }

    /// It ran, or stopped for a reason that somebody knows.
    fn is_past(&self) -> bool {
        match self.did {
            Did::Stop { cause, .. } => cause.is_some_and(|cause| cause != ShutdownCause::NotKnown),
            _ => self.ran(),
        }
    }
}

/// What follows from the events by a moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known<'a> {
    /// The last warning notice that no repair has answered.
    pub notice: Option<Instant>,
    pub guards: Vec<(&'a Tag, Protection, Instant)>,
    pub stopped: Option<(Stop, Instant)>,
    /// Water, fuel or oil at a test cock stays until a repair; `clear` is not kept.
    pub cock: Option<(TestCock, Instant)>,
    /// Attempts that failed since it last ran or was repaired, and their numbers.
    pub failed: Vec<(Instant, Option<u32>)>,
    /// The last volts while cranking among those attempts.
    pub cranking: Option<(f64, Instant)>,
    /// Since when it is shut down; `None`: not known.
    pub shut_down: Option<Instant>,
    standing: Vec<(&'a Tag, Standing, Instant)>,
}

impl<'a> Known<'a> {
    pub fn of(events: &'a [Event], now: Instant) -> Self {
        let mut known = Self::default();
        let past = || events.iter().filter(|event| event.at <= now);
        for event in past() {
            let answered = past().any(|later| later.at >= event.at && later.answers(event.id));
            known.of_the_unit(event, answered);
            known.of_starting(event, now);
            known.of_devices(event, now);
        }
        known
    }

    /// `answered`: by a repair that names it.
    fn of_the_unit(&mut self, event: &Event, answered: bool) {
        let at = event.at;
        match (event.stop().filter(|_| !answered), self.stopped) {
            (Some(stop), Some((before, _))) if before.stays() && !stop.stays() => {}
            (Some(stop), _) => self.stopped = Some((stop, at)),
            (None, Some((before, _))) if !before.stays() && event.is_past() => self.stopped = None,
            (None, _) => {}
        }
        match event.did {
            Did::Repaired { start_only: false } => {
                (self.notice, self.stopped, self.cock) = (None, None, None)
            }
            _ if answered => {}
            Did::Stop { notice: true, .. } | Did::Notice => self.notice = Some(at),
            Did::Start { cock: Some(cock @ (TestCock::Water | TestCock::Fuel | TestCock::Oil)), .. } => {
                self.cock = Some((cock, at));
            }
            _ => {}
        }
    }

    fn of_starting(&mut self, event: &Event, now: Instant) {
        let at = event.at;
        match event.did {
            Did::Repaired { .. } => (self.failed, self.cranking) = (Vec::new(), None),
            Did::Stop { .. } => self.shut_down = Some(at),
            Did::Start { outcome: Outcome::Running, .. } => {
                (self.failed, self.cranking, self.shut_down) = (Vec::new(), None, None);
            }
            Did::Start { outcome, attempt, cranking_v, .. } if now.since(at) <= ATTEMPTS => {
                if did_not_run(outcome) {
                    self.failed.push((at, attempt));
                }
                self.cranking = cranking_v.map(|volts| (volts, at)).or(self.cranking);
            }
            _ => {}
        }
    }

    fn of_devices(&mut self, event: &'a Event, now: Instant) {
        match &event.did {
            Did::Device { device, standing } => {
                if *standing == Standing::On {
                    self.guards.retain(|(tag, ..)| *tag != device);
                }
                self.standing.retain(|(tag, ..)| *tag != device);
                self.standing.push((device, *standing, event.at));
            }
            Did::Guard { device, what, until } => {
                let ended = until.is_some_and(|until| until <= now);
                let stands =
                    what.filter(|w| matches!(w, Protection::Lock | Protection::Tag | Protection::BlueSignal));
                if ended || stands.is_some() || *what == Some(Protection::None) {
                    self.guards.retain(|(tag, ..)| *tag != device);
                }
                self.guards.extend(stands.filter(|_| !ended).map(|what| (device, what, event.at)));
                let standing = if ended { Standing::On } else { Standing::Off };
                self.standing.retain(|(tag, ..)| *tag != device);
                self.standing.push((device, standing, event.at));
            }
            _ => {}
        }
    }

    /// How many were made: as many as were written, or as the last of them says.
    pub fn attempts(&self) -> u32 {
        let told = self.failed.iter().filter_map(|(_, attempt)| *attempt).max().unwrap_or(0);
        told.max(u32::try_from(self.failed.len()).unwrap_or(u32::MAX))
    }

    pub fn standing(&self, tag: &Tag) -> Option<(Standing, Instant)> {
        self.standing.iter().find(|(of, ..)| *of == tag).map(|(_, standing, at)| (*standing, *at))
    }
}

/// Of the unit's own dossier: starts, stops, notices, repairs.
pub fn of_unit(facts: &[Fact]) -> impl Iterator<Item = Event> {
    facts.iter().filter(|fact| fact.withdrawn.is_none()).filter_map(|fact| {
        let did = match &fact.told {
            Told::Start { outcome, attempt, battery_cranking_v, test_cock, .. } => Did::Start {
                outcome: *outcome,
                attempt: *attempt,
                cranking_v: *battery_cranking_v,
                cock: *test_cock,
            },
            Told::Shutdown { cause, warning_notice } => {
                Did::Stop { cause: *cause, notice: warning_notice.is_some() }
            }
            Told::Defect { warning_notice: Some(_), .. } => Did::Notice,
            Told::RepairClosed { .. } => Did::Repaired { start_only: false },
            Told::StartRepaired => Did::Repaired { start_only: true },
            Told::RepairAnswered { entries } => Did::Answered { entries: entries.clone() },
            _ => return None,
        };
        Some(Event { at: fact.at, id: fact.entry, did })
    })
}

/// Of a device's dossier: how it was left each time, and what was at it while it was open.
pub fn of_device<'a>(device: &'a Tag, facts: &'a [Fact]) -> impl Iterator<Item = Event> + 'a {
    facts.iter().filter(|fact| fact.withdrawn.is_none()).filter_map(|fact| {
        let device = device.clone();
        let did = match &fact.told {
            Told::Bypass(bypass) => {
                Did::Guard { device, what: bypass.protection, until: bypass.end(fact.at) }
            }
            _ => Did::Device { device, standing: left_by(fact)? },
        };
        Some(Event { at: fact.at, id: fact.entry, did })
    })
}

/// What cannot matter any more is left out: a unit's years of starts would not fit a tablet's picture of it. Sorted by
/// time and id.
pub fn latest(mut events: Vec<Event>, from: Instant) -> Vec<Event> {
    events.sort_by_key(|event| (event.at, event.id));
    let last = |of: &dyn Fn(&Event) -> bool| events.iter().rposition(of);
    let repaired = last(&|e| matches!(e.did, Did::Repaired { start_only: false }));
    let mut marks: BTreeSet<usize> =
        [repaired, last(&Event::ran), last(&Event::is_past)].into_iter().flatten().collect();
    marks.extend(last(&|e| matches!(e.did, Did::Stop { .. })));
    // How each device was last left, and when it was last on.
    let mut left: BTreeMap<(&Tag, bool), usize> = BTreeMap::new();
    for (place, event) in events.iter().enumerate() {
        if let Did::Device { device, standing } = &event.did {
            left.insert((device, false), place);
            if *standing == Standing::On {
                left.insert((device, true), place);
            }
        }
    }
    marks.extend(left.into_values());
    let kept = |place: usize, event: &Event| {
        let unanswered = event.stop().is_some() || is_wet(event) || has_notice(event);
        let guard = matches!(event.did, Did::Guard { .. });
        let young = from.since(event.at) <= KEPT;
        young || guard || marks.contains(&place) || (unanswered && Some(place) >= repaired)
    };
    let mut places: Vec<bool> = events.iter().enumerate().map(|(place, event)| kept(place, event)).collect();
    // What answered one that is kept must not be left out, or it would stand again.
    for (place, event) in events.iter().enumerate() {
        let of_kept = |(at, kept): (usize, &bool)| *kept && event.answers(events[at].id);
        if matches!(event.did, Did::Answered { .. }) && !places[place] {
            places[place] = places.iter().enumerate().any(of_kept);
        }
    }
    events.into_iter().zip(places).filter(|(_, kept)| *kept).map(|(event, _)| event).collect()
}

fn is_wet(event: &Event) -> bool {
    matches!(event.did, Did::Start { cock: Some(TestCock::Water | TestCock::Fuel | TestCock::Oil), .. })
}

fn has_notice(event: &Event) -> bool {
    matches!(event.did, Did::Notice | Did::Stop { notice: true, .. })
}
