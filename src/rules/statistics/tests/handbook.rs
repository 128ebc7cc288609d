//! What only the check values need: textbook methods that no rule uses, put together from the rules' own functions.
use statrs::{
    distribution::{Binomial, Discrete},
    function::gamma::{digamma, ln_gamma},
};

use crate::rules::statistics::{
    rates::TwoRates,
    tails::{chi_squared_above, gamma_quantile, normal_quantile, poisson_at_least},
};

/// Where `rising` turns from negative to positive, between two positive numbers.
pub fn root(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    assert!(rising(low) < 0.0 && rising(high) > 0.0, "no root between {low} and {high}");
    for _ in 0..200 {
        let middle = low.midpoint(high);
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    low.midpoint(high)
}

/// Sums that a power-law process (MIL-HDBK-189) leaves behind, watched to time `end`.
#[derive(Clone, Copy, Debug)]
pub struct PowerLaw {
    pub n: f64,
    pub sum: f64,
    pub sum_of_logs: f64,
    pub end: f64,
}

impl PowerLaw {
    pub fn of(times: &[f64], end: f64) -> Self {
        let sum_of_logs = times.iter().map(|t| t.ln()).sum();
        Self { n: times.len() as f64, sum: times.iter().sum(), sum_of_logs, end }
    }

    /// Laplace's U from the sums alone.
    pub fn laplace(&self) -> f64 {
        (self.sum - self.n * self.end / 2.0) / (self.end * (self.n / 12.0).sqrt())
    }

    /// 2 sum ln(T / t): chi-squared of 2n degrees; small is worse.
    pub fn chi_squared(&self) -> f64 {
        2.0 * (self.n * self.end.ln() - self.sum_of_logs)
    }

    pub fn beta(&self) -> f64 {
        2.0 * self.n / self.chi_squared()
    }

    pub fn lambda(&self) -> f64 {
        self.n / self.end.powf(self.beta())
    }

    /// Occurrences a time unit now.
    pub fn intensity(&self) -> f64 {
        self.lambda() * self.beta() * self.end.powf(self.beta() - 1.0)
    }

    /// NIST 8.4.5.2: mean gap now by the unbiased beta, and its interval by the normal approximation.
    pub fn gap_now(&self, confidence: f64) -> (f64, f64, f64) {
        let (n, z) = (self.n, normal_quantile(0.5 + confidence / 2.0).unwrap());
        let gap = self.end / ((n - 1.0) * self.beta());
        let z2 = z * z;
        let low = n * (n - 1.0) / (n + z2 / 4.0 + (n * z2 / 2.0 + z2 * z2 / 16.0).sqrt()).powi(2);
        let high = n * (n - 1.0) / (n - z * (n / 2.0).sqrt()).powi(2);
        (gap, gap * low, gap * high)
    }
}

/// P(X <= x) of a chi-squared variable: the side on which a trend is worse.
pub fn chi_squared_below(x: f64, degrees: f64) -> f64 {
    1.0 - chi_squared_above(x, degrees).unwrap()
}

/// Units watched to different ends, together: (times, end) of each.
pub struct Pooled<'a>(pub &'a [(Vec<f64>, f64)]);

impl Pooled<'_> {
    pub fn n(&self) -> f64 {
        self.0.iter().map(|(times, _)| times.len() as f64).sum()
    }

    pub fn laplace(&self) -> f64 {
        let excess: f64 = self
            .0
            .iter()
            .map(|(times, end)| times.iter().sum::<f64>() - times.len() as f64 * end / 2.0)
            .sum();
        let variance: f64 = self.0.iter().map(|(times, end)| times.len() as f64 * end * end / 12.0).sum();
        excess / variance.sqrt()
    }

    pub fn chi_squared(&self) -> f64 {
        self.0.iter().map(|(times, end)| PowerLaw::of(times, *end).chi_squared()).sum()
    }

    /// Maximum-likelihood power law: n / beta + sum ln t = n sum T^beta ln T / sum T^beta.
    pub fn power_law(&self) -> (f64, f64) {
        let logs: f64 = self.0.iter().flat_map(|(times, _)| times).map(|t| t.ln()).sum();
        let power = |beta: f64| self.0.iter().map(|(_, end)| end.powf(beta)).sum::<f64>();
        let beta = root(0.05, 20.0, |beta| {
            let weighted: f64 = self.0.iter().map(|(_, end)| end.powf(beta) * end.ln()).sum();
            self.n() * weighted / power(beta) - self.n() / beta - logs
        });
        (beta, self.n() / power(beta))
    }
}

