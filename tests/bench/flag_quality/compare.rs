//! Detectors side by side, over all the seeds of one condition.
use breakerbook::cli::simulate::Options;
use rand::{RngExt as _, SeedableRng as _, rngs::StdRng};

use super::{
    common::{median, percentile, table::Table},
    lines::{Chance, Seen, Tally, Trace},
};

const RESAMPLES: usize = 2_000;
/// Chance lines observed, for one forecast.
const CHANCE: (f64, f64) = (0.6, 1.4);

/// A detector: when it opens lines on one pair.
type Detector<'a> = &'a dyn Fn(&Trace) -> Vec<f64>;

/// What one detector did on each fleet, and how long its finds took.
struct Done {
    by_seed: Vec<Tally>,
    took: Vec<f64>,
}

pub fn tell(seen: &[Seen], options: &Options, pass: Option<f64>, table: &mut Table) {
    let shipped = run(seen, &|trace| trace.shipped.clone());
    let threshold = threshold(seen, shipped.sum().false_lines);
    let oracle = run(seen, &|trace| trace.by_oracle(threshold));
    let fixed = run(seen, &Trace::three_in_thirty);
    let findable: usize =
        seen.iter().flat_map(|seen| &seen.traces).filter(|trace| trace.is_findable()).count();
    table.figure("fleet-years; planted pairs that can be found", format!("{}; {findable}", seen.len()));
    for (name, done) in [("burst or often", &shipped), ("3 in 30 days", &fixed), ("the oracle", &oracle)] {
        let sum = done.sum();
        let days = median(&done.took);
        table.figure(
            &format!("{name}: lines, false, found, median days"),
            format!(
                "{}, {}, {} ({:.1} %), {days:.0}",
                sum.lines,
                sum.false_lines,
                sum.found,
                100.0 * sum.found as f64 / findable as f64
            ),
        );
    }
    let (ours, its) = (shipped.sum().found, oracle.sum().found);
    let ratio = ours as f64 / its as f64;
    let what = format!("found / oracle at jumps of {}: {ours} / {its}", options.jump);
    match pass {
        Some(least) => table.at_least(&what, ratio, least, ""),
        None => table.figure(&what, format!("{ratio:.3}")),
    }
    let (low, high) = interval(&shipped, &oracle);
    table.figure("  95 % of 2,000 resamplings of the seeds", format!("{low:.3} to {high:.3}"));
    chance(seen, pass.is_some(), table);
}

fn chance(seen: &[Seen], judged: bool, table: &mut Table) {
    let years: f64 = seen.iter().map(|seen| seen.healthy_years).sum();
    table.figure("healthy years of pairs with a class rate", format!("{years:.0}"));
    let sum = |of: fn(&Seen) -> Chance| {
        seen.iter().map(of).fold(Chance::default(), |sum, one| Chance {
            observed: sum.observed + one.observed,
            forecast: sum.forecast + one.forecast,
        })
    };
    let (burst, often) = (sum(|seen| seen.burst), sum(|seen| seen.often));
    for (name, chance) in [("burst", burst), ("often", often)] {
        table.figure(
            &format!("{name} lines by chance: observed; forecast"),
            format!("{}; {:.1}", chance.observed, chance.forecast),
        );
    }
    let ratio = (burst.observed + often.observed) as f64 / (burst.forecast + often.forecast);
    let what = "lines by chance, observed / forecast";
    if judged {
        table.at_least(what, ratio, CHANCE.0, "");
        table.at_most(what, ratio, CHANCE.1, "");
    } else {
        table.figure(what, format!("{ratio:.2}"));
    }
}

fn run(seen: &[Seen], detector: Detector<'_>) -> Done {
    let mut done = Done { by_seed: Vec::new(), took: Vec::new() };
    for fleet in seen {
        let mut tally = Tally::default();
        for trace in &fleet.traces {
            let opened = detector(trace);
            tally.lines += opened.len();
            tally.false_lines += trace.false_among(&opened);
            if let Some(days) = trace.found_after(&opened) {
                tally.found += 1;
                done.took.push(days);
            }
        }
        done.by_seed.push(tally);
    }
    done
}

impl Done {
    fn sum(&self) -> Tally {
        self.by_seed.iter().fold(Tally::default(), |sum, one| Tally {
            lines: sum.lines + one.lines,
            false_lines: sum.false_lines + one.false_lines,
            found: sum.found + one.found,
        })
    }
}

/// The least threshold with which the oracle has no more false lines than that.
fn threshold(seen: &[Seen], allowed: usize) -> f64 {
    let false_lines = |threshold: f64| -> usize {
        let traces = seen.iter().flat_map(|seen| &seen.traces);
        traces.map(|trace| trace.false_among(&trace.by_oracle(threshold))).sum()
    };
    let (mut low, mut high) = (0.0_f64, 60.0_f64);
    for _ in 0..40 {
        let middle = low.midpoint(high);
        if false_lines(middle.exp()) <= allowed { high = middle } else { low = middle }
    }
    high.exp()
}

/// Both detectors saw the same fleets: seeds are drawn in pairs.
fn interval(one: &Done, other: &Done) -> (f64, f64) {
    let mut dice = StdRng::seed_from_u64(2_000);
    let seeds = one.by_seed.len();
    let ratios: Vec<f64> = (0..RESAMPLES)
        .map(|_| {
            let (mut a, mut b) = (0, 0);
            for _ in 0..seeds {
                let seed = dice.random_range(0..seeds);
                a += one.by_seed[seed].found;
                b += other.by_seed[seed].found;
            }
            a as f64 / b as f64
        })
        .collect();
    (percentile(&ratios, 0.025), percentile(&ratios, 0.975))
}
