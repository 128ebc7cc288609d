//! What cranking volts are normal for a class: they fall on every unit when it gets cold.
use std::collections::BTreeMap;

use super::{
    Dossier, Fact, Told,
    figures::{ClassFigures, Cranking, LOOK_BACK, Taken},
    statistics::median,
};
use crate::{
    base::{ClassName, Instant, UnitName, instant::DAY},
    reports::vocabulary::Motors,
};

/// The number of the fortnight in which something happened.
pub fn fortnight(at: Instant) -> i64 {
    at.0.div_euclid(14 * DAY)
}

/// A median of fewer units than this says nothing of the class: the one looked at, and five others.
const UNITS: u32 = 6;

/// Volts while the electric motors alone crank, on the first attempt: a second one finds the battery drawn down, and air
/// motors take the load off it. Motors not stated count, as somebody read the volts.
pub fn cranking_volts(fact: &Fact) -> Option<f64> {
    let Told::Start { attempt, motors, battery_cranking_v, .. } = &fact.told else { return None };
    let electric = matches!(motors, None | Some(Motors::Electric | Motors::NotKnown));
    let first = attempt.is_none_or(|nth| nth <= 1);
    battery_cranking_v.filter(|volts| electric && first && !fact.found && volts.is_finite() && *volts > 0.0)
}

/// What a unit's battery gave at its electric starts.
#[derive(Clone, Debug, PartialEq)]
pub struct Cranked {
    pub unit: UnitName,
    pub volts: Vec<(Instant, f64)>,
}

impl Cranked {
    /// From the unit's own dossier.
    pub fn of(unit: &UnitName, dossier: &Dossier) -> Self {
        let standing = dossier.facts().iter().filter(|f| f.withdrawn.is_none());
        let volts = standing.filter_map(|fact| Some((fact.at, cranking_volts(fact)?))).collect();
        Self { unit: unit.clone(), volts }
    }
}

/// For each class and fortnight of the last 365 days, the median over its units of each unit's median.
pub fn cranking(taken: &Taken<'_>, cranked: &[Cranked]) -> Vec<Cranking> {
    let first = taken.ground.zone.start_of(taken.ground.zone.day_of(taken.as_of).plus(1 - LOOK_BACK));
    let mut medians: BTreeMap<(ClassName, i64), Vec<f64>> = BTreeMap::new();
    for Cranked { unit, volts } in cranked {
        let Some(card) = taken.ground.roster.unit(unit) else { continue };
        let mut of_unit: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
        for (at, volts) in volts.iter().filter(|(at, _)| first <= *at && *at <= taken.as_of) {
            of_unit.entry(fortnight(*at)).or_default().push(*volts);
        }
        for (fortnight, volts) in of_unit {
            medians.entry((card.class.clone(), fortnight)).or_default().extend(middle(volts));
        }
    }
    let row = |((class, fortnight), of_units): ((ClassName, i64), Vec<f64>)| {
        let units = u32::try_from(of_units.len()).unwrap_or(u32::MAX);
        Some(Cranking { class, fortnight, volts: middle(of_units)?, units })
    };
    medians.into_iter().filter_map(row).collect()
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    median(&values)
}

impl ClassFigures {
    /// The class's median cranking volts in the fortnight of a moment; `None`: too few units told.
    pub fn cranking_of(&self, class: &ClassName, at: Instant) -> Option<f64> {
        let key = (class, fortnight(at));
        let place = self.cranking.binary_search_by(|row| (&row.class, row.fortnight).cmp(&key)).ok()?;
        self.cranking.get(place).filter(|row| row.units >= UNITS).map(|row| row.volts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{Railway, at, start, word};

    const END: &str = "2026-03-20T00:00:00Z";

    fn taken(railway: &Railway, dossiers: Vec<(&str, Vec<Fact>)>) -> Vec<Cranking> {
        let dossiers = dossiers.into_iter();
        let cranked: Vec<Cranked> =
            dossiers.map(|(unit, facts)| Cranked::of(&unit.into(), &Dossier::of(facts))).collect();
        let taken = Taken { as_of: at(END), up_to_seq: 0, ground: &railway.ground() };
        cranking(&taken, &cranked)
    }

    #[test]
    fn the_median_over_units_of_each_units_median() {
        let ran = |when: &str, volts: f64| start(when, "running", Some(volts));
        let railway = Railway::with(vec![]);
        let told = taken(
            &railway,
            vec![
                // Many starts of one unit weigh no more than one of another.
                ("QHB 401", vec![ran("2026-03-10T10:00:00Z", 50.0), ran("2026-03-11T10:00:00Z", 52.0)]),
                ("QHB 402", vec![ran("2026-03-10T10:00:00Z", 60.0)]),
                ("QHB 403", vec![ran("2026-03-10T10:00:00Z", 61.0), ran("2026-02-10T10:00:00Z", 64.0)]),
                // No class: off the roster.
                ("XYZ 9", vec![ran("2026-03-10T10:00:00Z", 20.0)]),
                // Before the year, after the figures.
                ("QHB 404", vec![ran("2025-03-01T10:00:00Z", 10.0), ran("2026-03-20T10:00:00Z", 10.0)]),
            ],
        );
        let rows: Vec<_> = told.iter().map(|row| (row.class.as_str(), row.volts, row.units)).collect();
        assert_eq!(rows, [("C1", 64.0, 1), ("C1", 60.0, 3)]);
    }

    #[test]
    fn what_is_no_electric_start_or_no_number_is_left_out() {
        let with = |change: &dyn Fn(&mut Fact)| {
            let mut fact = start("2026-03-10T10:00:00Z", "no_fire", Some(50.0));
            change(&mut fact);
            cranking_volts(&fact)
        };
        let told = |attempt: Option<u32>, motors: Option<&str>, volts: f64| {
            with(&|fact| {
                let (motors, outcome) = (motors.map(word), word("running"));
                let battery_cranking_v = Some(volts);
                fact.told = Told::Start { outcome, attempt, motors, battery_cranking_v, test_cock: None };
            })
        };
        for (attempt, motors, volts, want) in [
            (Some(1), Some("electric"), 50.0, Some(50.0)),
            (None, None, 50.0, Some(50.0)),
            (None, Some("not_known"), 50.0, Some(50.0)),
            (Some(2), Some("electric"), 50.0, None),
            (Some(1), Some("air"), 50.0, None),
            (Some(1), Some("both"), 50.0, None),
            (Some(1), Some("electric"), f64::NAN, None),
            (Some(1), Some("electric"), f64::INFINITY, None),
            (Some(1), Some("electric"), 0.0, None),
        ] {
            assert_eq!(told(attempt, motors, volts), want, "{attempt:?} {motors:?} {volts}");
        }
        assert_eq!(with(&|fact| fact.found = true), None);
        assert_eq!(with(&|fact| fact.told = Told::Released), None);
    }
}
