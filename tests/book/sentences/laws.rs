//! The laws of chance that the sentences speak of, each written out again in the plainest way that is exact enough.
use statrs::function::gamma::{gamma_lr, ln_gamma};

/// P(X >= n), X negative binomial: the predictive law of a pair whose rate is Gamma(alpha, beta) over so many days.
pub fn predictive_at_least(n: usize, alpha: f64, beta: f64, days: f64) -> f64 {
    let term = |k: usize| {
        let k = k as f64;
        let ways = ln_gamma(alpha + k) - ln_gamma(alpha) - ln_gamma(k + 1.0);
        (ways + alpha * (beta / (beta + days)).ln() + k * (days / (beta + days)).ln()).exp()
    };
    // From the tail, so that small chances keep their figures.
    (n..n + 4_000).map(term).sum()
}

pub fn poisson_at_least(n: usize, mean: f64) -> f64 {
    (n..n + 500).map(|k| (k as f64 * mean.ln() - mean - ln_gamma(k as f64 + 1.0)).exp()).sum()
}

/// P(a Gamma(shape, per-day) rate is above this one).
pub fn gamma_above(rate: f64, shape: f64, days: f64) -> f64 {
    1.0 - gamma_lr(shape, rate * days)
}

/// The x below which a Gamma(shape, 1) lies with this chance: by halving.
pub fn gamma_quantile(chance: f64, shape: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 10.0 * shape + 50.0);
    for _ in 0..200 {
        let middle = low.midpoint(high);
        if gamma_lr(shape, middle) < chance { low = middle } else { high = middle }
    }
    low
}

pub fn normal_above(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(z / std::f64::consts::SQRT_2)
}

/// The chance that a steady device looks at least this much like getting worse: Irwin and Hall's law of the sum for up
/// to eight, the normal law from there on and wherever bursts scatter the gaps.
pub fn trend(times: &[f64], end: f64) -> f64 {
    let n = times.len() as f64;
    let sum: f64 = times.iter().map(|t| t / end).sum();
    let mut sorted = times.to_vec();
    sorted.sort_by(f64::total_cmp);
    let gaps: Vec<f64> =
        (0..sorted.len()).map(|i| sorted[i] - if i > 0 { sorted[i - 1] } else { 0.0 }).collect();
    let mean = gaps.iter().sum::<f64>() / n;
    let scatter = (gaps.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt() / mean;
    let by_normal = normal_above((sum - n / 2.0) / (n / 12.0).sqrt() / scatter.max(1.0));
    if times.len() > 8 {
        return by_normal;
    }
    let (mut exact, mut choose) = (0.0, 1.0);
    for k in 0..=times.len() {
        // The mirror: P(sum >= s) = P(sum <= n - s).
        let left = (n - sum - k as f64).max(0.0);
        exact += if k % 2 == 0 { 1.0 } else { -1.0 } * choose * left.powf(n);
        choose *= (n - k as f64) / (k as f64 + 1.0);
    }
    exact /= (1..=times.len()).map(|k| k as f64).product::<f64>();
    if scatter > 1.0 { exact.max(by_normal) } else { exact }
}

/// P(at least so many of these draws), each with its own chance: every outcome's count added up.
pub fn at_least_of(shares: &[f64], k: usize) -> f64 {
    let mut law = vec![1.0];
    for share in shares {
        let mut next = vec![0.0; law.len() + 1];
        for (n, chance) in law.iter().enumerate() {
            next[n] += chance * (1.0 - share);
            next[n + 1] += chance * share;
        }
        law = next;
    }
    law.iter().skip(k).sum()
}

pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    if values.len() % 2 == 1 { values[half] } else { values[half - 1].midpoint(values[half]) }
}

/// statistics.md and check-values.csv: e08, c11, g08's neighbour d05, h07.
#[test]
fn the_laws_are_those_of_the_check_values() {
    let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-6, "{got} for {want}");
    near(predictive_at_least(4, 2.0, 90.0, 180.0), 0.460_905_349_794);
    near(predictive_at_least(9, 2.0, 365.0, 365.0), 0.010_742_187_5);
    near(poisson_at_least(4, 12.0 / 90.0), 1.183_920_910_03e-5);
    near(gamma_above(2.0 / 90.0, 8.0, 300.0), 0.648_247_141_727);
    near(gamma_lr(8.0, gamma_quantile(0.8, 8.0)), 0.8);
    near(trend(&[35.0, 60.0, 80.0, 92.0, 99.0], 100.0), trend_by_hand(5, 3.66));
    let shares = [0.5, 0.580_645_161_29, 0.459_677_419_355, 0.459_677_419_355, 0.513_274_336_283, 0.5, 0.5];
    near(at_least_of(&shares, 6), 0.063_143_049_231_2);
    assert_eq!((median(vec![3.0, 1.0, 2.0]), median(vec![4.0, 1.0, 2.0, 3.0])), (2.0, 2.5));
}

/// Five uniform numbers whose sum is at least s, for s between 3 and 4: ((5-s)^5 - 5 (4-s)^5) / 120.
fn trend_by_hand(n: i32, s: f64) -> f64 {
    ((5.0 - s).powi(n) - 5.0 * (4.0 - s).powi(n)) / 120.0
}
