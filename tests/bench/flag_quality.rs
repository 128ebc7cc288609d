//! How good the lines on the board are, by the protocol of rules.md ('How good must it be'): simulated fleets of which
//! the truth is known, the rules as shipped, a fixed '3 in 30' and an oracle, all under the same one-line-until-quiet
//! rule. A run takes some minutes; `FLAG_SEEDS=1-6` takes those seeds instead (1 to 6 are for building, a rule is
//! never tuned on 101 to 124), `FLAG_FILE_ALL=1` files every fleet through a book instead of one of each condition.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot go on has nothing to say")]
#[path = "flag_quality/book.rs"]
mod book;
mod common;
#[path = "flag_quality/compare.rs"]
mod compare;
#[path = "flag_quality/lines.rs"]
mod lines;
#[path = "flag_quality/oracle.rs"]
mod oracle;
#[path = "flag_quality/railway.rs"]
mod railway;

use std::sync::atomic::{AtomicUsize, Ordering};

use breakerbook::{
    cli::simulate::{Options, USUAL},
    rules::Finding,
};
use common::{
    only_looking,
    table::{Table, note},
    wanted,
};
use lines::Seen;

/// One kind of fleet. `pass`: the least found / oracle; `None` has no pass mark.
struct Condition {
    name: &'static str,
    options: Options,
    pass: Option<f64>,
}

const BARE: Options = USUAL.bare();
const ALIKE: Options = Options { units: 500, devices: 40, years: 1, bad_share: 0.01, ..BARE };
const SPREAD: Options = Options { spread: Some(4.0), ..ALIKE };
const EVERYTHING: Options = Options { season: 0.4, gaps: 0.5, jump: 5.0, ..SPREAD };

const CONDITIONS: [Condition; 7] = [
    Condition { name: "alike-3", options: Options { jump: 3.0, ..ALIKE }, pass: Some(0.85) },
    Condition { name: "alike-5", options: Options { jump: 5.0, ..ALIKE }, pass: Some(0.93) },
    Condition { name: "alike-10", options: Options { jump: 10.0, ..ALIKE }, pass: Some(0.93) },
    Condition { name: "spread-3", options: Options { jump: 3.0, ..SPREAD }, pass: None },
    Condition { name: "spread-5", options: Options { jump: 5.0, ..SPREAD }, pass: None },
    Condition { name: "spread-10", options: Options { jump: 10.0, ..SPREAD }, pass: None },
    Condition { name: "everything-5", options: EVERYTHING, pass: None },
];

fn main() {
    if only_looking() {
        return;
    }
    let seeds = seeds();
    let file_all = std::env::var_os("FLAG_FILE_ALL").is_some();
    note(&format!("seeds {} to {}", seeds[0], seeds[seeds.len() - 1]));
    for condition in CONDITIONS.iter().filter(|condition| wanted(condition.name)) {
        let began = std::time::Instant::now();
        let seen = see_all(condition, &seeds, file_all);
        let mut table = Table::new(condition.name);
        compare::tell(&seen, &condition.options, condition.pass, &mut table);
        table.print();
        note(&format!("{:.0} s", began.elapsed().as_secs_f64()));
    }
}

fn seeds() -> Vec<u64> {
    let wanted = std::env::var("FLAG_SEEDS").unwrap_or_else(|_| "101-124".to_owned());
    let (first, last) = wanted.split_once('-').unwrap_or((&wanted, &wanted));
    (first.parse().unwrap()..=last.parse().unwrap()).collect()
}

/// Every seed's fleet, on both cores.
fn see_all(condition: &Condition, seeds: &[u64], file_all: bool) -> Vec<Seen> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(seed) = seeds.get(at) else { return done };
            let options = Options { seed: *seed, ..condition.options };
            done.push((*seed, see(&options, at == 0 || file_all)));
        }
    };
    let mut all: Vec<(u64, Seen)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..2).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|worker| worker.join().unwrap()).collect()
    });
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, seen)| seen).collect()
}

/// One fleet: judged by the rules over dossiers made as the desk makes them; and, if it is to be filed, by the book
/// itself, which must say the same.
fn see(options: &Options, file: bool) -> Seen {
    let railway = railway::Railway::of(options);
    let mut findings = railway.judged();
    // A book is judged by the settings shipped.
    if file && railway::settings() == breakerbook::rules::Thresholds::default() {
        let filed = book::findings(options, &railway);
        let stored: Vec<Finding> = findings.iter().map(as_stored).collect();
        assert_eq!(filed.len(), stored.len(), "seed {}: the book says otherwise", options.seed);
        for (filed, judged) in filed.iter().zip(&stored) {
            assert_eq!(filed, judged, "seed {}: the book says otherwise", options.seed);
        }
        findings = filed;
    }
    lines::see(&railway, &findings, options.jump)
}

/// The file keeps findings as JSON, and reading a figure back may lose its last bit.
fn as_stored(finding: &Finding) -> Finding {
    serde_json::from_str(&serde_json::to_string(finding).unwrap()).unwrap()
}
