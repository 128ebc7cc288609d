//! What luck would bring about of operations that fall together, and what their devices will have extra.
use super::{case::Case, coincident::Operation, figures::ClassFigures, statistics::gamma_quantile};
use crate::base::{ClassName, Day, Instant, Tag, UnitName, instant::MINUTE};

/// The rank looks this far ahead, in service days.
const AHEAD: f64 = 30.0;
/// Operations of one device within this of the first are one occurrence.
const ONE: i64 = 60 * MINUTE;

/// What is to be expected by chance.
pub struct Chance<'a> {
    pub case: &'a Case<'a>,
    figures: &'a ClassFigures,
    /// Units of the fleet that were in service.
    pub fleet: u32,
}

impl<'a> Chance<'a> {
    /// `None`: no class figures, nothing to judge by.
    pub fn of(case: &'a Case<'a>) -> Option<Self> {
        let figures = case.ground.figures?;
        Some(Self { case, figures, fleet: figures.class_days.values().map(|class| class.units).sum() })
    }

    /// So many different devices of one unit are a group.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count from 2 to 20")]
    pub fn at_least(&self) -> usize {
        self.case.ground.thresholds.shared_devices as usize
    }

    /// Occurrences a service day of a device: the average of the other units. Where these had too few for an average,
    /// the most that they leave likely (80 % bound): the less is known of a device, the less its taking part proves.
    pub fn rate(&self, unit: &UnitName, class: &ClassName, tag: &Tag) -> Option<f64> {
        if let Some(normal) = self.figures.normal(unit, class, tag) {
            return Some(normal.average());
        }
        let legend = &self.figures.device(class, tag)?.legend;
        let (mut occurrences, mut days) = (0, 0);
        for of in self.figures.devices.iter().filter(|d| d.legend == *legend) {
            occurrences += of.total - of.occurrences.get(unit).copied().unwrap_or(0).min(of.total);
            days += self.figures.class_days.get(&of.class).map_or(0, |class| class.days);
            if of.class == *class {
                days -= self.figures.unit_days.get(unit).copied().unwrap_or(0);
            }
        }
        (days > 0)
            .then(|| gamma_quantile(0.8, f64::from(occurrences) + 1.0).map(|most| most / days as f64))?
    }

    pub fn own_rate(&self, tag: &Tag) -> Option<f64> {
        self.rate(self.case.unit(), self.case.class()?, tag)
    }

    /// From how many on a group is too many for luck, and how many such are to be expected, when `together` came
    /// together; `None` if so many are nothing yet.
    pub fn too_many(
        &self,
        least: usize,
        together: usize,
        expected: impl Fn(usize) -> f64,
    ) -> Option<(usize, f64)> {
        let most = self.case.ground.thresholds.shared_chance;
        let from = (least..=together).find(|k| expected(*k) < most)?;
        Some((from, expected(together)))
    }

    /// More occurrences than an average sister unit's, to expect in the next 30 service days: the class counts as its prior
    /// weight in occurrences, the device's clock times of the last 365 service days as what they are. A coupled unit's
    /// service days are taken to be this one's.
    pub fn ahead(&self, unit: &UnitName, tag: &Tag, all: &[Operation<'_>], to: Day) -> f64 {
        let case = self.case;
        let known = || {
            let class = &case.ground.roster.unit(unit)?.class;
            Some((self.rate(unit, class, tag)?, self.figures.prior_weight(class, tag)))
        };
        let Some((mean, weight)) = known() else { return 0.0 };
        let mut counted: Option<Instant> = None;
        let mut own = 0.0;
        for o in all.iter().filter(|o| o.unit == unit && o.device == tag) {
            let day = case.ground.zone.day_of(o.at);
            let recent = day <= to && case.days.between(day, to) < 365;
            if recent && counted.is_none_or(|at| o.at.since(at) > ONE) {
                counted = Some(o.at);
                own += 1.0;
            }
        }
        let days = case.days.between(Day(i32::MIN), to).min(365) as f64;
        (AHEAD * ((weight + own) / (weight / mean + days) - mean)).max(0.0)
    }
}
