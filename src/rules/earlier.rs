//! Lives follow the part: what a part did on another unit before it came here belongs to its life here.
use std::collections::BTreeSet;

use super::{occurrence::occurrences, outline::Outline, service_days::ServiceDays};
use crate::base::{Day, EntryId, Instant, Tag, UnitName, Zone};

/// A repair put another unit's part of the same tag into this one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    pub device: Tag,
    pub to: UnitName,
    pub from: UnitName,
}

/// The units between which this device's parts went round, the unit itself among them.
pub fn linked(moved: &[Moved], unit: &UnitName, device: &Tag) -> BTreeSet<UnitName> {
    let mut units = BTreeSet::new();
    let mut next = vec![unit];
    while let Some(unit) = next.pop() {
        if units.insert(unit.clone()) {
            let of_device = moved.iter().filter(|m| m.device == *device);
            next.extend(of_device.filter_map(|m| match (&m.to, &m.from) {
                (to, from) if to == unit => Some(from),
                (to, from) if from == unit => Some(to),
                _ => None,
            }));
        }
    }
    units
}

/// The life on other units of the part that a repair put in.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// When the repair closed.
    pub at: Instant,
    /// Service days of those units in that life.
    pub days: i64,
    /// Oldest first.
    pub occurrences: Vec<Past>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// Service days from the beginning of the part's life, to the middle of its day.
    pub time: f64,
    pub entries: Vec<EntryId>,
}

/// The outlines of a unit's facts about the device, and its clock.
pub type Slot<'a> = (&'a [Outline], &'a ServiceDays);

/// The earlier lives of the parts that were put in here, a line for each such repair. `of` knows the same device on the
/// other units. A unit off the roster has no service days: of its time nothing is taken over.
pub fn earlier<'a>(own: &UnitName, zone: &Zone, of: &dyn Fn(&UnitName) -> Option<Slot<'a>>) -> Vec<Earlier> {
    let facts = of(own).map_or(&[][..], |(facts, _)| facts);
    let put_in = facts.iter().filter_map(|fact| Some((fact, fact.repaired.as_ref()?.from.as_ref()?)));
    put_in
        .map(|(fact, from)| {
            let (days, occurrences) = life_before(from, fact.at, zone, of);
            Earlier { at: fact.at, days, occurrences }
        })
        .collect()
}

