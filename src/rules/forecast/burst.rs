//! How often the burst rule speaks of a healthy device, by the recursion that the luck in its sentence comes from: one line
//! until quiet ends it, and the score that is left then may bring the next one sooner.
use super::{Kind, Year, whole};
use crate::rules::{
    Thresholds,
    statistics::{
        bad_spell::{SETTLED, Score},
        crossings::Crossings,
    },
};

const DAYS: u32 = 365;

/// Lines in a service year on one healthy device of this true rate. How long a line stands is put in as its average; what a
/// healthy device's operations while it stands add to the score is left out: a tenth too few lines for devices that operate
/// once in 1,500 days, a fifth where settings end a line after half a gap.
pub fn lines_a_year(kind: &Kind, rate: f64, set: &Thresholds, year: Year) -> f64 {
    let score = Score::of(set.burst_ratio, kind.normal.cautious());
    let at_least = usize::try_from(whole(set.burst_at_least)).unwrap_or(usize::MAX);
    let quiet = (set.quiet_gaps * kind.normal.gap()).min(set.quiet_days).ceil().max(1.0);
    // Until so many days in a row are quiet.
    let stands = ((rate * quiet).min(50.0).exp_m1() / rate).min(1e4);
    let stands = usize::try_from(whole(stands)).unwrap_or(usize::MAX);
    let mut lines =
        Crossings::new(score, rate, set.burst_score(), at_least, 1.0).with_more(score, stands, quiet);
    match year {
        Year::First => lines.lengthen(DAYS),
        Year::Settled => {
            let before = lines.lengthen(SETTLED);
            (lines.lengthen(DAYS) - before).max(0.0)
        }
    }
}
