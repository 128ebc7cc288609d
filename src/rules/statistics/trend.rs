//! Is it getting worse within one life? Laplace's test with the gaps' scatter held against it (statistics.md 1c).
use super::{finite, sane, tails::normal_above};

/// Up to this many occurrences the exact law of the Laplace sum is used.
const EXACT: usize = 8;

/// The house rule's verdict on one life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Occurrences.
    pub n: usize,
    /// Laplace's U: above zero is getting worse.
    pub u: f64,
    /// Coefficient of variation of the gaps: 1 for a steady rate, more for bursts.
    pub variation: f64,
    /// U / max(1, variation): bursts may weaken the claim, never strengthen it.
    pub z: f64,
    /// The chance that a steady unit looks at least this much like getting worse.
    pub p: f64,
}

/// Laplace's U of occurrence times (days of a life watched from 0 to `end`): (sum t - n T / 2) / (T sqrt(n / 12)).
/// `None` without times, or if one of them is no number from 0 to the end.
pub fn laplace(times: &[f64], end: f64) -> Option<f64> {
    let inside = sane(end) && times.iter().all(|t| (0.0..=end).contains(t));
    if times.is_empty() || !inside {
        return None;
    }
    let n = times.len() as f64;
    let sum: f64 = times.iter().map(|t| t / end).sum();
    finite((sum - n / 2.0) / (n / 12.0).sqrt())
}

/// P(sum of n uniform numbers >= s), exactly: the law of the Laplace sum of a steady unit (Irwin-Hall).
/// `None` for none or more than eight, or an s that is no number.
pub fn irwin_hall_at_least(n: usize, s: f64) -> Option<f64> {
    if n == 0 || n > EXACT || !s.is_finite() {
        return None;
    }
    let whole = n as f64;
    // The law is symmetric; only its lower half is summed, because there the alternating terms stay small.
    let tail = if s >= whole / 2.0 { lower(n, whole - s) } else { 1.0 - lower(n, s) };
    Some(tail.clamp(0.0, 1.0))
}

/// P(sum of n uniform numbers <= s): 1/n! sum over k < s of (-1)^k C(n, k) (s - k)^n.
fn lower(n: usize, s: f64) -> f64 {
    let (mut sum, mut choose, mut factorial) = (0.0, 1.0, 1.0);
    for k in 0..=n {
        let left = s - k as f64;
        if left > 0.0 {
            sum += choose * (0..n).fold(1.0, |power, _| power * left);
        }
        choose *= -((n - k) as f64) / (k + 1) as f64;
        factorial *= k.max(1) as f64;
    }
    sum / factorial
}

/// Coefficient of variation of gaps: standard deviation (n - 1) over mean. `None` for fewer than two gaps, a gap that
/// is no number from zero up, or gaps that are all zero.
pub fn variation(gaps: &[f64]) -> Option<f64> {
    let known = gaps.len() >= 2 && gaps.iter().all(|gap| *gap >= 0.0 && *gap <= 1e100);
    let n = gaps.len() as f64;
    let mean = gaps.iter().sum::<f64>() / n;
    if !known || !sane(mean) {
        return None;
    }
    let squares: f64 = gaps.iter().map(|gap| (gap / mean - 1.0).powi(2)).sum();
    finite((squares / (n - 1.0)).sqrt())
}