/// The life that ended on a unit at a moment, with what came before it on others. It gets shorter each time it is
/// looked for, so it ends even where two repairs say that they took from each other.
fn life_before<'a>(
    unit: &UnitName,
    until: Instant,
    zone: &Zone,
    of: &dyn Fn(&UnitName) -> Option<Slot<'a>>,
) -> (i64, Vec<Past>) {
    let Some((facts, clock @ ServiceDays::Known(_))) = of(unit) else { return (0, Vec::new()) };
    let began = facts.iter().rev().filter(|fact| fact.at < until).find_map(|fact| {
        let mending = fact.repaired.as_ref().filter(|mending| mending.new_life)?;
        Some((fact.at, mending.from.as_ref()))
    });
    let (days, mut all) = match began {
        Some((at, Some(from))) => life_before(from, at, zone, of),
        _ => (0, Vec::new()),
    };
    let before = began.map_or(Day(i32::MIN), |(at, _)| zone.day_of(at).plus(-1));
    // The day of the repair is the first of the next life.
    let own = clock.between(before, zone.day_of(until).plus(-1));
    let in_life = |at: Instant| at < until && began.is_none_or(|(began, _)| at >= began);
    all.extend(occurrences(facts).iter().filter(|o| in_life(o.at)).map(|o| {
        let time = clock.between(before, zone.day_of(o.at)) as f64 - 0.5;
        Past { time: days as f64 + time.clamp(0.0, own as f64), entries: o.entries(facts).collect() }
    }));
    (days + own, all)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        reports::vocabulary::Left,
        rules::{
            Dossier, Fact, Told,
            outline::outlines,
            sample::{fact, trip},
        },
    };

    fn put_in(when: &str, from: Option<&str>) -> Fact {
        let from = from.map(UnitName::from);
        fact(when, Told::RepairClosed { new_life: true, no_fault_found: false, from })
    }

    fn trips(days: &[&str]) -> Vec<Fact> {
        days.iter().map(|day| trip(&format!("{day}T18:00:00Z"), "TC2", Left::On)).collect()
    }

    /// The slots of three units in service since 1 January 2026, each day reported.
    fn told(slots: [(&str, Vec<Fact>); 3]) -> Vec<(i64, Vec<f64>)> {
        let first = Day::parse("2026-01-01").unwrap();
        let card = crate::roster::UnitCard {
            unit: "QHB 1".into(),
            class: "C1".into(),
            in_service: first,
            retired: None,
            home_shop: None,
        };
        let reports = (0..300).map(|n| first.plus(n)).collect();
        let days = ServiceDays::of(Some(&card), &reports, &[], &Zone::utc());
        let slots: BTreeMap<UnitName, Vec<Outline>> = slots
            .into_iter()
            .map(|(unit, facts)| (unit.into(), outlines(Dossier::of(facts).facts())))
            .collect();
        let of = |unit: &UnitName| Some((slots.get(unit)?.as_slice(), &days));
        let all = earlier(&"QHB 1".into(), &Zone::utc(), &of);
        all.into_iter().map(|e| (e.days, e.occurrences.iter().map(|o| o.time).collect())).collect()
    }

    #[test]
    fn the_part_brings_its_life_from_the_unit_it_was_on() {
        let here = || vec![put_in("2026-03-01T12:00:00Z", Some("QHB 2"))];
        let there = trips(&["2026-01-10", "2026-02-20", "2026-03-05"]);
        let nothing = || ("QHB 3", vec![]);
        // 59 days of January and February; the trip of March was another part's.
        assert_eq!(told([("QHB 1", here()), ("QHB 2", there.clone()), nothing()]), [(59, vec![9.5, 50.5])]);
        let renewed = [there.clone(), vec![put_in("2026-02-01T00:00:00Z", None)]].concat();
        assert_eq!(told([("QHB 1", here()), ("QHB 2", renewed), nothing()]), [(28, vec![19.5])]);
        let lent = [there, vec![put_in("2026-02-01T00:00:00Z", Some("QHB 3"))]].concat();
        let before = trips(&["2026-01-20", "2026-02-10"]);
        let chain = told([("QHB 1", here()), ("QHB 2", lent), ("QHB 3", before)]);
        assert_eq!(chain, [(59, vec![19.5, 50.5])], "by way of QHB 2 from QHB 3");
        assert_eq!(told([("QHB 1", trips(&["2026-01-10"])), nothing(), ("QHB 4", vec![])]), []);
    }

    #[test]
    fn two_that_took_from_each_other_come_to_an_end() {
        let swapped = |other| put_in("2026-03-01T12:00:00Z", Some(other));
        let back = |other| put_in("2026-04-01T12:00:00Z", Some(other));
        let here = [trips(&["2026-01-05"]), vec![swapped("QHB 2"), back("QHB 2")]].concat();
        let there = [trips(&["2026-01-06", "2026-03-10"]), vec![swapped("QHB 1"), back("QHB 1")]].concat();
        let lives = told([("QHB 1", here), ("QHB 2", there), ("QHB 3", vec![])]);
        // First QHB 2's part; then its own again, which had been on QHB 2 for March.
        assert_eq!(lives, [(59, vec![5.5]), (90, vec![4.5, 68.5])]);
    }

    #[test]
    fn units_are_linked_by_the_same_device_only() {
        let moved = |to: &str, from: &str, device: &str| Moved {
            device: device.into(),
            to: to.into(),
            from: from.into(),
        };
        let all = [moved("A 1", "A 2", "TC2"), moved("A 3", "A 2", "TC2"), moved("A 1", "A 4", "FP")];
        let units = |unit: &str, device: &str| {
            linked(&all, &unit.into(), &device.into()).into_iter().map(|u| u.to_string()).collect::<Vec<_>>()
        };
        assert_eq!(units("A 1", "TC2"), ["A 1", "A 2", "A 3"]);
        assert_eq!(units("A 4", "FP"), ["A 1", "A 4"]);
        assert_eq!(units("A 4", "TC2"), ["A 4"]);
    }
}
