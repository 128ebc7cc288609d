//! From an entry to the facts that the dossiers hold: which subjects it concerns, and what the rules need of it.
use super::{
    dossier::Subject,
    fact::{BypassFact, Fact, FuseFact, Hand, PositionFact, ResetFact, Told},
};
use crate::{
    base::{Instant, ReportId, SignIn, Tag},
    reports::{
        Entry, What,
        entry::{DeviceRef, Who},
        kinds::{Bypass, Fuse, Position},
        vocabulary::{RunPosition, Throttle, YesNo},
    },
    roster::Schedule,
};

/// What a fact takes over from its report.
#[derive(Clone, Debug)]
pub struct Source {
    pub report: ReportId,
    /// The page that holds this version of the entry.
    pub seq: u64,
    pub author: SignIn,
    pub recorded_at: Instant,
    pub run: Option<Instant>,
    pub position: Option<RunPosition>,
}

impl Source {
    /// For finding out which subjects an entry concerns, when the facts themselves do not matter.
    pub fn blank() -> Self {
        Self {
            report: ReportId(uuid::Uuid::nil()),
            seq: 0,
            author: SignIn::from(""),
            recorded_at: Instant(0),
            run: None,
            position: None,
        }
    }
}

/// The subjects an entry concerns, each with its fact. A device that is not listed counts under the words on its plate.
pub fn route(source: &Source, entry: &Entry, schedule: Option<&Schedule>) -> Vec<(Subject, Fact)> {
    let fact = fact(source, entry);
    subjects(entry, schedule).into_iter().map(|subject| (subject, fact.clone())).collect()
}

fn subjects(entry: &Entry, schedule: Option<&Schedule>) -> Vec<Subject> {
    let device = entry.what.device().map(tag);
    let on_schedule = device.as_ref().and_then(|tag| schedule?.device(tag));
    match &entry.what {
        What::BreakerTrip(_) | What::FuseCheck(_) => device.map(Subject::Device).into_iter().collect(),
        What::GroundRelay(_) => {
            vec![Subject::Device(Tag::from(Tag::GROUND_RELAY)), Subject::GroundProtection]
        }
        What::Bypass(_) => vec![Subject::GroundProtection],
        What::EngineStart(_) => vec![Subject::Device(Tag::from(Tag::ENGINE_START)), Subject::Unit],
        What::Shutdown(_) | What::Defect(_) => vec![Subject::Unit],
        What::Position(_) => {
            let mut all: Vec<Subject> = device.map(Subject::Device).into_iter().collect();
            if on_schedule.is_some_and(|d| d.ground_protection) {
                all.push(Subject::GroundProtection);
            }
            if let (Some(schedule), Some(device)) = (schedule, on_schedule)
                && schedule.devices.iter().any(|d| {
                    d.keep_on_running
                        && (d.tag == device.tag || schedule.feeds_of(d).any(|feed| feed.tag == device.tag))
                })
            {
                all.push(Subject::Unit);
            }
            all
        }
    }
}

fn tag(device: &DeviceRef) -> Tag {
    Tag::from(device.in_words())
}

fn fact(source: &Source, entry: &Entry) -> Fact {
    Fact {
        entry: entry.id,
        report: source.report,
        seq: source.seq,
        at: entry.when.at(),
        at_how: entry.at_how,
        found: entry.when.is_found(),
        author: source.author.clone(),
        recorded_at: source.recorded_at,
        run: source.run,
        position: source.position,
        signs: entry.signs,
        engine: match entry.throttle {
            Some(Throttle::EngineOff) => YesNo::No,
            None | Some(Throttle::NotKnown) => YesNo::NotKnown,
            Some(_) => YesNo::Yes,
        },
        withdrawn: None,
        told: told(&entry.what),
    }
}

fn told(what: &What) -> Told {
    match what {
        What::BreakerTrip(trip) => {
            let reset = |r: &crate::reports::kinds::Reset| ResetFact {
                at: r.at.map(|s| s.at),
                basis: r.basis,
                result: r.result,
            };
            Told::Trip {
                device: tag(&trip.device),
                resets: trip.resets.iter().map(reset).collect(),
                left: trip.left,
            }
        }
        What::GroundRelay(ground) => Told::Ground {
            operations: ground.operations.unwrap_or(1),
            last_at: ground.last_at.map(|s| s.at),
            mode: ground.mode,
            reset: ground.reset,
            after: ground.after,
        },
        What::Bypass(bypass) => Told::Bypass(Box::new(bypass_fact(bypass))),
        What::FuseCheck(check) => Told::Fuse {
            device: tag(&check.device),
            result: check.result,
            fitted: check.fitted.as_ref().map(fuse),
            replaced_by: check.replaced_by.as_ref().map(fuse),
            basis: check.basis,
        },
        What::EngineStart(start) => {
            Told::Start { outcome: start.outcome, battery_cranking_v: start.battery_cranking_v }
        }
        What::Shutdown(down) => {
            Told::Shutdown { cause: down.cause, warning_notice: down.warning_notice.clone() }
        }
        What::Defect(defect) => Told::Defect {
            system: defect.system.clone(),
            text: defect.text.clone(),
            may_go_on: defect.may_go_on,
            restriction: defect.restriction.clone(),
        },
        What::Position(position) => Told::Position(Box::new(position_fact(position))),
    }
}

fn hand(who: &Who) -> Hand {
    match who {
        Who::Person(sign_in) => Hand::Person(sign_in.clone()),
        Who::Named(name) => Hand::Named(name.clone()),
        Who::NotKnown => Hand::NotKnown,
    }
}

fn fuse(fuse: &Fuse) -> FuseFact {
    FuseFact { rating_a: fuse.rating_a, rating_v: fuse.rating_v, speed: fuse.speed, body: fuse.body.clone() }
}

fn bypass_fact(bypass: &Bypass) -> BypassFact {
    BypassFact {
        device: tag(&bypass.device),
        by: bypass.by.as_ref().map_or(Hand::NotKnown, hand),
        authorised_by: bypass.authorised_by.as_ref().map(hand),
        authorised_how: bypass.authorised_how.map(|how| how.as_str().to_owned()),
        authorised_at: bypass.authorised_at.map(|s| s.at),
        reference: bypass.reference.clone(),
        purpose: bypass.purpose,
        engine_running: bypass.engine_running.unwrap_or(YesNo::NotKnown),
        power_taken: bypass.power_taken.unwrap_or(YesNo::NotKnown),
        protection: bypass.protection,
        seal_found: bypass.seal_found.as_ref().map(|s| s.in_words().to_owned()),
        closed_at: bypass.closed_at.map(|s| s.at),
        closed_by: bypass.closed_by.as_ref().map(hand),
        seal_applied: bypass.seal_applied.as_ref().map(|s| s.in_words().to_owned()),
    }
}

fn position_fact(position: &Position) -> PositionFact {
    PositionFact {
        device: tag(&position.device),
        seen: position.seen,
        moved_to: position.moved_to,
        by: position.by.as_ref().map_or(Hand::NotKnown, hand),
        why: position.why.clone(),
        reference: position.reference.clone(),
        seal: position.seal.as_ref().map(|s| s.in_words().to_owned()),
    }
}
