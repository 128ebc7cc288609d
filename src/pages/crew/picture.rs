//! How the devices of a unit stand, as last written: from the rules' histories to what the panel draws.
use std::collections::BTreeMap;

use crate::{
    base::Tag,
    pages::drawn::state::{Known, State},
    reports::vocabulary::FuseResult,
    roster::{Device, DeviceKind, Schedule},
    rules::{
        Dossier, DossierKey,
        dossier::Subject,
        fact::{Fact, Told},
        state::{DeviceState, Standing, state_of},
    },
};

/// By tag; a device without an entry is not in it.
#[derive(Clone, Debug, Default)]
pub struct Picture {
    known: BTreeMap<Tag, (Known, DeviceState)>,
}

impl Picture {
    pub fn of(dossiers: &[(DossierKey, Dossier)], schedule: Option<&Schedule>) -> Self {
        let mut picture = Self::default();
        for (key, dossier) in dossiers {
            let tag = match &key.subject {
                Subject::Device(tag) if tag.as_str() == Tag::GROUND_RELAY => relay(schedule),
                Subject::Device(tag) => Some(tag.clone()),
                Subject::GroundProtection | Subject::Unit => None,
            };
            if let Some(tag) = tag {
                picture.look(tag, dossier.facts());
            }
        }
        for cutout in schedule.into_iter().flat_map(Schedule::cutouts) {
            picture.look_at_cutout(cutout, dossiers);
        }
        picture
    }

    fn look(&mut self, tag: Tag, facts: &[Fact]) {
        if let Some(state) = state_of(facts) {
            let drawn = drawn(&state, facts);
            self.known.insert(tag, (Known { state: drawn, at: state.seen_at }, state));
        }
    }

    fn look_at_cutout(&mut self, cutout: &Device, dossiers: &[(DossierKey, Dossier)]) {
        let about = |fact: &&Fact| match &fact.told {
            Told::Bypass(bypass) => bypass.device == cutout.tag,
            Told::Position(position) => position.device == cutout.tag,
            _ => false,
        };
        let all = dossiers.iter().filter(|(key, _)| key.subject == Subject::GroundProtection);
        let facts: Vec<Fact> = all.flat_map(|(_, d)| d.facts()).filter(about).cloned().collect();
        self.look(cutout.tag.clone(), &facts);
    }

    pub fn known(&self, device: &Device) -> Option<Known> {
        self.known.get(&device.tag).map(|(known, _)| *known)
    }

    /// Devices that do not carry current, or carry it where they should not, in the schedule's order.
    pub fn amiss<'a>(
        &'a self,
        schedule: &'a Schedule,
    ) -> impl Iterator<Item = (&'a Device, Known, &'a DeviceState)> {
        schedule.devices.iter().filter_map(|device| {
            let (known, state) = self.known.get(&device.tag)?;
            (!matches!(known.state, State::On | State::NotKnown)).then_some((device, *known, state))
        })
    }
}

/// Operations are kept under one name; a class with one relay has no doubt which it was.
fn relay(schedule: Option<&Schedule>) -> Option<Tag> {
    let mut relays = schedule?.devices.iter().filter(|d| d.kind == DeviceKind::Relay);
    match (relays.next(), relays.next()) {
        (Some(only), None) => Some(only.tag.clone()),
        _ => None,
    }
}

/// A fuse that carries current may still be the wrong one, a closed cutout unsealed.
fn drawn(state: &DeviceState, facts: &[Fact]) -> State {
    let last = facts.iter().rev().find(|f| f.entry == state.entry && f.withdrawn.is_none());
    match (state.standing, last.map(|f| &f.told)) {
        (Standing::On, Some(Told::Fuse { result, replaced_by: None, .. })) => match result {
            FuseResult::WrongOne => State::WrongOne,
            FuseResult::Bridged => State::Bridged,
            _ => State::On,
        },
        (Standing::On, Some(Told::Position(p))) if unsealed(p.seal.as_deref()) => State::Unsealed,
        (Standing::On, Some(Told::Bypass(b))) if unsealed(b.seal_applied.as_deref()) => State::Unsealed,
        (Standing::On, _) => State::On,
        (Standing::Off, _) => State::Off,
        (Standing::Tripped, _) => State::Tripped,
        (Standing::CutOut, _) => State::CutOut,
        (Standing::Blown, _) => State::Blown,
        (Standing::Missing, _) => State::Missing,
        (Standing::NotKnown, _) => State::NotKnown,
    }
}

fn unsealed(seal: Option<&str>) -> bool {
    matches!(seal, Some("broken" | "missing" | "none"))
}
