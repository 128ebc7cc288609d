//! How often *often* speaks of a healthy device: a count in a window of 365 service days that slides along with the year.
use super::Kind;
use crate::rules::{
    Thresholds,
    pair::YEAR,
    statistics::{
        posterior::Posterior,
        scan::exactly,
        tails::poisson_at_least,
    },
};

/// Points of Simpson's rule over the gap before an occurrence.
const POINTS: u32 = 24;
/// No device operates so often in a year.
const MOST: u32 = 100_000;

/// The fewest occurrences in 365 service days that make the rule sure enough; `None`: no number does.
pub fn enough(kind: &Kind, set: &Thresholds) -> Option<u32> {
    let prior = Posterior::prior(kind.normal.pooled(), kind.weight)?;
    let above = set.often_ratio * kind.normal.pooled();
    let sure = |n: u32| prior.after(n, YEAR).chance_above(above).is_some_and(|p| p >= set.often_certainty);
    let (mut low, mut high) = (0, 1);
    while !sure(high) {
        low = high;
        high *= 2;
        if high > MOST {
            return None;
        }
    }
    while high - low > 1 {
        let middle = low.midpoint(high);
        if sure(middle) { high = middle } else { low = middle }
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "2 to 100 by the settings' bounds")]
    let least = set.often_at_least as u32;
    Some(high.max(least).max(2))
}

/// Lines a service year on one healthy device of this true rate. A line opens at an occurrence that finds the window full,
/// after a gap that had ended any line, or because it is the one that fills the window. Counted too often: one that fills it
/// again while a line still stands.
pub fn lines_a_year(kind: &Kind, rate: f64, set: &Thresholds) -> f64 {
    let Some(k) = enough(kind, set) else { return 0.0 };
    let quiet = (set.quiet_gaps * kind.normal.gap()).min(set.quiet_days).ceil().clamp(1.0, YEAR);
    // Two of the k are this occurrence and the one before it.
    let others = i64::from(k) - 2;
    let at_least = |mean: f64| match others {
        0 => 1.0,
        n => poisson_at_least(n.unsigned_abs(), mean.max(f64::MIN_POSITIVE)).unwrap_or(0.0),
    };
    let after_quiet =
        simpson(quiet, YEAR, |gap| rate * (-rate * gap).exp() * at_least(rate * (YEAR - gap)));
    let fills = simpson(0.0, quiet, |gap| {
        rate * (-2.0 * rate * gap).exp() * exactly(others, (rate * (YEAR - gap)).max(f64::MIN_POSITIVE))
    });
    rate * YEAR * (after_quiet + fills)
}

fn simpson(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let step = (to - from) / f64::from(POINTS);
    let weight = |i: u32| match i {
        0 | POINTS => 1.0,
        i if i % 2 == 1 => 4.0,
        _ => 2.0,
    };
    (0..=POINTS).map(|i| weight(i) * f(from + f64::from(i) * step)).sum::<f64>() * step / 3.0
}
