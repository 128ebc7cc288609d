//! One in how many days, and is this one worse than that one? Exact for a steady rate (statistics.md 1b, 1d, 1j).
use super::{
    finite, sane,
    tails::{binomial_at_least, binomial_at_most, gamma_quantile, normal_above},
};

/// How the watching ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    AtTime,
    AtOccurrence,
}

/// Whether the error is shared between both ends, or each end has all of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    One,
    Two,
}

/// Mean days between occurrences.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanGap {
    /// `None` without an occurrence.
    pub point: Option<f64>,
    pub low: f64,
    /// `None` without an occurrence: it may never happen again.
    pub high: Option<f64>,
}

/// Bounds of the mean gap after so many occurrences in these days, by the chi-squared law of the time they take.
/// Wrong (too narrow) for a life with a trend. `None` without days, for a confidence outside 0..1, or for no
/// occurrence where the last one ended the watching.
pub fn mean_gap(days: f64, occurrences: u64, confidence: f64, ended: Ended, sides: Sides) -> Option<MeanGap> {
    let error = match sides {
        Sides::One => 1.0 - confidence,
        Sides::Two => (1.0 - confidence) / 2.0,
    };
    let r = occurrences as f64;
    let next = match ended {
        Ended::AtTime => r + 1.0,
        Ended::AtOccurrence => r,
    };
    if !sane(days) {
        return None;
    }
    let low = finite(days / gamma_quantile(1.0 - error, next)?)?;
    if occurrences == 0 {
        return Some(MeanGap { point: None, low, high: None });
    }
    let high = finite(days / gamma_quantile(error, r)?)?;
    Some(MeanGap { point: Some(days / r), low, high: Some(high) })
}

/// Two counts with their exposures, which need not be of the same length: first against second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoRates {
    pub first: (u64, f64),
    pub second: (u64, f64),
}

impl TwoRates {
    /// Given the total, the chance that the first has this many or more at equal rates. `None` without exposure.
    pub fn first_at_least(&self) -> Option<f64> {
        binomial_at_least(self.first.0, self.total()?, self.share()?)
    }

    /// Given the total, the chance that the first has this many or fewer at equal rates. `None` without exposure.
    pub fn first_at_most(&self) -> Option<f64> {
        binomial_at_most(self.first.0, self.total()?, self.share()?)
    }

    /// First rate over second. `None` without exposure, or where the second has no occurrence.
    pub fn ratio(&self) -> Option<f64> {
        self.share()?;
        let second = self.second.0 as f64 / self.second.1;
        if second > 0.0 { finite(self.first.0 as f64 / self.first.1 / second) } else { None }
    }

    /// Exact bounds of the ratio (Clopper-Pearson on the share); the upper is `None` where the second has no
    /// occurrence. `None` without exposure or occurrences.
    pub fn interval(&self, confidence: f64) -> Option<(f64, Option<f64>)> {
        let scale = self.second.1 / self.first.1;
        self.share()?;
        let (low, high) = share_interval(self.first.0, self.total()?, confidence)?;
        let low = finite(low / (1.0 - low) * scale)?;
        let high = if self.second.0 == 0 { None } else { Some(finite(high / (1.0 - high) * scale)?) };
        Some((low, high))
    }

    fn total(&self) -> Option<u64> {
        self.first.0.checked_add(self.second.0)
    }

    /// The first's share of the exposure.
    fn share(&self) -> Option<f64> {
        let known = sane(self.first.1) && sane(self.second.1);
        known.then(|| self.first.1 / (self.first.1 + self.second.1))
    }
}

/// Exact bounds (Clopper-Pearson) of a chance that came true k of n times. `None` for none of none, or for a
/// confidence outside 0..1. By bisection: the inverse incomplete beta of `statrs` may not return.
pub fn share_interval(k: u64, n: u64, confidence: f64) -> Option<(f64, f64)> {
    let known = n > 0 && k <= n && confidence > 0.0 && confidence < 1.0;
    if !known {
        return None;
    }
    let error = (1.0 - confidence) / 2.0;
    let low = if k == 0 { 0.0 } else { bisect(|p| Some(binomial_at_least(k, n, p)? < error))? };
    let high = if k == n { 1.0 } else { bisect(|p| Some(binomial_at_most(k, n, p)? > error))? };
    Some((low, high))
}

/// Where between 0 and 1 `below` stops being so: sixty halvings.
fn bisect(below: impl Fn(f64) -> Option<bool>) -> Option<f64> {
    let (mut low, mut high) = (0.0_f64, 1.0);
    for _ in 0..60 {
        let middle = low.midpoint(high);
        if middle <= low || middle >= high {
            break;
        }
        if below(middle)? { low = middle } else { high = middle }
    }
    Some(low.midpoint(high))
}

/// How much a class's units are taken to differ: the clamp's upper end, as occurrences' worth of evidence.
const ALIKE: f64 = 2.0;

