//! A falling reading without being fooled by a few odd ones: the median of all pairs' slopes (Theil 1950) and its
//! interval by Kendall's variance with ties (Sen 1968).
use super::{finite, median, tails::normal_quantile};

/// y's change for each unit of x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    pub slope: f64,
    pub low: f64,
    pub high: f64,
    /// y where x is zero: median of y less slope times median of x.
    pub intercept: f64,
}

/// Slope of (x, y) with an interval of this confidence (0.95 for 95 %). `None` if a coordinate is no number, or all
/// points share one x. Looks at every pair: meant for some hundred points.
pub fn theil_sen(points: &[(f64, f64)], confidence: f64) -> Option<Slope> {
    if !points.iter().all(|(x, y)| x.is_finite() && y.is_finite()) {
        return None;
    }
    let mut slopes = Vec::new();
    for (i, (x, y)) in points.iter().enumerate() {
        // Of two points with the same x none has a slope to the other; Kendall's variance knows of them.
        for (other_x, other_y) in points[..i].iter().filter(|(other, _)| other != x) {
            slopes.push(finite((y - other_y) / (x - other_x))?);
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let xs = sorted(points.iter().map(|(x, _)| *x));
    let ys = sorted(points.iter().map(|(_, y)| *y));
    let z = normal_quantile(0.5 + confidence / 2.0).filter(|z| *z > 0.0)?;
    let spread = z * kendall_variance(&xs, &ys).sqrt();
    let (low, high) = ranks(slopes.len(), spread);
    let intercept = finite(median(&ys)? - slope * median(&xs)?)?;
    Some(Slope { slope, low: slopes[low], high: slopes[high], intercept })
}

fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Variance of Kendall's S: n(n-1)(2n+5)/18, less the same for each group of equal x and of equal y.
fn kendall_variance(xs: &[f64], ys: &[f64]) -> f64 {
    let term = |n: usize| {
        let n = n as f64;
        n * (n - 1.0) * (2.0 * n + 5.0)
    };
    let ties = |values: &[f64]| -> f64 {
        values.chunk_by(|a, b| a.total_cmp(b).is_eq()).map(|group| term(group.len())).sum()
    };
    ((term(xs.len()) - ties(xs) - ties(ys)) / 18.0).max(0.0)
}

/// Places of the interval's ends among the sorted slopes.
fn ranks(slopes: usize, spread: f64) -> (usize, usize) {
    let n = slopes as f64;
    let last = n - 1.0;
    let low = (((n - spread) / 2.0).round_ties_even() - 1.0).clamp(0.0, last);
    let high = ((n + spread) / 2.0).round_ties_even().clamp(0.0, last);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to a place among the slopes"
    )]
    let places = (low.min(high) as usize, low.max(high) as usize);
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: Option<Slope>, want: [f64; 4]) {
        let got = got.unwrap();
        for (got, want) in [got.slope, got.low, got.high, got.intercept].iter().zip(want) {
            assert!((got - want).abs() <= 1e-12 * want.abs(), "{got} for {want}");
        }
    }

    /// Volts below the class's median by day, with two starts on one day and a reading that came twice.
    const VOLTS: [(f64, f64); 10] = [
        (0.0, -0.4),
        (11.0, 0.1),
        (11.0, -0.2),
        (25.0, -0.9),
        (40.0, -1.3),
        (41.0, -1.1),
        (63.0, -1.3),
        (80.0, -2.6),
        (97.0, -2.2),
        (120.0, -2.6),
    ];

    /// Wanted values: scipy.stats.theilslopes of scipy 1.17.1, method 'separate'.
    #[test]
    fn slopes_are_those_of_scipy() {
        let plain = [(1.0, 2.0), (2.0, 4.0), (3.0, 3.0), (4.0, 7.0), (5.0, 5.0), (6.0, 9.0)];
        close(theil_sen(&plain, 0.95), [1.25, -1.0, 4.0, 0.125]);
        let (slope, intercept) = (-0.021_586_097_388_849_68, -0.325_763_055_751_588_15);
        close(
            theil_sen(&VOLTS, 0.95),
            [slope, -0.030_909_090_909_090_914, -0.015_789_473_684_210_53, intercept],
        );
        close(theil_sen(&VOLTS, 0.90), [slope, -0.027_5, -0.017_073_170_731_707_32, intercept]);
    }

    #[test]
    fn one_odd_reading_moves_nothing() {
        // theilslopes of scipy 1.17.1 as well: 1, 1, 1, 10.
        let readings = [10.0, 11.0, 12.0, 90.0, 14.0, 15.0, 16.0, 17.0];
        let points: Vec<(f64, f64)> =
            readings.into_iter().enumerate().map(|(i, y)| (i as f64 + 1.0, y)).collect();
        close(theil_sen(&points, 0.80), [1.0, 1.0, 1.0, 10.0]);
    }

    #[test]
    fn order_leaves_no_trace() {
        let mut turned = VOLTS;
        turned.reverse();
        turned.swap(2, 7);
        assert_eq!(theil_sen(&turned, 0.95), theil_sen(&VOLTS, 0.95));
    }

    #[test]
    fn without_two_different_x_there_is_no_slope() {
        assert_eq!(theil_sen(&[], 0.95), None);
        assert_eq!(theil_sen(&[(1.0, 2.0)], 0.95), None);
        assert_eq!(theil_sen(&[(1.0, 2.0), (1.0, 3.0)], 0.95), None);
        assert_eq!(theil_sen(&[(1.0, 2.0), (2.0, f64::NAN)], 0.95), None);
        assert_eq!(theil_sen(&[(0.0, -1e308), (1e-300, 1e308)], 0.95), None, "steeper than a number can say");
        for confidence in [0.0, 1.0, -0.5, f64::NAN] {
            assert_eq!(theil_sen(&VOLTS, confidence), None, "{confidence}");
        }
        let two = theil_sen(&[(0.0, 1.0), (2.0, 2.0)], 0.95).unwrap();
        assert_eq!((two.slope, two.low, two.high, two.intercept), (0.5, 0.5, 0.5, 1.0));
    }
}
