//! Chances of "this many or more" and their inverses. Upper tails always by `sf`, never `1 - cdf`, which loses
//! every digit that matters. The guards are those of statistics.md section 4: where `statrs` was measured to be
//! wrong we do not ask it.
use statrs::{
    distribution::{Binomial, Continuous as _, ContinuousCDF, DiscreteCDF, Gamma, Normal, Poisson},
    function::beta::checked_beta_reg,
};

use super::{finite, sane};

/// No count of this trade is larger. Up to here the series of `statrs` end in good time (60 microseconds) and keep
/// eight digits; at hundreds they keep eleven.
const MOST: f64 = 1e7;

/// Incomplete beta functions with both shapes above this are wrong in `statrs` 0.19 (0.4912 for 0.5 at 1e6).
const LARGE_SHAPE: f64 = 1e4;

/// A chance that rounding may have carried a hair past 0 or 1.
fn chance(p: f64) -> Option<f64> {
    finite(p).map(|p| p.clamp(0.0, 1.0))
}

/// P(X >= k) for a Poisson variable. `None` unless the mean is above zero and at most ten million.
pub fn poisson_at_least(k: u64, mean: f64) -> Option<f64> {
    let poisson = poisson(mean)?;
    let Some(below) = k.checked_sub(1) else { return Some(1.0) };
    chance(poisson.sf(below))
}

/// P(X <= k) for a Poisson variable; `None` as [`poisson_at_least`].
pub fn poisson_at_most(k: u64, mean: f64) -> Option<f64> {
    chance(poisson(mean)?.cdf(k))
}

fn poisson(mean: f64) -> Option<Poisson> {
    (sane(mean) && mean <= MOST).then(|| Poisson::new(mean).ok()).flatten()
}

/// P(rate > x) when the rate is Gamma(shape, rate): after some occurrences, shape in occurrences and rate in days.
/// `None` unless shape and rate are above zero, the shape is at most ten million and x is zero or above.
pub fn gamma_above(x: f64, shape: f64, rate: f64) -> Option<f64> {
    let known = sane(shape) && shape <= MOST && sane(rate) && x.is_finite() && x >= 0.0;
    let scaled = x * rate;
    if !known || !scaled.is_finite() {
        return None;
    }
    chance(Gamma::new(shape, 1.0).ok()?.sf(scaled))
}

/// The value that a Gamma(shape, rate 1) variable stays under with this chance. `None` for a shape under 0.5
/// (where `statrs` loses digits) or above ten million, or a chance outside 0..1.
pub fn gamma_quantile(chance: f64, shape: f64) -> Option<f64> {
    let known = (0.5..=MOST).contains(&shape) && chance > 0.0 && chance < 1.0;
    let gamma = known.then(|| Gamma::new(shape, 1.0).ok()).flatten()?;
    finite(closed_in_upon(&gamma, chance, shape).unwrap_or_else(|| gamma.inverse_cdf(chance)))
}

/// By Newton's steps from where Wilson and Hilferty's cube has it: `statrs` begins at 1 and takes four times as many.
/// `None` where they do not settle.
fn closed_in_upon(gamma: &Gamma, chance: f64, shape: f64) -> Option<f64> {
    let ninth = 1.0 / (9.0 * shape);
    let root = 1.0 - ninth + normal_quantile(chance)? * ninth.sqrt();
    let mut x = shape * root.powi(3);
    for _ in 0..8 {
        let step = (gamma.cdf(x) - chance) / gamma.pdf(x);
        if !step.is_finite() || step >= x {
            return None;
        }
        x -= step;
        if step.abs() <= 1e-13 * x {
            return Some(x);
        }
    }
    None
}

/// P(X >= k) of n draws with chance p each. `None` unless 0 < p < 1 and n is at most ten million.
/// With k and n - k both in the tens of thousands by the normal law with continuity correction.
pub fn binomial_at_least(k: u64, n: u64, p: f64) -> Option<f64> {
    let binomial = binomial(n, p)?;
    let Some(below) = k.checked_sub(1) else { return Some(1.0) };
    if k > n {
        return Some(0.0);
    }
    if k as f64 > LARGE_SHAPE && (n - k) as f64 > LARGE_SHAPE {
        return Some(normal_above((k as f64 - 0.5 - n as f64 * p) / binomial_sd(n, p)));
    }
    chance(binomial.sf(below))
}

/// P(X <= k) of n draws with chance p each; `None` as [`binomial_at_least`].
pub fn binomial_at_most(k: u64, n: u64, p: f64) -> Option<f64> {
    let binomial = binomial(n, p)?;
    if k >= n {
        return Some(1.0);
    }
    if k as f64 > LARGE_SHAPE && (n - k) as f64 > LARGE_SHAPE {
        return Some(normal_above((n as f64 * p - k as f64 - 0.5) / binomial_sd(n, p)));
    }
    chance(binomial.cdf(k))
}