/// The house rule over one life: times in days since it began, watched until `end`. Gaps include the first, from 0.
/// `None` for fewer than two occurrences, times outside the life, or all of them at its start.
pub fn trend(times: &[f64], end: f64) -> Option<Trend> {
    let u = laplace(times, end)?;
    let mut sorted = times.to_vec();
    sorted.sort_by(f64::total_cmp);
    let gaps: Vec<f64> = sorted.iter().scan(0.0, |last, t| Some(t - std::mem::replace(last, *t))).collect();
    let variation = variation(&gaps)?;
    let n = times.len();
    let z = u / variation.max(1.0);
    let by_normal = normal_above(z);
    let sum = times.iter().map(|t| t / end).sum();
    let p = match irwin_hall_at_least(n, sum) {
        Some(exact) if variation <= 1.0 => exact,
        Some(exact) => exact.max(by_normal),
        None => by_normal,
    };
    Some(Trend { n, u, variation, z, p })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn irwin_hall_by_hand() {
        // One uniform number; two make a triangle; n all near 1 is a corner of volume (n - s)^n / n!.
        assert_eq!(irwin_hall_at_least(1, 0.25), Some(0.75));
        assert_eq!(irwin_hall_at_least(2, 1.5), Some(0.125));
        assert_eq!(irwin_hall_at_least(2, 1.0), Some(0.5));
        let corner = irwin_hall_at_least(8, 7.9).unwrap();
        assert!((corner / (0.1_f64.powi(8) / 40_320.0) - 1.0).abs() < 1e-11, "{corner}");
        assert_eq!(irwin_hall_at_least(3, -1.0), Some(1.0));
        assert_eq!(irwin_hall_at_least(3, 3.0), Some(0.0));
        assert_eq!(irwin_hall_at_least(0, 0.0), None);
        assert_eq!(irwin_hall_at_least(9, 5.0), None);
        assert_eq!(irwin_hall_at_least(5, f64::NAN), None);
    }

    #[test]
    fn irwin_hall_falls_from_one_to_none() {
        for n in 1..=8 {
            let at = |i: u32| irwin_hall_at_least(n, f64::from(i) / 100.0 * n as f64).unwrap();
            assert!((1..=100).all(|i| at(i) <= at(i - 1)), "n {n}");
            assert!((at(50) - 0.5).abs() < 1e-12, "n {n}: {}", at(50));
        }
    }

    #[test]
    fn a_steady_life_a_worsening_one_and_a_burst() {
        let steady = trend(&[10.0, 20.0, 30.0, 40.0, 50.0], 60.0).unwrap();
        assert!(
            steady.u.abs() < 1e-12 && steady.variation < 1e-12 && (steady.p - 0.5).abs() < 1e-12,
            "{steady:?}"
        );

        // The times of row c11's last case: exact .0106356666667, normal .0123414282697.
        let worse = trend(&[60.0, 70.0, 80.0, 90.0, 95.0], 100.0).unwrap();
        assert!((worse.z - worse.u / worse.variation.max(1.0)).abs() < 1e-12, "{worse:?}");
        assert!(
            worse.variation > 1.0 && worse.p > 0.012_3,
            "the long first gap weakens the claim: {worse:?}"
        );

        let even = trend(&[35.0, 60.0, 80.0, 92.0, 99.0], 100.0).unwrap();
        assert!(even.variation <= 1.0, "{even:?}");
        assert_eq!(Some(even.p), irwin_hall_at_least(5, 3.66), "{even:?}");

        // Getting better after a burst: the weakened z alone would make it look less sure of that.
        let better = trend(&[1.0, 2.0, 3.0, 50.0], 100.0).unwrap();
        assert!(better.variation > 1.0 && better.u < -1.0, "{better:?}");
        assert_eq!(Some(better.p), irwin_hall_at_least(4, 0.56), "{better:?}");
        assert!(normal_above(better.z) < better.p, "{better:?}");

        let burst = trend(&[95.0, 95.0, 95.0, 95.0, 95.0, 95.0, 95.0, 95.0, 95.0], 100.0).unwrap();
        assert!(burst.u > 4.0 && burst.z < burst.u / 2.9, "one burst is no trend: {burst:?}");
    }

    #[test]
    fn ties_both_ends_and_disorder_are_fine_and_nonsense_is_not() {
        assert!(trend(&[0.0, 0.0, 30.0, 30.0], 30.0).is_some());
        assert_eq!(trend(&[5.0, 1.0, 9.0], 10.0), trend(&[1.0, 5.0, 9.0], 10.0));
        for times in [&[][..], &[3.0], &[0.0, 0.0, 0.0], &[1.0, 11.0], &[1.0, f64::NAN], &[-1.0, 3.0]] {
            assert_eq!(trend(times, 10.0), None, "{times:?}");
        }
        assert_eq!(trend(&[1.0, 2.0], 0.0), None);
        assert_eq!(trend(&[1.0, 2.0], f64::INFINITY), None);
        assert_eq!(variation(&[1.0]), None);
        assert_eq!(variation(&[1.0, f64::NAN]), None);
    }
}
