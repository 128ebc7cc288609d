//! Chance, always from the seed: the same seed throws the same dice.
use rand::{Rng, RngExt, SeedableRng, rngs::StdRng};
use uuid::Builder;

use crate::base::{Instant, instant::MINUTE};

/// One stream of chance. `StdRng` may change with the crate; a test pins its first throws, so that a new
/// version of `rand` fails there and not in somebody's screenshots.
pub struct Dice(StdRng);

impl Dice {
    pub fn seeded(seed: u64) -> Self {
        Self(StdRng::seed_from_u64(seed))
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        self.0.random_range(low..=high.max(low))
    }

    /// So many whole minutes, in microseconds.
    pub fn minutes(&mut self, low: i64, high: i64) -> i64 {
        self.whole(low, high) * MINUTE
    }

    /// One of a list that holds at least one.
    pub fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.0.random_range(0..from.len())]
    }

    /// One of a list of words, each with its weight.
    pub fn weighted(&mut self, from: &[(&'static str, f64)]) -> &'static str {
        let mut left = self.between(0.0, from.iter().map(|(_, weight)| weight).sum());
        for (word, weight) in from {
            left -= weight;
            if left <= 0.0 {
                return word;
            }
        }
        from.last().map_or("", |(word, _)| word)
    }

    /// An id whose first 48 bits are the time, as in UUID version 7; the rest is chance from the seed.
    pub fn id(&mut self, at: Instant) -> String {
        let mut bytes = [0; 10];
        self.0.fill_bytes(&mut bytes);
        let millis = u64::try_from(at.0 / 1_000).unwrap_or(0);
        Builder::from_unix_timestamp_millis(millis, &bytes).into_uuid().hyphenated().to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_the_one_the_demo_was_made_with() {
        let mut dice = Dice::seeded(1);
        let thrown: Vec<i64> = (0..6).map(|_| dice.whole(0, 999)).collect();
        assert_eq!(thrown, PINNED);
        assert!(dice.id(Instant(1_772_522_040_000_000)).starts_with("019cb28b-"));
    }

    const PINNED: [i64; 6] = [974, 691, 427, 175, 254, 962];
}