fn binomial(n: u64, p: f64) -> Option<Binomial> {
    let known = n as f64 <= MOST && sane(p) && p < 1.0;
    known.then(|| Binomial::new(p, n).ok()).flatten()
}

fn binomial_sd(n: u64, p: f64) -> f64 {
    (n as f64 * p * (1.0 - p)).sqrt()
}

/// P(Z > z) for a standard normal variable, good to ten digits. A z that is no finite number proves nothing: 1.
pub fn normal_above(z: f64) -> f64 {
    if z.is_finite() { Normal::standard().sf(z) } else { 1.0 }
}

/// The z that a standard normal variable stays under with this chance. `None` outside 0..1.
pub fn normal_quantile(chance: f64) -> Option<f64> {
    (chance > 0.0 && chance < 1.0).then(|| Normal::standard().inverse_cdf(chance)).and_then(finite)
}

/// The value that a chi-squared variable stays under with this chance. `None` for under one degree of freedom.
pub fn chi_squared_quantile(chance: f64, degrees: f64) -> Option<f64> {
    gamma_quantile(chance, degrees / 2.0).map(|quantile| 2.0 * quantile)
}

/// P(X > x) for a chi-squared variable.
pub fn chi_squared_above(x: f64, degrees: f64) -> Option<f64> {
    gamma_above(x, degrees / 2.0, 0.5)
}

/// P(X >= x) for the occurrences in t days to come, when the rate is Gamma(alpha, beta days): negative binomial.
/// `None` unless alpha, beta and t are above zero and alpha and x at most ten million.
pub fn predictive_at_least(x: u64, alpha: f64, beta: f64, t: f64) -> Option<f64> {
    let ahead = Ahead::new(x, alpha, beta, t)?;
    if x == 0 {
        return Some(1.0);
    }
    if ahead.is_large() {
        return Some(normal_above((x as f64 - 0.5 - ahead.mean) / ahead.sd));
    }
    checked_beta_reg(x as f64, alpha, t / (t + beta)).ok().and_then(chance)
}

/// P(X <= x) for the occurrences in t days to come; `None` as [`predictive_at_least`].
pub fn predictive_at_most(x: u64, alpha: f64, beta: f64, t: f64) -> Option<f64> {
    let ahead = Ahead::new(x, alpha, beta, t)?;
    if ahead.is_large() {
        return Some(normal_above((ahead.mean - x as f64 - 0.5) / ahead.sd));
    }
    checked_beta_reg(alpha, x as f64 + 1.0, beta / (t + beta)).ok().and_then(chance)
}

/// What a gamma-Poisson forecast rests on.
struct Ahead {
    smaller_shape: f64,
    mean: f64,
    sd: f64,
}

impl Ahead {
    fn new(x: u64, alpha: f64, beta: f64, t: f64) -> Option<Self> {
        let known = [alpha, beta, t].into_iter().all(sane) && alpha <= MOST && x as f64 <= MOST;
        let mean = alpha * (t / beta);
        let sd = (mean * (1.0 + t / beta)).sqrt();
        (known && sd > 0.0).then(|| Self { smaller_shape: alpha.min(x as f64), mean, sd })
    }

