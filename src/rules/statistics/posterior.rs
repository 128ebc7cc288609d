//! What is believed of one pair's rate: Gamma(alpha, beta), alpha in occurrences and beta in days, so that a pair
//! with little of its own history leans on its class (statistics.md 1e).
use super::{finite, sane, tails::gamma_above};

/// Gamma(alpha occurrences, beta days): the rate's law, mean alpha / beta a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Posterior {
    pub alpha: f64,
    pub beta: f64,
}

/// Three million years: longer than any silence.
const NEVER: f64 = 1e9;

impl Posterior {
    /// Before the pair's own history: the class's mean rate a day, weighing as much as `weight` occurrences.
    /// `None` unless both are above zero.
    pub fn prior(mean: f64, weight: f64) -> Option<Self> {
        let beta = weight / mean;
        (sane(mean) && sane(weight) && sane(beta)).then_some(Self { alpha: weight, beta })
    }

    /// After this many occurrences in these days. Days that are no number above zero count as none.
    #[must_use]
    pub fn after(self, occurrences: u32, days: f64) -> Self {
        let days = if sane(days) { days } else { 0.0 };
        Self { alpha: self.alpha + f64::from(occurrences), beta: self.beta + days }
    }

    /// Occurrences a day to expect.
    pub fn mean(self) -> f64 {
        self.alpha / self.beta
    }

    /// P(the pair's rate is above this rate a day). `None` for a rate that is no number from zero up.
    pub fn chance_above(self, rate: f64) -> Option<f64> {
        gamma_above(rate, self.alpha, self.beta)
    }

    /// P(nothing happens in the next days at an unchanged rate): (beta / (beta + d))^alpha.
    pub fn silence(self, days: f64) -> f64 {
        let days = if sane(days) { days } else { 0.0 };
        (-self.alpha * (days / self.beta).ln_1p()).exp()
    }

    /// The days of silence that have this chance, at most a billion: inverse of [`Posterior::silence`].
    pub fn days_of_silence(self, chance: f64) -> f64 {
        if chance >= 1.0 {
            return 0.0;
        }
        let days = self.beta * (-chance.ln() / self.alpha).exp_m1();
        if days < NEVER { days } else { NEVER }
    }
}

/// Marshall's moments: how many occurrences the class's mean weighs, from units' (occurrences, days) and the pooled
/// rate. `None` when the units differ no more than chance makes them (A <= 0). Units without days are left out.
pub fn marshall(units: impl Iterator<Item = (f64, f64)>, mean: f64) -> Option<f64> {
    if !sane(mean) {
        return None;
    }
    let (mut n, mut days, mut spread) = (0.0, 0.0, 0.0);
    for (x, t) in units.filter(|(x, t)| x.is_finite() && sane(*t)) {
        n += 1.0;
        days += t;
        spread += t * (x / t - mean).powi(2);
    }
    let excess = spread / days - mean * n / days;
    if excess > 0.0 { finite(mean * mean / excess) } else { None }
}

/// The weight to use: at least half an occurrence, at most two, and two where the units do not differ. More would
/// assume that no unit can be really bad; why two: statistics.md 1e.
pub fn clamped(marshall: Option<f64>) -> f64 {
    marshall.filter(|alpha| !alpha.is_nan()).unwrap_or(2.0).clamp(0.5, 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_and_its_days_undo_each_other() {
        let pair = Posterior::prior(1.0 / 90.0, 2.0).unwrap().after(6, 120.0);
        for chance in [0.9, 0.5, 0.05, 1e-6] {
            let days = pair.days_of_silence(chance);
            assert!((pair.silence(days) / chance - 1.0).abs() < 1e-12, "{chance}: {days}");
        }
        assert!((pair.silence(0.0) - 1.0).abs() < 1e-15);
        assert!(pair.days_of_silence(1.0).abs() < 1e-15);
        assert!((pair.days_of_silence(0.0) - NEVER).abs() < 1.0, "silence never proves everything");
    }

    #[test]
    fn silence_is_no_occurrence_in_the_forecast() {
        let pair = Posterior { alpha: 8.0, beta: 300.0 };
        let none = crate::rules::statistics::tails::predictive_at_most(0, 8.0, 300.0, 90.0).unwrap();
        assert!((pair.silence(90.0) / none - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_class_without_a_rate_gives_no_prior() {
        for (mean, weight) in [(0.0, 2.0), (-1.0, 2.0), (f64::NAN, 2.0), (0.1, 0.0), (0.1, f64::INFINITY)] {
            assert_eq!(Posterior::prior(mean, weight), None, "{mean} {weight}");
        }
        let pair = Posterior::prior(0.01, 2.0).unwrap();
        assert_eq!(pair.after(0, f64::NAN), pair);
        assert_eq!(pair.chance_above(f64::NAN), None);
        assert_eq!(pair.chance_above(0.0), Some(1.0));
    }

    #[test]
    fn the_weight_stays_between_half_and_two() {
        for (raw, want) in
            [(None, 2.0), (Some(f64::NAN), 2.0), (Some(0.3), 0.5), (Some(1.2), 1.2), (Some(9.0), 2.0)]
        {
            assert!((clamped(raw) - want).abs() < 1e-15, "{raw:?}");
        }
        // Equal units, one unit, no units: nothing says that they differ.
        assert_eq!(marshall([(2.0, 100.0), (2.0, 100.0)].into_iter(), 0.02), None);
        assert_eq!(marshall([(2.0, 100.0)].into_iter(), 0.02), None);
        assert_eq!(marshall(std::iter::empty(), 0.02), None);
    }
}
