//! What stands against releasing a unit: a cutout open, a device off without a stated reason, a seal that is missing, a
//! warning notice still attached. Each with the reason and what to do about it.
use std::collections::BTreeMap;

use crate::{
    base::{EntryId, Instant, Tag, Zone, text::own_words, words::words},
    roster::{Device, RightPosition, Schedule},
    rules::{
        Bypass, Dossier, DossierKey, Fact, Told,
        dossier::Subject,
        seal,
        state::{DeviceState, state_of},
    },
};

words! {
    pub enum Kind { CutoutOpen = "cutout_open", DeviceOff = "device_off", SealMissing = "seal_missing", NoticeAttached = "notice_attached", }
}

impl Kind {
    /// A unit that is moved dead for repair may go with it: nothing of it is put under power.
    pub fn may_go_dead(self) -> bool {
        self != Self::SealMissing
    }
}

/// One thing against a release.
#[derive(Clone, Debug, PartialEq)]
pub struct Against {
    pub kind: Kind,
    pub device: Option<Tag>,
    /// The entry that tells of it.
    pub entry: Option<EntryId>,
    pub since: Instant,
    pub says: String,
    pub what_to_do: &'static str,
}

/// A device that is off, and somebody said why: no obstacle, but whoever releases the unit is to know it.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOff {
    pub device: Tag,
    pub says: String,
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    pub against: Vec<Against>,
    pub left_off: Vec<LeftOff>,
}

const CLOSE_IT: &str = "Look for a lock, a tag or a blue signal first: somebody may be testing. Whoever closes it writes that down, \
    with the seal put on. An open bypass never goes under power.";
const SAY_WHY: &str = "Put it back, or leave it off for a reason: write it down as found or moved, with the reason or the number of the order.";
const SEAL_IT: &str = "Put a seal on and write its number down, as a switch found or moved.";
const TAKE_OFF: &str = "It stays attached until repairs have been made (49 CFR 229.101(b)). Open a repair of this entry; its closing \
    answers it, and then the notice comes off.";

/// `open`: the unit's openings that the register does not know to be closed.
pub fn against(
    dossiers: &[(DossierKey, Dossier)],
    open: &[Bypass],
    schedule: Option<&Schedule>,
    zone: &Zone,
) -> Found {
    let mut found = Found::default();
    let named = |tag: &Tag| named(tag, schedule);
    for bypass in open {
        found.against.push(Against {
            kind: Kind::CutoutOpen,
            device: Some(bypass.device.clone()),
            entry: Some(bypass.id),
            since: bypass.begins(),
            says: format!(
                "{} stands open in the book since {}.",
                named(&bypass.device),
                zone.in_words(bypass.begins())
            ),
            what_to_do: CLOSE_IT,
        });
    }
    for (key, dossier) in dossiers {
        match &key.subject {
            Subject::Device(tag) => off(tag, dossier, schedule, open, zone, &mut found),
            Subject::GroundProtection => seals(dossier, schedule, zone, &mut found),
            Subject::Unit => notices(dossier, zone, &mut found),
            Subject::Together => {}
        }
    }
    found.against.sort_by_key(|a| (a.kind, a.since, a.device.clone()));
    found
}

fn off(
    tag: &Tag,
    dossier: &Dossier,
    schedule: Option<&Schedule>,
    open: &[Bypass],
    zone: &Zone,
    found: &mut Found,
) {
    let device = schedule.and_then(|s| s.device(tag));
    let cutout = device.is_some_and(|d| d.ground_protection) || open.iter().any(|b| b.device == *tag);
    let told = dossier.facts().iter().any(|fact| matches!(fact.told, Told::Bypass(_)));
    let Some(state) = state_of(dossier.facts()).filter(|state| state.standing.is_open()) else { return };
    if cutout || told || device.is_some_and(rightly_off) {
        return;
    }
    let standing = state.standing.as_str().replace('_', " ");
    let says = format!("{} {standing} since {}", named(tag, schedule), zone.in_words(state.since));
    match &state.why {
        Some(why) => found.left_off.push(LeftOff {
            device: tag.clone(),
            says: format!("{says}: {}.", own_words(why.trim_end_matches('.'))),
        }),
        None => found.against.push(Against {
            kind: Kind::DeviceOff,
            device: Some(tag.clone()),
            entry: Some(state.entry),
            since: state.since,
            says: format!("{says}, and nobody said why.{}", lost(device, &state)),
            what_to_do: SAY_WHY,
        }),
    }
}

