//! The rule of thumb 'k in T', watched all year: how many healthy devices it takes along (statistics.md 1a).
use super::{sane, tails::poisson_at_most};

/// More in one window is no rule of thumb, and Naus's sums would take long.
const MOST: u64 = 1_000;

/// P(some window holds at least k occurrences), when a window holds `mean` on average and the watch lasts `windows` windows,
/// at least one: by Naus from two windows on, by Alm below. `None` for a k of none or over a thousand, a mean that is no
/// number above zero, or a watch shorter than a window.
pub fn some_window(k: u64, mean: f64, windows: f64) -> Option<f64> {
    if windows >= 2.0 { naus(k, mean, windows) } else { alm(k, mean, windows) }
}

/// Alm 1983; under the true value by less than 2 % while the chance is under 5 %. `None` as [`some_window`].
pub fn alm(k: u64, mean: f64, windows: f64) -> Option<f64> {
    if !known(k, mean, windows) {
        return None;
    }
    let kf = k as f64;
    let quiet = (-(kf - mean) / kf * mean * (windows - 1.0) * exactly(k as i64 - 1, mean)).exp();
    chance(1.0 - at_most(k as i64 - 1, mean) * quiet)
}

/// Naus 1982, from the exact chances over two and three windows. `None` as [`some_window`], or where rounding leaves
/// nothing of them.
pub fn naus(k: u64, mean: f64, windows: f64) -> Option<f64> {
    if !known(k, mean, windows) {
        return None;
    }
    let (two, three) = quiet_over_two_and_three(k as i64, mean);
    if !(two > 0.0 && three > 0.0 && three <= two) {
        return None;
    }
    chance(1.0 - two * ((windows - 2.0) * (three / two).ln()).exp())
}

/// Naus's Q2 and Q3: the chances that no window within two, and within three windows' time, holds k.
pub fn quiet_over_two_and_three(k: i64, mean: f64) -> (f64, f64) {
    let p = |j: i64| exactly(j, mean);
    let f = |j: i64| at_most(j, mean);
    let kf = k as f64;
    let two = f(k - 1).powi(2) - (kf - 1.0) * p(k) * p(k - 2) - (kf - 1.0 - mean) * p(k) * f(k - 3);
    let a1 = 2.0 * p(k) * f(k - 1) * ((kf - 1.0) * f(k - 2) - mean * f(k - 3));
    let a2 = 0.5
        * p(k).powi(2)
        * ((kf - 1.0) * (kf - 2.0) * f(k - 3) - 2.0 * (kf - 2.0) * mean * f(k - 4)
            + mean * mean * f(k - 5));
    let a3: f64 = (1..k).map(|r| p(2 * k - r) * f(r - 1).powi(2)).sum();
    let a4: f64 =
        (2..k).map(|r| p(2 * k - r) * p(r) * ((r as f64 - 1.0) * f(r - 2) - mean * f(r - 3))).sum();
    (two, f(k - 1).powi(3) - a1 + a2 + a3 - a4)
}

fn known(k: u64, mean: f64, windows: f64) -> bool {
    (1..=MOST).contains(&k) && sane(mean) && sane(windows) && windows >= 1.0
}

fn chance(p: f64) -> Option<f64> {
    p.is_finite().then(|| p.clamp(0.0, 1.0))
}

/// P(X <= j); nothing is below zero.
fn at_most(j: i64, mean: f64) -> f64 {
    u64::try_from(j).ok().and_then(|j| poisson_at_most(j, mean)).unwrap_or(0.0)
}

/// P(X = j), from its logarithm, so that no power overflows.
pub fn exactly(j: i64, mean: f64) -> f64 {
    let Ok(j) = u32::try_from(j) else { return 0.0 };
    let log: f64 = (1..=j).map(|i| (mean / f64::from(i)).ln()).sum();
    (log - mean).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::statistics::poisson_at_least;

    #[test]
    fn nonsense_gives_nothing_and_certainty_is_no_more_than_one() {
        for (k, mean, windows) in [
            (0, 0.5, 12.0),
            (2_000, 0.5, 12.0),
            (3, f64::NAN, 12.0),
            (3, 0.0, 12.0),
            (3, -1.0, 12.0),
            (3, f64::INFINITY, 12.0),
            (3, 0.5, 0.5),
            (3, 0.5, f64::NAN),
        ] {
            assert_eq!(some_window(k, mean, windows), None, "{k} {mean} {windows}");
            assert_eq!(alm(k, mean, windows), None, "{k} {mean} {windows}");
            assert_eq!(naus(k, mean, windows), None, "{k} {mean} {windows}");
        }
        // A device that operates ten times a day has three in a month for certain, whatever rounding leaves.
        assert!(some_window(3, 300.0, 12.2).is_none_or(|p| p > 0.999));
        assert!(alm(3, 20.0, 12.2).unwrap() > 0.999);
    }

    #[test]
    fn one_window_is_the_poisson_tail() {
        let tail = poisson_at_least(4, 1.3).unwrap();
        assert!((some_window(4, 1.3, 1.0).unwrap() / tail - 1.0).abs() < 1e-12);
    }
}