/// A class on one device against all other units that have it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AgainstRest {
    /// Its rate over the rest's.
    pub ratio: f64,
    /// Its occurrences had it the rest's rate.
    pub expected: f64,
    /// Standard deviations above that, allowing for units that differ.
    pub z: f64,
    /// The chance of that or more.
    pub p: f64,
}

/// A class's units together: occurrences, days, and the sum of the squares of each unit's days.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Exposed {
    pub occurrences: f64,
    pub days: f64,
    pub squares: f64,
}

impl Exposed {
    /// Adds up (occurrences, days) of each unit; units without days are left out.
    pub fn of(units: impl Iterator<Item = (f64, f64)>) -> Self {
        let known = units.filter(|(count, days)| *count >= 0.0 && sane(*days));
        known.fold(Self::default(), |all, (count, days)| Self {
            occurrences: all.occurrences + count,
            days: all.days + days,
            squares: all.squares + days * days,
        })
    }

    /// Held against the rest's pooled (occurrences, days). Units of one class are never alike, so the variance is
    /// mu + m0^2 sum t^2 / alpha and not mu alone, which over-claims. `None` where either side has no days or the rest
    /// no occurrence.
    pub fn against(&self, rest: (f64, f64)) -> Option<AgainstRest> {
        let normal = rest.0 / rest.1;
        if ![self.days, rest.0, rest.1, normal].into_iter().all(sane) {
            return None;
        }
        let expected = normal * self.days;
        let variance = expected + normal * normal * self.squares / ALIKE;
        let z = finite((self.occurrences - expected) / variance.sqrt())?;
        Some(AgainstRest { ratio: finite(self.occurrences / expected)?, expected, z, p: normal_above(z) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_an_occurrence_there_is_only_a_lower_bound() {
        let gap = mean_gap(365.0, 0, 0.95, Ended::AtTime, Sides::One).unwrap();
        assert!((gap.low / (365.0 / -0.05_f64.ln()) - 1.0).abs() < 1e-9, "{gap:?}");
        assert_eq!((gap.point, gap.high), (None, None));
        assert_eq!(mean_gap(365.0, 0, 0.95, Ended::AtOccurrence, Sides::One), None);
        for (days, confidence) in [(0.0, 0.9), (f64::NAN, 0.9), (365.0, 1.0), (365.0, f64::NAN)] {
            assert_eq!(mean_gap(days, 3, confidence, Ended::AtTime, Sides::Two), None, "{days} {confidence}");
        }
    }

    #[test]
    fn no_exposure_no_comparison() {
        for days in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let two = TwoRates { first: (3, days), second: (1, 100.0) };
            assert_eq!((two.first_at_least(), two.first_at_most(), two.ratio()), (None, None, None));
            assert_eq!(two.interval(0.95), None);
        }
        let nothing = TwoRates { first: (0, 10.0), second: (0, 10.0) };
        assert_eq!((nothing.ratio(), nothing.interval(0.95)), (None, None));
        assert_eq!(nothing.first_at_least(), Some(1.0));
    }

    #[test]
    fn bounds_of_a_share_by_hand() {
        // None of n, two-sided 95 %: upper 1 - 0.025^(1/n); all of n is its mirror.
        let (low, high) = share_interval(0, 10, 0.95).unwrap();
        assert!(low.abs() < 1e-15 && (high - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-12, "{low} {high}");
        let (low, high) = share_interval(10, 10, 0.95).unwrap();
        assert!((low - 0.025_f64.powf(0.1)).abs() < 1e-12 && (high - 1.0).abs() < 1e-15, "{low} {high}");
        assert_eq!(share_interval(0, 0, 0.95), None);
        assert_eq!(share_interval(3, 2, 0.95), None);
        assert_eq!(share_interval(1, 2, f64::NAN), None);
        // A class's whole year: both shapes above ten thousand go by the normal law and still end.
        let (low, high) = share_interval(30_000, 60_000, 0.95).unwrap();
        assert!((low - 0.496).abs() < 1e-3 && (high - 0.504).abs() < 1e-3, "{low} {high}");
    }

    #[test]
    fn spread_between_units_weakens_the_claim_and_nonsense_makes_none() {
        let one = Exposed::of([(20.0, 1000.0)].into_iter()).against((100.0, 10_000.0)).unwrap();
        let many = Exposed::of([(2.0, 100.0); 10].into_iter()).against((100.0, 10_000.0)).unwrap();
        assert!((one.ratio - 2.0).abs() < 1e-12 && (many.ratio - 2.0).abs() < 1e-12);
        assert!(one.z < many.z, "one unit says less than ten: {one:?} {many:?}");
        for rest in [(0.0, 100.0), (5.0, 0.0), (f64::NAN, 100.0), (5.0, f64::INFINITY)] {
            assert_eq!(Exposed::of([(2.0, 100.0)].into_iter()).against(rest), None, "{rest:?}");
        }
        assert_eq!(Exposed::of(std::iter::empty()).against((5.0, 100.0)), None);
        assert_eq!(Exposed::of([(2.0, f64::NAN)].into_iter()).against((5.0, 100.0)), None);
    }
}
