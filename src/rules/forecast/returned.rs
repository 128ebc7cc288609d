//! How often *did not hold* speaks of a healthy device after a repair that needed none.
use crate::rules::{
    Thresholds,
    statistics::{gamma_quantile, scan::exactly},
};

/// Returns that are looked at; later ones add next to nothing.
const RETURNS: usize = 24;

/// The chance that a repair draws a line although the device operates as its class does. `first` is the chance allowed to
/// a first return, `mean` the occurrences to expect in the time watched after the repair.
///
/// Each number of returns draws a line when it comes within a certain time, so there is none when at the end of each such
/// time fewer have come: a walk from time to time that is cut off where it gets too high.
pub fn chance(first: f64, mean: f64, set: &Thresholds) -> f64 {
    let mut ends: Vec<(f64, usize)> = vec![(-(-first).ln_1p(), 1)];
    let later = |n: usize| Some((gamma_quantile(set.returned_tail, n as f64)?, n));
    ends.extend((2..=RETURNS).filter_map(later));
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut shares = [0.0; RETURNS];
    shares[0] = 1.0;
    let mut now = 0.0;
    for (end, returns) in ends {
        let upto = end.min(mean);
        if upto > now {
            shares = walked(&shares, upto - now);
            now = upto;
        }
        shares[returns.min(RETURNS)..].fill(0.0);
    }
    (1.0 - shares.iter().sum::<f64>()).clamp(0.0, 1.0)
}

/// The counts some time later; more than are looked at are lost, and count as a line.
fn walked(from: &[f64; RETURNS], mean: f64) -> [f64; RETURNS] {
    let steps: Vec<f64> = (0..).map(|n| exactly(n, mean)).take(RETURNS).collect();
    let mut to = [0.0; RETURNS];
    for (n, share) in from.iter().enumerate() {
        for (more, p) in steps.iter().enumerate().take(RETURNS - n) {
            to[n + more] += share * p;
        }
    }
    to
}
