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
        fact::{Fact, FuseFact, Told},
        fuse::{FuseMatch, compare},
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
                Subject::GroundProtection | Subject::Unit | Subject::Together => None,
            };
            if let Some(tag) = tag {
                let device = schedule.and_then(|s| s.device(&tag));
                picture.look(tag.clone(), device, dossier.facts());
            }
        }
        for cutout in schedule.into_iter().flat_map(Schedule::cutouts) {
            picture.look_at_cutout(cutout, dossiers);
        }
        picture
    }

    fn look(&mut self, tag: Tag, device: Option<&Device>, facts: &[Fact]) {
        if let Some(state) = state_of(facts) {
            let drawn = drawn(&state, device, facts);
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
        self.look(cutout.tag.clone(), Some(cutout), &facts);
    }

    pub fn known(&self, device: &Device) -> Option<Known> {
        self.known.get(&device.tag).map(|(known, _)| *known)
    }

    pub fn state(&self, device: &Device) -> Option<&DeviceState> {
        self.known.get(&device.tag).map(|(_, state)| state)
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
fn drawn(state: &DeviceState, device: Option<&Device>, facts: &[Fact]) -> State {
    let last = facts.iter().rev().find(|f| f.entry == state.entry && f.withdrawn.is_none());
    match (state.standing, last.map(|f| &f.told)) {
        (Standing::On, Some(Told::Fuse { replaced_by: Some(fuse), .. })) => fitted(device, fuse),
        (Standing::On, Some(Told::Fuse { result, fitted: fuse, .. })) => match (result, fuse) {
            (FuseResult::WrongOne, _) => State::WrongOne,
            (FuseResult::Bridged, _) => State::Bridged,
            (_, Some(fuse)) => fitted(device, fuse),
            (_, None) => State::On,
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

/// A fuse that may not open when it must is in the wrong place, whatever it was called.
fn fitted(device: Option<&Device>, fuse: &FuseFact) -> State {
    match device.map(|device| compare(device, fuse)) {
        Some(FuseMatch::Wrong(_)) => State::WrongOne,
        _ => State::On,
    }
}

fn unsealed(seal: Option<&str>) -> bool {
    matches!(seal, Some("broken" | "missing" | "none"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        base::UnitName,
        pages::drawn::sample,
        reports::vocabulary::Left,
        rules::sample::{at, bypass, position, trip},
    };

    fn picture(facts: Vec<(Subject, Vec<Fact>)>) -> Picture {
        let key = |subject| DossierKey { unit: UnitName::from("QHB 412"), subject };
        let dossiers: Vec<_> = facts.into_iter().map(|(s, facts)| (key(s), Dossier::of(facts))).collect();
        Picture::of(&dossiers, Some(&sample::schedule()))
    }

    fn state(picture: &Picture, tag: &str) -> Option<State> {
        let schedule = sample::schedule();
        picture.known(schedule.device(&tag.into())?).map(|known| known.state)
    }

    #[test]
    fn devices_stand_as_last_written_and_others_are_not_guessed() {
        let tripped = trip("2026-03-01T10:00:00Z", "TC2", Left::Tripped);
        let picture = picture(vec![(Subject::Device("TC2".into()), vec![tripped])]);
        assert_eq!((state(&picture, "TC2"), state(&picture, "TC1")), (Some(State::Tripped), None));
        let schedule = sample::schedule();
        let amiss: Vec<_> = picture.amiss(&schedule).map(|(device, ..)| device.tag.to_string()).collect();
        assert_eq!(amiss, ["TC2"]);
    }

    #[test]
    fn a_cutout_is_open_closed_or_closed_without_its_seal() {
        let open = || bypass("2026-03-01T10:00:00Z", "GRC", |_| {});
        let closed = |seal: &str| {
            let seal = seal.to_owned();
            bypass("2026-03-01T10:00:00Z", "GRC", |b| {
                b.closed_at = Some(at("2026-03-01T11:00:00Z"));
                b.seal_applied = Some(seal);
            })
        };
        let of = |fact: Fact| state(&picture(vec![(Subject::GroundProtection, vec![fact])]), "GRC");
        assert_eq!(of(open()), Some(State::Off));
        assert_eq!(of(closed("20433")), Some(State::On));
        assert_eq!(of(closed("none")), Some(State::Unsealed));
        let seen = vec![open(), position("2026-03-01T12:00:00Z", "GRC", "closed", None)];
        assert_eq!(state(&picture(vec![(Subject::GroundProtection, seen)]), "GRC"), Some(State::On));
    }
}
