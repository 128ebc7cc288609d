//! Special functions and statistics behind the rules: one small room over `statrs`, pure, numbers in and out.
//! Nothing here returns NaN or an infinity, and nothing panics: what is not sane (NaN, infinite, no exposure, a
//! rate of zero) gives `None`, or where a bare number is returned the value that accuses nobody.
//!
//! Formulas, sources and the guards around `statrs`: statistics.md; `tests` holds its check values as a table.
pub mod bad_spell;
pub mod coincidence;
pub mod crossings;
pub mod discovery;
pub mod posterior;
pub mod rates;
pub mod scan;
pub mod slope;
pub mod tails;
pub mod trend;
pub mod wet;

#[cfg(test)]
mod tests;

pub use tails::{gamma_quantile, poisson_at_least};

/// A number above zero with room to multiply and divide: no rate, count or number of days lies outside.
fn sane(x: f64) -> bool {
    (1e-100..=1e100).contains(&x)
}

/// The number if it is one, else `None`.
fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// The middle value, or the mean of the two in the middle. `None` of nothing. The slice must be sorted.
pub fn median(sorted: &[f64]) -> Option<f64> {
    let (low, high) = (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some(low.midpoint(*high))
}
