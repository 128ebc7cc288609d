//! *class_wide*: a device of one class operates far more often than the same device in all the others. Found once a month
//! over all classes; it ends when figures taken later no longer say so.
use serde::{Deserialize, Serialize};

use super::{
    Ground, Thresholds,
    figures::{ClassFigures, DeviceFigures},
    finding::{Finding, Rule},
    pair::{one_in, round, severity_of},
    statistics::{
        discovery::adjusted,
        rates::{AgainstRest, Exposed, TwoRates},
    },
};
use crate::base::{ClassName, Instant, Tag, instant::as_text};

/// A device of a class, as the month's list has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClassWide {
    pub class: ClassName,
    pub device: Tag,
    /// The first of the months in a row that have it.
    #[serde(with = "as_text")]
    pub since: Instant,
    #[serde(with = "as_text")]
    pub as_of: Instant,
    pub occurrences: u32,
    pub days: i64,
    /// Of the devices with the same legend in all other classes.
    pub rest_occurrences: u32,
    pub rest_days: i64,
    /// Units with at least one occurrence.
    pub units: u32,
    pub ratio: f64,
    /// Without the unit that has most of them.
    pub ratio_without_worst: f64,
    /// The chance that a class no worse than the rest stands out so far, with the spread that units have anyway.
    pub chance: f64,
}

/// One device of one class, held against the rest.
fn against(figures: &ClassFigures, device: &DeviceFigures) -> Option<(AgainstRest, ClassWide)> {
    let own = figures.class_days.get(&device.class)?;
    let (mut rest, mut rest_days) = (0_u32, 0_i64);
    for other in figures.same_legend(device).filter(|other| other.class != device.class) {
        rest = rest.saturating_add(other.total);
        rest_days += figures.class_days.get(&other.class).map_or(0, |c| c.days);
    }
    let days_of = |unit: &crate::base::UnitName| figures.unit_days.get(unit).copied().unwrap_or(0).max(0);
    let exposed =
        Exposed { occurrences: device.total.into(), days: own.days as f64, squares: own.squares as f64 };
    let against = exposed.against((f64::from(rest), rest_days as f64))?;
    let counted = (u64::from(device.total), own.days as f64);
    let exact = TwoRates { first: counted, second: (u64::from(rest), rest_days as f64) }.first_at_least()?;
    let worst = device.occurrences.iter().max_by_key(|(unit, x)| (**x, std::cmp::Reverse(*unit)));
    let (worst, worst_days) = worst.map_or((0, 0), |(unit, x)| (*x, days_of(unit)));
    let left = (own.days - worst_days).max(1) as f64;
    let without = f64::from(device.total - worst) / left / (f64::from(rest) / rest_days as f64);
    let line = ClassWide {
        class: device.class.clone(),
        device: device.device.clone(),
        since: figures.as_of,
        as_of: figures.as_of,
        occurrences: device.total,
        days: own.days,
        rest_occurrences: rest,
        rest_days,
        units: u32::try_from(device.occurrences.len()).unwrap_or(u32::MAX),
        ratio: against.ratio,
        ratio_without_worst: without,
        // The normal law over-claims where few are counted, the exact one where units differ: the larger holds.
        chance: against.p.max(exact),
    };
    Some((against, line))
}

impl ClassWide {
    fn stands_out(&self, set: &Thresholds) -> bool {
        let ratio = self.ratio >= set.class_wide_ratio && self.ratio_without_worst >= set.class_wide_ratio;
        ratio && f64::from(self.units) >= set.class_wide_units
    }
}

