//! The score of the burst rule, and how likely a healthy device is to reach one: no crate has it.
//!
//! Shiryaev 1963 and Roberts 1966 (from memory): add up, over all days on which a bad spell may have begun, how much
//! better what was seen since then fits the spell than it fits a healthy device. Here a spell multiplies the rate by
//! a ratio and ends by itself after a year on average, so that what lies years back weighs nothing.
use std::{
    collections::HashMap,
    sync::{PoisonError, RwLock},
};

use super::{crossings::Crossings, sane};

/// Service days that a bad spell lasts on average.
const SPELL: f64 = 365.0;
const YEAR: f64 = 365.0;
/// Service days after which hardly anything depends on where the score began.
pub const SETTLED: u32 = 3 * 365;
/// Ratios of which nodes are kept at a time.
const RATIOS: usize = 4;

/// How the score moves, in service days. It begins at 0; without an occurrence it follows `R' = 1 - fall R`, where
/// `fall = (ratio - 1) rate + 1 / 365`; each occurrence multiplies it by the ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// How many times the normal rate it looks for.
    pub ratio: f64,
    /// Share of the score that a service day takes away.
    pub fall: f64,
}

impl Score {
    /// `rate`: occurrences per service day of a healthy device.
    pub fn of(ratio: f64, rate: f64) -> Self {
        Self { ratio, fall: (ratio - 1.0) * rate + 1.0 / SPELL }
    }

    /// What it comes to without any occurrence.
    pub fn level(&self) -> f64 {
        1.0 / self.fall
    }

    /// After so many service days without an occurrence.
    pub fn passed(&self, score: f64, days: f64) -> f64 {
        let left = (-self.fall * days).exp();
        score * left + (1.0 - left) * self.level()
    }

    /// After an occurrence.
    pub fn risen(&self, score: f64) -> f64 {
        score * self.ratio
    }

    /// Whether occurrences are counted afresh after this score: it is not much above what it comes to without any.
    pub fn begins_after(&self, score: f64) -> bool {
        score <= 2.0 * self.level()
    }

    /// The fewest occurrences, counted since [`Score::begins_after`], that can bring the score so high.
    pub fn fewest(&self, to: f64) -> f64 {
        ((to / (2.0 * self.level())).ln() / self.ratio.ln()).ceil().max(1.0)
    }
}

/// Steps of ln rate and of ln score between the nodes of [`chance_in_a_year`].
const NODES: f64 = 0.125;
/// Rates per service day that are told apart, as steps from one a day: one in 60,000 days to ten a day.
const RATES: (f64, f64) = (-88.0, 18.0);
/// From here on the chance is far under one in a million, and falls at least as fast as the score grows.
const FAR: f64 = 4e8;

/// The chance that a healthy device of this rate per service day gets to a score within 365 service days: in the fourth year
/// of the score, not having been there before. In the first year the chance is smaller, for rare devices many times, because
/// the score still comes up from 0; most devices in a book are older, and luck is not to be made smaller than it is.
///
/// Between nodes on a grid of ln rate and ln score, reckoned once each and kept, the logarithm of the chance is drawn straight:
/// at a ratio of 5 within 10 % (mostly 2 %) for rates of one in 5 to 1,500 service days and chances of one in 15 to one in
/// 100,000 (tests below); at other ratios a quarter at the ends of these.
///
/// Never above 730 over the score, which is certain: a healthy device's score is 365 at most on average, and grows by one a
/// day on average at most. What is no sane number gives 1, which accuses nobody.
pub fn chance_in_a_year(ratio: f64, rate: f64, score: f64) -> f64 {
    if !(sane(ratio) && sane(rate) && sane(score) && ratio > 1.0) {
        return 1.0;
    }
    let at_rate = (rate.ln() / NODES).clamp(RATES.0, RATES.1);
    let at_score = score.clamp(1.0, FAR).ln() / NODES;
    let (low_rate, low_score) = (at_rate.floor(), at_score.floor());
    let along = |rate: f64| {
        let part = at_score - low_score;
        (1.0 - part) * node(ratio, rate, low_score) + part * node(ratio, rate, low_score + 1.0)
    };
    let part = at_rate - low_rate;
    let chance = ((1.0 - part) * along(low_rate) + part * along(low_rate + 1.0)).exp();
    (chance * FAR.min(score) / score).min(2.0 * YEAR / score).min(1.0)
}

