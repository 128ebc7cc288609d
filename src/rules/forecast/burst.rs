//! How often the burst rule speaks of a healthy device. The closed form tells only when the score first gets so high; the
//! rule also asks for a number of occurrences, does not start its score afresh at a line, and writes one line until the
//! device falls quiet. All of that is a Markov chain from one occurrence to the next, reckoned here on a fine grid of scores.
use super::Kind;
use crate::rules::{Thresholds, pair::YEAR, statistics::Cusum};

/// The grid's step, in units of the score; finer changes the third figure of what comes out.
const STEP: f64 = 0.08;
/// Heights above the line that are told apart, in rises.
const ABOVE: usize = 3;
const MOST_TURNS: usize = 600;
const ENOUGH: f64 = 1e-6;

/// Lines a service year on one healthy device of this true rate. The score's clock is continuous here: whole days make a
/// difference only to devices that operate more than once in ten days.
pub fn lines_a_year(kind: &Kind, rate: f64, set: &Thresholds, cusum: &Cusum) -> f64 {
    let judged = kind.normal.upper();
    let quiet_days = (set.quiet_gaps * kind.normal.gap()).min(set.quiet_days).ceil().max(1.0);
    let height = cusum.threshold(YEAR * judged / set.burst_chance);
    let per_rise = (cusum.rise() / STEP).ceil().max(8.0);
    let step = cusum.rise() / per_rise;
    let rule = Rule {
        rise: whole(per_rise),
        height: height / step,
        at_least: whole(set.burst_at_least).max(1),
        fall: Fall::of(step * rate / (cusum.fall() * judged)),
        quiet: quiet_days * rate,
        fallen_when_quiet: cusum.fall() * judged * quiet_days / step,
    };
    YEAR * rate * Chain::start(&rule).settle(&rule)
}

/// A number of cells or occurrences, all of them far below a million.
fn whole(x: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped; not a number counts as none"
    )]
    let whole = x.clamp(0.0, 1e6) as usize;
    whole
}

/// The rule, in cells of the grid and true mean gaps.
struct Rule {
    rise: usize,
    height: f64,
    at_least: usize,
    fall: Fall,
    quiet: f64,
    fallen_when_quiet: f64,
}

/// What an exponential gap does to the score: how a cell's share spreads over itself and the cells below, each share
/// parted between two neighbours so that the mean stays where it was.
struct Fall {
    stays: f64,
    next: f64,
    ratio: f64,
}

impl Fall {
    fn of(cells: f64) -> Self {
        let ratio = (-cells).exp();
        let up = (1.0 - ratio * (1.0 + cells)) / cells;
        let stays = 1.0 - ratio - up;
        Self { stays, next: up + ratio * stays, ratio }
    }

    /// Cell 0 is left out: what is missing has come down to zero.
    fn apply(&self, from: &[f64]) -> Vec<f64> {
        let mut to = vec![0.0; from.len()];
        let mut above = 0.0;
        for i in (1..from.len()).rev() {
            to[i] = self.stays * from[i] + self.next * above;
            above = from[i] + self.ratio * above;
        }
        to
    }
}

/// The shares of scores just after an occurrence, by how many occurrences there were since zero, without and with a line.
struct Chain {
    closed: Vec<Vec<f64>>,
    open: Vec<Vec<f64>>,
}

impl Chain {
    fn blank(rule: &Rule) -> Self {
        let cells = whole(rule.height) + ABOVE * rule.rise + 2;
        let states = vec![vec![0.0; cells]; rule.at_least];
        Self { closed: states.clone(), open: states }
    }

    /// One occurrence after a long silence.
    fn start(rule: &Rule) -> Self {
        let mut chain = Self::blank(rule);
        chain.closed[0][rule.rise] = 1.0;
        chain
    }

    /// Lines opened at an average occurrence, once the beginning is forgotten.
    fn settle(mut self, rule: &Rule) -> f64 {
        let (mut last, mut same) = (0.0, 0);
        for _ in 0..MOST_TURNS {
            let (next, opened) = self.turn(rule);
            self = next;
            same = if (opened - last).abs() <= ENOUGH * opened { same + 1 } else { 0 };
            last = opened;
            if same >= rule.at_least + 2 {
                break;
            }
        }
        last
    }

    /// From one occurrence to the next, and the share that opens a line at it.
    fn turn(&self, rule: &Rule) -> (Self, f64) {
        let mut next = Self::blank(rule);
        let (mut opened, mut zero, mut zero_open) = (0.0, 0.0, 0.0);
        let late = (-rule.quiet).exp();
        for n in 0..rule.at_least {
            let fallen = rule.fall.apply(&self.closed[n]);
            zero += total(&self.closed[n]) - total(&fallen);
            opened += next.rise(rule, n, &fallen, false);

            let all = rule.fall.apply(&self.open[n]);
            let mut quiet = rule.fall.apply(&moved_down(&self.open[n], rule.fallen_when_quiet));
            quiet.iter_mut().zip(&all).for_each(|(quiet, all)| *quiet = (*quiet * late).min(*all));
            let soon: Vec<f64> = all.iter().zip(&quiet).map(|(all, quiet)| all - quiet).collect();
            let whole = total(&self.open[n]);
            zero += (late * whole - total(&quiet)).max(0.0);
            zero_open += ((1.0 - late) * whole - total(&soon)).max(0.0);
            opened += next.rise(rule, n, &quiet, false);
            next.rise(rule, n, &soon, true);
        }
        next.closed[0][rule.rise] += zero;
        next.open[0][rule.rise] += zero_open;
        (next, opened)
    }

    /// An occurrence at these scores, after n + 1 since zero; returns the share at which a line opens.
    fn rise(&mut self, rule: &Rule, n: usize, scores: &[f64], line: bool) -> f64 {
        let to = (n + 1).min(rule.at_least - 1);
        let enough = n + 2 >= rule.at_least;
        let top = scores.len() - 1;
        let mut opened = 0.0;
        for (i, share) in scores.iter().enumerate().skip(1) {
            let cell = (i + rule.rise).min(top);
            let over = (cell as f64 - rule.height + 0.5).clamp(0.0, 1.0);
            let opens = if enough && !line { share * over } else { 0.0 };
            opened += opens;
            let stays_open = if line { *share } else { opens };
            self.open[to][cell] += stays_open;
            self.closed[to][cell] += share - stays_open;
        }
        opened
    }
}

fn total(shares: &[f64]) -> f64 {
    shares.iter().sum()
}

/// The same shares so many cells lower; what comes to zero or below is gone.
fn moved_down(shares: &[f64], cells: f64) -> Vec<f64> {
    let (by, part) = (whole(cells), cells.fract());
    let at = |i: usize| shares.get(i).copied().unwrap_or(0.0);
    let cell = |i: usize| (1.0 - part) * at(i + by) + part * at(i + by + 1);
    std::iter::once(0.0).chain((1..shares.len()).map(cell)).collect()
}
