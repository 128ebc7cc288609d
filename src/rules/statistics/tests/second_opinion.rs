//! The same tails by another library, `special`, where statistics.md section 4 found it good: incomplete gamma and
//! beta functions from below, ln gamma, and the error function's complement. It has no upper gamma tail and no quantiles.
use special::{Beta, Error, Gamma};

use crate::rules::statistics::{rates::share_interval, tails::*};

/// Counts the comparisons, so that a grid which compares nothing fails.
struct Grid {
    tolerance: f64,
    compared: usize,
}

impl Grid {
    fn new(tolerance: f64) -> Self {
        Self { tolerance, compared: 0 }
    }

    /// Relative; figures below 1e-290 have lost their digits on the way.
    fn compare(&mut self, got: f64, want: f64, what: &str) {
        if want > 1e-290 {
            self.compared += 1;
            assert!((got / want - 1.0).abs() <= self.tolerance, "{what}: {got:e} for {want:e}");
        }
    }

    fn done(&self, at_least: usize) {
        assert!(self.compared >= at_least, "only {} compared", self.compared);
    }
}

const MEANS: [f64; 9] = [1e-4, 0.01, 0.133, 0.5, 1.0, 4.0, 30.0, 200.0, 1000.0];

#[test]
fn poisson() {
    let mut grid = Grid::new(1e-10);
    for mean in MEANS {
        for k in [1_u64, 2, 3, 4, 6, 10, 25, 60, 220, 1100] {
            // P(X >= k) is the incomplete gamma function from below.
            let want = mean.inc_gamma(k as f64);
            grid.compare(poisson_at_least(k, mean).unwrap(), want, &format!("{k} or more at {mean}"));
        }
    }
    grid.done(70);
}

/// Poisson chances one by one from ln gamma, added up from the smallest.
#[test]
fn poisson_added_up() {
    let mut grid = Grid::new(1e-10);
    for mean in MEANS {
        let chance = |k: u64| (k as f64 * mean.ln() - mean - Gamma::ln_gamma(k as f64 + 1.0).0).exp();
        for k in [0_u64, 1, 3, 10, 60, 220, 1100] {
            let want: f64 = (0..=k).map(chance).sum();
            grid.compare(poisson_at_most(k, mean).unwrap(), want, &format!("{k} or fewer at {mean}"));
        }
    }
    grid.done(55);
}

#[test]
fn gamma() {
    let mut grid = Grid::new(1e-9);
    for shape in [0.5, 1.0, 2.0, 2.44, 8.0, 50.0, 400.0] {
        for chance in [0.001, 0.05, 0.5, 0.8, 0.95, 0.999] {
            let x = gamma_quantile(chance, shape).unwrap();
            grid.compare(x.inc_gamma(shape), chance, &format!("quantile {chance} of shape {shape}"));
            let above = gamma_above(x / 365.0, shape, 365.0).unwrap();
            grid.compare(above, 1.0 - x.inc_gamma(shape), &format!("above {x} of shape {shape}"));
        }
    }
    grid.done(84);
}

#[test]
fn binomial_and_forecast() {
    let mut grid = Grid::new(2e-9);
    for n in [1_u64, 5, 20, 48, 356, 9_000, 100_000] {
        for k in [1_u64, 2, 4, 15, 60, 400].into_iter().filter(|k| *k <= n) {
            for p in [1e-4, 0.01, 0.1, 0.35, 0.5, 0.9] {
                let (a, b) = (k as f64, (n - k) as f64 + 1.0);
                let want = p.inc_beta(a, b, a.ln_beta(b));
                grid.compare(
                    binomial_at_least(k, n, p).unwrap(),
                    want,
                    &format!("{k} or more of {n} at {p}"),
                );
            }
        }
    }
    for alpha in [0.5, 1.0, 2.0, 8.0, 40.0] {
        for (x, beta, t) in [(1_u64, 180.0, 4.0), (4, 90.0, 180.0), (9, 365.0, 365.0), (60, 20.0, 300.0)] {
            let want = (t / (t + beta)).inc_beta(x as f64, alpha, (x as f64).ln_beta(alpha));
            let got = predictive_at_least(x, alpha, beta, t).unwrap();
            grid.compare(got, want, &format!("{x} or more in {t}, prior {alpha} in {beta}"));
        }
    }
    grid.done(180);
}

#[test]
fn normal() {
    let mut grid = Grid::new(1e-9);
    for i in -60..=300 {
        let z = f64::from(i) / 10.0;
        let want = 0.5 * (z / 2_f64.sqrt()).compl_error();
        grid.compare(normal_above(z), want, &format!("above {z}"));
    }
    grid.done(350);
}

/// At the ends of an exact interval the tail has half of the error.
#[test]
fn interval_ends() {
    let mut grid = Grid::new(1e-8);
    for (k, n) in [(1_u64, 7_u64), (6, 7), (12, 20), (60, 90), (48, 25_363)] {
        let (low, high) = share_interval(k, n, 0.95).unwrap();
        let (a, b) = (k as f64, (n - k) as f64);
        grid.compare(low.inc_beta(a, b + 1.0, a.ln_beta(b + 1.0)), 0.025, &format!("low of {k} in {n}"));
        let below = (1.0 - high).inc_beta(b, a + 1.0, b.ln_beta(a + 1.0));
        grid.compare(below, 0.025, &format!("high of {k} in {n}"));
    }
    grid.done(10);
}