fn lost(device: Option<&Device>, state: &DeviceState) -> String {
    let effect = device.and_then(|d| d.off_effect.as_deref()).filter(|_| !state.carries());
    effect.map(|effect| format!(" The unit loses: {}.", effect.trim_end_matches('.'))).unwrap_or_default()
}

/// In a unit that leads, where it goes first after a release.
fn rightly_off(device: &Device) -> bool {
    matches!(device.normal_lead, Some(RightPosition::Off | RightPosition::Any))
}

fn seals(dossier: &Dossier, schedule: Option<&Schedule>, zone: &Zone, found: &mut Found) {
    let facts: Vec<&Fact> = dossier.facts().iter().filter(|fact| fact.withdrawn.is_none()).collect();
    let mut cutouts: BTreeMap<&Tag, ()> =
        schedule.into_iter().flat_map(Schedule::cutouts).map(|d| (&d.tag, ())).collect();
    for fact in &facts {
        if let Told::Bypass(bypass) = &fact.told {
            cutouts.insert(&bypass.device, ());
        }
    }
    for tag in cutouts.into_keys() {
        let Some((at, says)) = seal::lacking(&facts, tag) else { continue };
        found.against.push(Against {
            kind: Kind::SealMissing,
            device: Some(tag.clone()),
            entry: None,
            since: at,
            says: format!("{}: {says}, {}.", named(tag, schedule), zone.in_words(at)),
            what_to_do: SEAL_IT,
        });
    }
}

/// Until a repair of the unit has answered it, as the start answer has it.
fn notices(dossier: &Dossier, zone: &Zone, found: &mut Found) {
    let standing = || dossier.facts().iter().filter(|fact| fact.withdrawn.is_none());
    let repaired = |fact: &Fact| standing().any(|later| later.at >= fact.at && later.answers(fact.entry));
    for fact in standing().filter(|fact| !repaired(fact)) {
        let (Told::Shutdown { warning_notice: Some(words), .. }
        | Told::Defect { warning_notice: Some(words), .. }) = &fact.told
        else {
            continue;
        };
        found.against.push(Against {
            kind: Kind::NoticeAttached,
            device: None,
            entry: Some(fact.entry),
            since: fact.at,
            says: format!(
                "A warning notice is attached since {}: {}.",
                zone.in_words(fact.at),
                own_words(words.trim_end_matches('.'))
            ),
            what_to_do: TAKE_OFF,
        });
    }
}

