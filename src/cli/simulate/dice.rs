//! Chance that is the same on every machine and with every later version: ChaCha with eight rounds, whose stream is
//! documented, and our own few lines from its bits to numbers. Each matter throws a stream of its own, so that one
//! more option does not change what the others give.
use chacha20::ChaCha8Rng;
use rand::{Rng as _, SeedableRng as _};
use uuid::Builder;

use crate::base::Instant;

/// What is thrown for. The number is part of the stream: append only.
#[derive(Clone, Copy, Debug)]
pub enum Matter {
    Class = 1,
    Pair = 2,
    Unit = 3,
    Weather = 4,
    Runs = 5,
    Shared = 6,
    Battery = 7,
    Routine = 8,
}

pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream of one matter of one class, pair or unit.
    pub fn of(seed: u64, matter: Matter, number: usize) -> Self {
        let mut stream = ChaCha8Rng::seed_from_u64(seed);
        stream.set_stream((matter as u64) << 48 | number as u64);
        Self(stream)
    }

    /// From 0 up to but not 1, in steps of 2^-53.
    pub fn part(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.part() < p
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    /// The time to the next of what happens at random so often per unit of time; without end at a rate of 0.
    pub fn wait(&mut self, rate: f64) -> f64 {
        -(1.0 - self.part()).ln() / rate
    }

    /// A whole number under `below`, which is at least 1.
    pub fn under(&mut self, below: usize) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "0 up to but not `below`"
        )]
        let number = (self.part() * below as f64) as usize;
        number
    }

    /// An id whose first 48 bits are the time, as in UUID version 7.
    pub fn id(&mut self, at: Instant) -> uuid::Uuid {
        let mut bytes = [0; 10];
        self.0.fill_bytes(&mut bytes);
        Builder::from_unix_timestamp_millis(u64::try_from(at.0 / 1_000).unwrap_or(0), &bytes).into_uuid()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_pinned_and_each_matter_has_its_own() {
        let thrown = |matter, number| {
            let mut dice = Dice::of(1, matter, number);
            [dice.under(1_000), dice.under(1_000), dice.under(1_000)]
        };
        assert_eq!(thrown(Matter::Pair, 0), PINNED);
        assert_ne!(thrown(Matter::Pair, 1), PINNED);
        assert_ne!(thrown(Matter::Unit, 0), PINNED);
    }

    const PINNED: [usize; 3] = [812, 392, 665];

    #[test]
    fn waits_average_one_over_the_rate() {
        let mut dice = Dice::of(7, Matter::Pair, 0);
        let mean = (0..40_000).map(|_| dice.wait(0.2)).sum::<f64>() / 40_000.0;
        // Standard error 5 / sqrt(40,000) = 0.025.
        assert!((mean - 5.0).abs() < 0.1, "{mean}");
        assert!(dice.wait(0.0).is_infinite());
    }
}