/// NIST 8.4.6: the gamma prior for which a mean gap has even odds to be below `even` and 5 % to be below `low`.
pub fn prior_from_two_gaps(even: f64, low: f64) -> (f64, f64) {
    let a =
        root(0.5, 1e3, |a| even / low - gamma_quantile(0.95, a).unwrap() / gamma_quantile(0.5, a).unwrap());
    (a, even * gamma_quantile(0.5, a).unwrap())
}

/// Coincidences to expect of two devices with these counts: n m (2w - w^2), w the span's share of the time.
pub fn coincidences(n: u64, m: u64, share: f64) -> f64 {
    n as f64 * m as f64 * (2.0 * share - share * share)
}

pub fn coincidences_at_least(observed: u64, expected: f64) -> f64 {
    poisson_at_least(observed, expected).unwrap()
}

/// Two-sided in R's way: all splits that are no likelier than this one.
pub fn two_sided(rates: &TwoRates) -> f64 {
    let n = rates.first.0 + rates.second.0;
    let law = Binomial::new(rates.first.1 / (rates.first.1 + rates.second.1), n).unwrap();
    let limit = law.pmf(rates.first.0) * (1.0 + 1e-7);
    (0..=n).map(|k| law.pmf(k)).filter(|chance| *chance <= limit).sum()
}

/// Exact bounds of one rate: Gamma quantiles of x and x + 1 over the exposure.
pub fn rate_interval(x: u64, t: f64, confidence: f64) -> (f64, f64) {
    let error = (1.0 - confidence) / 2.0;
    (gamma_quantile(error, x as f64).unwrap() / t, gamma_quantile(1.0 - error, x as f64 + 1.0).unwrap() / t)
}

/// A gamma prior fitted to units' (occurrences, days) by maximum likelihood: the rules use moments instead.
pub struct Fit<'a>(pub &'a [(f64, f64)]);

impl Fit<'_> {
    /// (alpha, beta) of the greatest likelihood.
    pub fn likeliest(&self) -> (f64, f64) {
        let alpha = self.alpha(|_| 0.0);
        (alpha, alpha / self.mean(alpha))
    }

    /// (alpha, mean) of the likelihood times a log-normal weight on alpha with median 2 and ln-scale 1: found from
    /// the four rows that give it, whose slopes of the likelihood in ln alpha are ln(alpha / 2) to six digits.
    pub fn penalised(&self) -> (f64, f64) {
        let alpha = self.alpha(|alpha| (alpha / 2.0).ln());
        (alpha, self.mean(alpha))
    }

    fn alpha(&self, penalty: impl Fn(f64) -> f64) -> f64 {
        root(-4.0, 6.0, |log: f64| {
            let alpha = log.exp();
            let beta = alpha / self.mean(alpha);
            let score = |(x, t): &(f64, f64)| digamma(alpha + x) - digamma(alpha) + (beta / (beta + t)).ln();
            penalty(alpha) - alpha * self.0.iter().map(score).sum::<f64>()
        })
        .exp()
    }

    /// The likeliest mean rate for this alpha.
    fn mean(&self, alpha: f64) -> f64 {
        root(1e-9, 1e3, |mean| {
            -self.0.iter().map(|(x, t)| (x - mean * t) / (1.0 + mean * t / alpha)).sum::<f64>()
        })
    }

    pub fn log_likelihood(&self, alpha: f64, beta: f64) -> f64 {
        let unit = |(x, t): &(f64, f64)| {
            let counts = ln_gamma(alpha + x) - ln_gamma(alpha) - ln_gamma(x + 1.0);
            counts + alpha * (beta / (beta + t)).ln() + x * (t / (beta + t)).ln()
        };
        self.0.iter().map(unit).sum()
    }
}