    fn is_large(&self) -> bool {
        self.smaller_shape > LARGE_SHAPE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_and_quantiles() {
        // check-values.csv d05: 4 in 12 days at one per 90 days.
        let d05 = poisson_at_least(4, 12.0 / 90.0).unwrap();
        assert!((d05 / 1.183_920_910_03e-5 - 1.0).abs() < 1e-8, "{d05}");
        assert_eq!(poisson_at_least(0, 3.0), Some(1.0));
        assert_eq!(poisson_at_least(3, 0.0), None, "a rate of zero must not reach the tail");
        // Gamma(n) quantile = half a chi-square quantile of 2n: chi2(0.8; 12) = 15.81199 (any printed table).
        let q = gamma_quantile(0.8, 6.0).unwrap();
        assert!((q * 2.0 - 15.811_99).abs() < 1e-4, "{q}");
        assert_eq!(gamma_quantile(0.8, 0.1), None);
    }

    #[test]
    fn a_count_of_none_is_certain_and_more_than_all_is_impossible() {
        assert_eq!(binomial_at_least(0, 5, 0.2), Some(1.0));
        assert_eq!(binomial_at_least(6, 5, 0.2), Some(0.0));
        assert_eq!(binomial_at_most(5, 5, 0.2), Some(1.0));
        assert_eq!(predictive_at_least(0, 2.0, 180.0, 30.0), Some(1.0));
        assert!(binomial_at_least(0, 5, 0.0).is_none(), "no share of the exposure, no verdict");
        assert!(poisson_at_least(0, f64::NAN).is_none());
    }

    #[test]
    fn both_ends_of_a_tail_make_one() {
        for (k, n, p) in [(1, 5, 0.2), (12, 20, 0.35), (30_000, 60_000, 0.499), (11_000, 1_000_000, 0.011)] {
            let whole = binomial_at_least(k, n, p).unwrap() + binomial_at_most(k - 1, n, p).unwrap();
            assert!((whole - 1.0).abs() < 1e-9, "{k} of {n} at {p}: {whole}");
        }
        for (x, alpha) in [(1, 0.5), (4, 2.0), (15_000, 14_900.0)] {
            let whole = predictive_at_least(x, alpha, 90.0, 90.0).unwrap()
                + predictive_at_most(x - 1, alpha, 90.0, 90.0).unwrap();
            assert!((whole - 1.0).abs() < 1e-9, "{x} at {alpha}: {whole}");
        }
        let whole = poisson_at_least(7, 4.2).unwrap() + poisson_at_most(6, 4.2).unwrap();
        assert!((whole - 1.0).abs() < 1e-12, "{whole}");
    }

    /// Without the guard `statrs` answers 0.4912 for one half at shapes of a million.
    #[test]
    fn the_guard_on_large_shapes_holds_the_middle() {
        let half = binomial_at_least(1_000_001, 2_000_001, 0.5).unwrap();
        assert!((half - 0.5).abs() < 1e-6, "{half}");
        // scipy 1.17.1: binom.sf(20199, 40000, .5) and nbinom.sf(20299, 20000, .5).
        for (got, want) in [
            (binomial_at_least(20_200, 40_000, 0.5).unwrap(), 0.023_020_764_491_911_85),
            (predictive_at_least(20_300, 20_000.0, 90.0, 90.0).unwrap(), 0.067_531_789_779_416_57),
        ] {
            assert!((got / want - 1.0).abs() < 1e-2, "{got} for {want}");
        }
    }

    /// Wanted values: scipy 1.17.1, `poisson.sf`, `binom.sf` and `betainc`. Near our limits, where digits are fewest.
    #[test]
    fn counts_in_the_millions_keep_eight_digits() {
        for (got, want) in [
            (poisson_at_least(10_003_000, 1e7), 0.171_429_733_357_578_4),
            (poisson_at_least(1_000_500, 1e6), 0.308_669_548_100_002_47),
            (binomial_at_least(3, 10_000_000, 1e-7), 0.080_301_387_874_407_28),
            (binomial_at_least(9_000, 1_000_000, 0.0088), 0.016_589_167_297_271_248),
            (binomial_at_least(9_900, 19_900, 0.49), 0.017_616_672_042_765_572),
            (predictive_at_least(5_000_000, 2.0, 1.0, 1e6), 0.040_427_749_365_589_41),
        ] {
            let off = (got.unwrap() / want - 1.0).abs();
            assert!(off < 2e-8, "{got:?} for {want}: {off:e}");
        }
    }

    /// `statrs` answers -4.2e-15 here.
    #[test]
    fn rounding_makes_no_chance_below_none() {
        assert_eq!(
            gamma_above(0.885_824_834_049_826_8, 3.230_012_604_307_495e-26, 0.397_969_525_390_259_76),
            Some(0.0)
        );
    }

    /// The library's own way to a quantile, however far it has to go.
    #[test]
    fn the_short_way_to_a_quantile_leads_where_the_long_one_does() {
        for chance in [0.001, 0.05, 0.5, 0.9, 0.999] {
            for shape in [0.5, 1.0, 7.5, 400.0, 12_000.0, 3e6] {
                let (short, long) =
                    (gamma_quantile(chance, shape), Gamma::new(shape, 1.0).unwrap().inverse_cdf(chance));
                assert!((short.unwrap() / long - 1.0).abs() < 1e-9, "{chance} {shape}: {short:?} {long}");
            }
        }
    }

    #[test]
    fn quantiles_undo_tails() {
        for chance in [0.001, 0.05, 0.5, 0.9, 0.999] {
            for shape in [0.5, 1.0, 7.5, 400.0, 12_000.0] {
                let above = gamma_above(gamma_quantile(chance, shape).unwrap(), shape, 1.0).unwrap();
                assert!((above - (1.0 - chance)).abs() < 1e-9, "{chance} {shape}: {above}");
            }
            let above = chi_squared_above(chi_squared_quantile(chance, 12.0).unwrap(), 12.0).unwrap();
            assert!((above - (1.0 - chance)).abs() < 1e-9, "{chance}: {above}");
            let above = normal_above(normal_quantile(chance).unwrap());
            assert!((above - (1.0 - chance)).abs() < 1e-9, "{chance}: {above}");
        }
    }
}