/// Of one ratio: by steps of ln rate and of ln score.
type Nodes = HashMap<(i32, i32), f64>;

/// ln of the chance at a node.
fn node(ratio: f64, rate: f64, score: f64) -> f64 {
    static KNOWN: RwLock<Vec<(f64, Nodes)>> = RwLock::new(Vec::new());
    #[expect(clippy::cast_possible_truncation, reason = "between -88 and 160")]
    let place = (rate as i32, score as i32);
    let of = |all: &[(f64, Nodes)]| all.iter().position(|(known, _)| known.to_bits() == ratio.to_bits());
    let known = KNOWN.read().unwrap_or_else(PoisonError::into_inner);
    let found = of(&known).and_then(|at| known[at].1.get(&place).copied());
    drop(known);
    found.unwrap_or_else(|| {
        let ln = reckoned(ratio, (rate * NODES).exp(), (score * NODES).exp()).max(1e-300).ln();
        let mut known = KNOWN.write().unwrap_or_else(PoisonError::into_inner);
        // Whoever tries many ratios does not fill the memory with them.
        if of(&known).is_none() && known.len() >= RATIOS {
            known.remove(0);
        }
        let at = of(&known).unwrap_or(known.len());
        if at == known.len() {
            known.push((ratio, Nodes::new()));
        }
        known[at].1.insert(place, ln);
        ln
    })
}

/// The share of the score that a stretch of days walked as one may take away.
const STRETCH: f64 = 0.04;

/// Without nodes. A rare device's score moves so little in a day that several are walked as one.
fn reckoned(ratio: f64, rate: f64, to: f64) -> f64 {
    let score = Score::of(ratio, rate);
    if to <= score.level() {
        return 1.0;
    }
    let in_a_year = (1_u32..=365).find(|n| score.fall * YEAR <= STRETCH * f64::from(*n)).unwrap_or(365);
    let crossings = Crossings::new(score, rate, to, 1, YEAR / f64::from(in_a_year));
    in_the_fourth_year(crossings.lengthen_twice(SETTLED / 365 * in_a_year, in_a_year))
}