/// The month's list. `before`: last month's, for how long a line has stood.
pub fn list(set: &Thresholds, figures: &ClassFigures, before: &[ClassWide]) -> Vec<ClassWide> {
    let lines: Vec<ClassWide> = figures.devices.iter().filter_map(|d| Some(against(figures, d)?.1)).collect();
    let together = adjusted(&lines.iter().map(|line| line.chance).collect::<Vec<_>>());
    let mut listed: Vec<ClassWide> = lines
        .into_iter()
        .zip(together)
        .filter(|(line, q)| *q <= set.class_wide_discovery && line.stands_out(set))
        .map(|(line, _)| line)
        .collect();
    for line in &mut listed {
        if let Some(known) = before.iter().find(|b| (&b.class, &b.device) == (&line.class, &line.device)) {
            line.since = known.since;
        }
    }
    listed
}

/// The lines of the figures in force: those of the month's list that today's figures still bear out.
pub fn class_wide(ground: &Ground<'_>) -> Vec<Finding> {
    let Some(figures) = ground.figures else { return Vec::new() };
    let listed = figures.monthly.iter().flat_map(|monthly| &monthly.class_wide);
    let still = |line: &&ClassWide| {
        let now = figures.device(&line.class, &line.device).and_then(|d| against(figures, d));
        now.is_some_and(|(_, now)| now.stands_out(ground.thresholds))
    };
    listed.filter(still).map(|line| told(ground, figures, line)).collect()
}

fn told(ground: &Ground<'_>, figures: &ClassFigures, line: &ClassWide) -> Finding {
    let (class, device) = (&line.class, &line.device);
    let severity = severity(ground, line);
    let extra = line.extra(figures);
    let of_class = figures.device(class, device);
    let finding = Finding {
        rule: Rule::ClassWide,
        key: format!("{}:{class}:{device}:{}", Rule::ClassWide, ground.zone.day_of(line.since)),
        unit: None,
        device: Some(device.clone()),
        units: of_class.into_iter().flat_map(|d| d.occurrences.keys().cloned()).collect(),
        devices: vec![device.clone()],
        class: Some(class.clone()),
        since: line.since,
        until: None,
        severity,
        rank: Some(extra * severity),
        sentence: sentence(ground, line),
        entries: Vec::new(),
        figures: serde_json::Map::new(),
    };
    finding
        .figure("occurrences", line.occurrences)
        .figure("class_service_days", line.days)
        .figure("rest_occurrences", line.rest_occurrences)
        .figure("rest_service_days", line.rest_days)
        .figure("units_with_any", line.units)
        .figure("ratio", round(line.ratio))
        .figure("ratio_without_worst", round(line.ratio_without_worst))
        .figure("extra_in_30_days", round(extra))
        .figure("ordinary_classes", (1.0 / line.chance).round())
        .figure("as_of", line.as_of.0)
}

fn severity(ground: &Ground<'_>, line: &ClassWide) -> f64 {
    let class = ground.roster.classes.get(&line.class);
    let scheduled = class.and_then(|c| c.at(line.as_of)).and_then(|s| s.device(&line.device));
    severity_of(&line.device, scheduled)
}

impl ClassWide {
    /// Occurrences that the class's units will have in 30 service days beyond what the rest's rate would bring.
    fn extra(&self, figures: &ClassFigures) -> f64 {
        let rate = |occurrences: u32, days: i64| f64::from(occurrences) / days as f64;
        let units = figures.class_days.get(&self.class).map_or(0, |c| c.units);
        let more = rate(self.occurrences, self.days) - rate(self.rest_occurrences, self.rest_days);
        30.0 * f64::from(units) * more
    }
}