fn named(tag: &Tag, schedule: Option<&Schedule>) -> String {
    match (tag.as_str(), schedule.and_then(|s| s.device(tag))) {
        (Tag::GROUND_RELAY, _) => "The ground relay".to_owned(),
        (Tag::ENGINE_START, _) => "Starting the engine".to_owned(),
        (_, Some(device)) => format!("{tag} {}", device.legend),
        _ => tag.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        base::UnitName,
        reports::vocabulary::{Left, ShutdownCause},
        rules::sample::{Railway, at, bypass, device, fact, position, repair, trip},
    };

    fn of(facts: Vec<(Subject, Vec<Fact>)>) -> Found {
        let devices = vec![
            device("TC2", |d| d.off_effect = Some("motor 2".into())),
            device("HTR", |d| d.normal_lead = Some(RightPosition::Any)),
            device("GRC", |d| d.ground_protection = true),
        ];
        let railway = Railway::with(devices);
        let unit = UnitName::from("QHB 412");
        let key = |subject| DossierKey { unit: unit.clone(), subject };
        let ground: Vec<Fact> = facts
            .iter()
            .filter(|(s, _)| *s == Subject::GroundProtection)
            .flat_map(|(_, f)| f.clone())
            .collect();
        let open = railway.judge(Subject::GroundProtection, ground).bypasses;
        let open: Vec<Bypass> = open.into_iter().filter(|b| b.closed_at.is_none()).collect();
        let dossiers: Vec<_> = facts.into_iter().map(|(s, facts)| (key(s), Dossier::of(facts))).collect();
        let schedule = railway.roster.schedule_at(&unit, at("2026-03-05T00:00:00Z"));
        against(&dossiers, &open, schedule, &Zone::named("America/Chicago").unwrap())
    }

    fn kinds(found: &Found) -> Vec<Kind> {
        found.against.iter().map(|a| a.kind).collect()
    }

    fn dev(tag: &str) -> Subject {
        Subject::Device(tag.into())
    }

    #[test]
    fn an_open_cutout_is_told_once_and_ends_with_its_closing() {
        let open = || bypass("2026-03-01T10:00:00Z", "GRC", |_| {});
        let both =
            |fact: Fact| of(vec![(dev("GRC"), vec![fact.clone()]), (Subject::GroundProtection, vec![fact])]);
        let found = both(open());
        assert_eq!(kinds(&found), [Kind::CutoutOpen]);
        assert!(found.against[0].says.contains("stands open in the book since 1 Mar 2026"), "{found:?}");
        let closed = |seal: Option<&str>| {
            let seal = seal.map(str::to_owned);
            bypass("2026-03-01T10:00:00Z", "GRC", |b| {
                b.closed_at = Some(at("2026-03-01T11:00:00Z"));
                b.seal_applied = seal;
            })
        };
        assert_eq!(kinds(&both(closed(Some("20433")))), []);
        assert_eq!(kinds(&both(closed(None))), [Kind::SealMissing]);
        assert_eq!(kinds(&both(closed(Some("none")))), [Kind::SealMissing]);
        let mut sealed = position("2026-03-01T12:00:00Z", "GRC", "closed", None);
        if let Told::Position(p) = &mut sealed.told {
            p.seal = Some("20440".into());
        }
        let facts = vec![closed(None), sealed];
        assert_eq!(kinds(&of(vec![(Subject::GroundProtection, facts)])), []);
    }

    #[test]
    fn a_device_off_wants_a_reason_unless_it_belongs_off_or_was_repaired() {
        let off = trip("2026-03-01T10:00:00Z", "TC2", Left::Tripped);
        let found = of(vec![(dev("TC2"), vec![off.clone()])]);
        assert_eq!(kinds(&found), [Kind::DeviceOff]);
        assert!(found.against[0].says.contains("nobody said why. The unit loses: motor 2."), "{found:?}");
        let mut said = position("2026-03-01T11:00:00Z", "TC2", "off", None);
        if let Told::Position(p) = &mut said.told {
            p.why = Some("WO 5581".into());
        }
        let found = of(vec![(dev("TC2"), vec![off.clone(), said])]);
        assert_eq!((kinds(&found), found.left_off.len()), (vec![], 1));
        assert_eq!(kinds(&of(vec![(dev("TC2"), vec![off, repair("2026-03-01T15:00:00Z")])])), []);
        assert_eq!(
            kinds(&of(vec![(dev("HTR"), vec![position("2026-03-01T11:00:00Z", "HTR", "off", None)])])),
            []
        );
    }

    #[test]
    fn a_warning_notice_stays_until_a_repair_of_the_unit() {
        let notice = |when: &str| {
            let told = Told::Shutdown {
                cause: Some(ShutdownCause::LowOil),
                warning_notice: Some("do not start".into()),
            };
            fact(when, told)
        };
        let found = of(vec![(Subject::Unit, vec![notice("2026-03-01T10:00:00Z")])]);
        assert_eq!(kinds(&found), [Kind::NoticeAttached]);
        assert!(found.against[0].says.ends_with(": do not start."), "{found:?}");
        let mended = vec![notice("2026-03-01T10:00:00Z"), repair("2026-03-01T15:00:00Z")];
        assert_eq!(kinds(&of(vec![(Subject::Unit, mended.clone())])), []);
        let other = notice("2026-03-01T11:00:00Z");
        let named = Told::RepairAnswered { entries: vec![mended[0].entry] };
        let facts = vec![mended[0].clone(), other, fact("2026-03-01T15:00:00Z", named)];
        assert_eq!(of(vec![(Subject::Unit, facts)]).against.len(), 1, "the other one is not answered");
        let again = mended.into_iter().chain([notice("2026-03-02T10:00:00Z")]).collect();
        assert_eq!(kinds(&of(vec![(Subject::Unit, again)])), [Kind::NoticeAttached]);
    }

    #[test]
    fn only_a_missing_seal_keeps_a_dead_unit_in() {
        let stay: Vec<_> = Kind::ALL.iter().filter(|kind| !kind.may_go_dead()).collect();
        assert_eq!(stay, [&Kind::SealMissing]);
    }
}