fn in_the_fourth_year((before, after): (f64, f64)) -> f64 {
    if before > 0.999_999 { 1.0 } else { ((after - before) / (1.0 - before)).clamp(0.0, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Share of healthy devices thrown by dice whose score gets so high in its fourth year, of those that did not before.
    fn thrown(ratio: f64, rate: f64, to: f64, devices: u32) -> f64 {
        // xorshift64*, so that a failure can be seen again.
        let mut state = 9_u64;
        let mut roll = || {
            state ^= state >> 12;
            state ^= state << 25;
            state ^= state >> 27;
            ((state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        };
        let score = Score::of(ratio, rate);
        let (mut early, mut fourth) = (0, 0);
        for _ in 0..devices {
            let (mut now, mut day, mut at) = (0.0_f64, 0.0, 0.0);
            while at < to && now < 4.0 * YEAR {
                now -= roll().ln() / rate;
                let today = now.floor() + 1.0;
                at = score.risen(score.passed(at, today - day));
                day = today;
            }
            early += u32::from(now < 3.0 * YEAR);
            fourth += u32::from((3.0 * YEAR..4.0 * YEAR).contains(&now));
        }
        f64::from(fourth) / f64::from(devices - early)
    }

    #[test]
    fn the_chance_is_that_of_dice() {
        for (ratio, gap, to, years) in [
            (5.0, 5.0, 6e3, 30_000),
            (5.0, 20.0, 2e4, 60_000),
            (5.0, 90.0, 3e4, 150_000),
            (5.0, 400.0, 1e4, 200_000),
            (5.0, 1_500.0, 3.1e4, 200_000),
            (2.0, 30.0, 6e3, 40_000),
            (3.0, 90.0, 1e4, 100_000),
            (10.0, 90.0, 1e4, 60_000),
        ] {
            let want = thrown(ratio, 1.0 / gap, to, years);
            let sigma = (want / f64::from(years)).sqrt();
            let got = chance_in_a_year(ratio, 1.0 / gap, to);
            println!("{ratio} x one in {gap} to {to}: {got:.3e} for {want:.3e} ± {sigma:.1e}");
            assert!((got - want).abs() < 0.05 * want + 3.0 * sigma, "{ratio} {gap} {to}: {got} for {want}");
        }
    }

    #[test]
    fn between_the_nodes_it_is_what_the_recursion_says() {
        for (ratio, most) in [(2.0, 0.25), (5.0, 0.10)] {
            for n in 0..12 {
                let gap = 5.0 * 300_f64.powf(f64::from(n * 5 % 12) / 11.0);
                let to = 3e3 * 300_f64.powf(f64::from(n) / 11.0);
                let want = reckoned(ratio, 1.0 / gap, to);
                if (1e-5..0.067).contains(&want) {
                    let got = chance_in_a_year(ratio, 1.0 / gap, to);
                    assert!((got / want - 1.0).abs() < most, "{ratio} {gap} {to}: {got} for {want}");
                }
            }
        }
    }

    /// Held against the same recursion with cells an eighth as wide and stretches an eighth as long.
    #[test]
    fn neither_days_that_have_become_alike_nor_each_day_of_a_stretch_need_be_walked() {
        for (ratio, gap, to, want) in [
            (5.0, 5.0, 6e3, 3.533e-2),
            (5.0, 90.0, 3e4, 5.051e-3),
            (5.0, 90.0, 4e8, 2.170e-7),
            (5.0, 1_500.0, 3e4, 3.876e-4),
            (2.0, 30.0, 6e3, 2.487e-2),
        ] {
            let got = reckoned(ratio, 1.0 / gap, to);
            assert!((got / want - 1.0).abs() < 0.02, "{ratio} {gap} {to}: {got:e} for {want:e}");
            let crossings = Crossings::new(Score::of(ratio, 1.0 / gap), 1.0 / gap, to, 1, 1.0);
            let mut walked = crossings.clone();
            let want = in_the_fourth_year((walked.lengthen(SETTLED), walked.lengthen(365)));
            let got = in_the_fourth_year(crossings.lengthen_twice(SETTLED, 365));
            assert!((got / want - 1.0).abs() < 2e-3, "{ratio} {gap} {to}: {got:e} for {want:e}");
        }
    }

    #[test]
    fn what_was_asked_before_leaves_no_trace() {
        let ask = |ratio: f64| chance_in_a_year(ratio, 1.0 / 77.0, 5e4).to_bits();
        let first = ask(4.0);
        // So many other ratios that the nodes of the first are forgotten.
        (0..8).for_each(|n| _ = ask(2.5 + f64::from(n)));
        assert_eq!(first, ask(4.0));
    }

    #[test]
    fn it_falls_as_the_score_grows_and_never_passes_what_is_certain() {
        // Rare devices have plateaus, on which the recursion's parabolas leave a ripple.
        for rate in [1e-7, 0.01, 40.0] {
            let mut last = 1.0;
            for n in 0..9 {
                let to = (f64::from(n) * 3.0).exp();
                let chance = chance_in_a_year(5.0, rate, to);
                assert!(
                    chance <= last * 1.02 && chance <= 730.0 / to && chance >= 0.0,
                    "{rate} {to}: {chance}"
                );
                last = chance;
            }
        }
    }

    #[test]
    fn nonsense_accuses_nobody() {
        for wild in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 0.0] {
            for (ratio, rate, to) in
                [(wild, 0.01, 3e4), (5.0, wild, 3e4), (5.0, 0.01, wild), (1.0, 0.01, 3e4)]
            {
                assert!((chance_in_a_year(ratio, rate, to) - 1.0).abs() < 1e-12, "{ratio} {rate} {to}");
            }
        }
    }

    /// R' = 1 - fall R in steps of a thousandth of a day.
    #[test]
    fn the_score_follows_its_equation() {
        let score = Score::of(5.0, 1.0 / 90.0);
        let mut at = 400.0;
        for _ in 0..30_000 {
            at += 1e-3 * (1.0 - score.fall * at);
        }
        assert!((score.passed(400.0, 30.0) / at - 1.0).abs() < 1e-3, "{at}");
        assert!((score.passed(0.0, 1e6) - score.level()).abs() < 1e-9);
        // 90 / 4 service days and the year's share.
        assert!((score.level() - 1.0 / (4.0 / 90.0 + 1.0 / 365.0)).abs() < 1e-12);
    }
}