fn sentence(ground: &Ground<'_>, line: &ClassWide) -> String {
    format!(
        "Class {} has {} of {} on {} units in {} service days up to {}: {:.1} times as often as the same device \
         elsewhere ({} in {}), still {:.1} times without the worst unit. {} stands out so far.",
        line.class,
        line.occurrences,
        line.device,
        line.units,
        line.days,
        ground.zone.day_of(line.as_of).in_words(),
        line.ratio,
        line.rest_occurrences,
        line.rest_days,
        line.ratio_without_worst,
        one_in("ordinary class", 1.0 / line.chance),
    )
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        base::UnitName,
        rules::{
            figures::{ClassDays, Derived},
            monthly::Monthly,
            sample::{Railway, at, device},
        },
    };

    /// Class C1, with so many occurrences on each of its first units, and class C2 with 20 units like it.
    fn figures(on_units: &[u32], rest: u32) -> ClassFigures {
        let units = |class: i32| (401..=420).map(move |n| UnitName::from(format!("QHB {class}{n}")));
        let of = |class: i32, counts: &[u32]| DeviceFigures {
            class: format!("C{class}").as_str().into(),
            device: "TC2".into(),
            legend: "TC2 LEGEND".into(),
            occurrences: units(class).zip(counts.iter().copied()).filter(|(_, x)| *x > 0).collect(),
            total: counts.iter().sum(),
        };
        let class = ClassDays { days: 7_300, units: 20, squares: 20 * 365 * 365 };
        ClassFigures {
            as_of: at("2026-03-01T06:00:00Z"),
            up_to_seq: 1,
            devices: vec![of(1, on_units), of(2, &[rest])],
            unit_days: units(1).chain(units(2)).map(|unit| (unit, 365)).collect::<BTreeMap<_, _>>(),
            class_days: [("C1".into(), class), ("C2".into(), class)].into(),
            repairs: 0,
            cranking: Vec::new(),
            monthly: None,
            derived: Derived::default(),
        }
    }

    #[test]
    fn what_stands_out_of_the_other_classes() {
        for (what, on_units, rest, want) in [
            ("three times as often, on ten units", vec![3; 10], 10, true),
            ("not even one and a half times", vec![1; 14], 10, false),
            ("on two units only", vec![15, 15], 10, false),
            ("not without the worst", vec![25, 1, 1, 1], 10, false),
            ("three more than one: chance", vec![1; 4], 1, false),
            ("nothing to compare with", vec![3; 10], 0, false),
            ("nothing", vec![], 10, false),
        ] {
            let listed = list(&Thresholds::default(), &figures(&on_units, rest), &[]);
            let classes: Vec<&str> = listed.iter().map(|line| line.class.as_str()).collect();
            assert_eq!(classes.contains(&"C1"), want, "{what}: {listed:?}");
        }
    }

    #[test]
    fn the_months_list_stands_as_long_as_todays_figures_bear_it_out() {
        let mut railway = Railway::with(vec![device("TC2", |d| d.severity = Some(2.0))]);
        let first = figures(&[3; 10], 10);
        let listed = list(&railway.thresholds, &first, &[]);
        let again = list(
            &railway.thresholds,
            &ClassFigures { as_of: at("2026-04-01T05:00:00Z"), ..first.clone() },
            &listed,
        );
        assert_eq!((again[0].since, again[0].as_of), (first.as_of, at("2026-04-01T05:00:00Z")));
        let monthly = Some(Box::new(Monthly { as_of: first.as_of, worsening: vec![], class_wide: listed }));
        railway.figures = Some(ClassFigures { monthly: monthly.clone(), ..first });
        let [line] = &class_wide(&railway.ground())[..] else { panic!("one line") };
        assert_eq!(
            line.sentence,
            "Class C1 has 30 of TC2 on 10 units in 7300 service days up to 1 March 2026: 3.0 times as often as the same \
             device elsewhere (10 in 7300), still 2.8 times without the worst unit. About 1 ordinary class in 900 stands \
             out so far."
        );
        // 20 units, each 30 x (30 - 10) / 7300 more than the rest's, counted twice.
        assert!((line.rank.unwrap() - 2.0 * 20.0 * 30.0 * 20.0 / 7_300.0).abs() < 1e-9);
        railway.figures = Some(ClassFigures { monthly, ..figures(&[3; 4], 10) });
        assert_eq!(class_wide(&railway.ground()), []);
    }
}
