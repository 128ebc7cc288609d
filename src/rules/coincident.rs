//! Which operations fall together: groups within so many minutes, by times that a clock gave.
use std::collections::{BTreeMap, BTreeSet};

use super::fact::{Fact, On, Told};
use crate::base::{EntryId, Instant, ReportId, Tag, UnitName, instant::MINUTE};

/// One operation that is told with a clock time.
#[derive(Clone, Copy, Debug)]
pub struct Operation<'a> {
    pub at: Instant,
    pub entry: EntryId,
    pub report: ReportId,
    pub unit: &'a UnitName,
    pub device: &'a Tag,
    /// The units coupled to it, as its report says; told of the dossier's own unit only.
    pub with: &'a [UnitName],
}

/// The operations in a dossier of what operated together, oldest first.
pub fn operations<'a>(own: &'a UnitName, facts: &'a [Fact]) -> Vec<Operation<'a>> {
    let told = facts.iter().filter(|f| f.withdrawn.is_none());
    let operation = |f: &'a Fact| {
        let Told::Operated { device, on } = &f.told else { return None };
        let (unit, with) = match on {
            On::Itself { with } => (own, with.as_slice()),
            On::Other(other) => (other, &[][..]),
        };
        Some(Operation { at: f.at, entry: f.entry, report: f.report, unit, device, with })
    };
    told.filter_map(operation).collect()
}

/// Stretches in which no two operations in a row are further apart than `minutes`: no group reaches over their ends.
pub fn stretches<'o, 'a>(
    all: &'o [Operation<'a>],
    minutes: f64,
) -> impl Iterator<Item = &'o [Operation<'a>]> {
    let apart = span(minutes);
    all.chunk_by(move |one, next| next.at.since(one.at) <= apart)
}

/// Where the stretch begins that reaches into the facts from place `new` on; `None`: with the first of these facts, or
/// before it.
pub fn stretch_begins(facts: &[Fact], new: usize, minutes: f64) -> Option<usize> {
    let operated = |fact: &Fact| fact.withdrawn.is_none() && matches!(fact.told, Told::Operated { .. });
    let mut begins = new;
    for place in (0..new).rev().filter(|place| operated(&facts[*place])) {
        if facts[begins].at.since(facts[place].at) > span(minutes) {
            return Some(begins);
        }
        begins = place;
    }
    None
}

/// From the earliest on, each window of so many minutes that `find` makes something of; what is in one is in no other.
pub fn windows<'a, G>(
    all: &[Operation<'a>],
    minutes: f64,
    find: impl Fn(&[Operation<'a>]) -> Option<G>,
) -> Vec<G> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(first) = all.get(from) {
        let rest = all[from..].partition_point(|o| o.at.since(first.at) <= span(minutes));
        let group = find(&all[from..from + rest]);
        from += if group.is_some() { rest } else { 1 };
        found.extend(group);
    }
    found
}

#[expect(clippy::cast_possible_truncation, reason = "settings are at most some hours of minutes")]
fn span(minutes: f64) -> i64 {
    (minutes * MINUTE as f64) as i64
}

/// Without memories rounded to the quarter of an hour: where several reports tell of the very same such minute, only
/// one report's operations count, that which tells of most. Every time zone is whole quarters from UTC.
pub fn without_rounded<'a, K: Ord>(
    all: &[Operation<'a>],
    told_apart: impl Fn(&Operation<'a>) -> K,
) -> Vec<Operation<'a>> {
    let rounded = |o: &Operation<'_>| {
        let minute = o.at.0.div_euclid(MINUTE);
        (minute.rem_euclid(15) == 0).then_some(minute)
    };
    let mut reports: BTreeMap<i64, BTreeMap<ReportId, BTreeSet<K>>> = BTreeMap::new();
    for o in all {
        if let Some(minute) = rounded(o) {
            reports.entry(minute).or_default().entry(o.report).or_default().insert(told_apart(o));
        }
    }
    let fullest = |of: &BTreeMap<ReportId, BTreeSet<K>>| {
        let most = of.iter().max_by_key(|(report, kinds)| (kinds.len(), std::cmp::Reverse(**report)));
        most.map(|(report, _)| *report)
    };
    let counts: BTreeMap<i64, Option<ReportId>> = reports.iter().map(|(m, of)| (*m, fullest(of))).collect();
    let kept =
        |o: &&Operation<'a>| rounded(o).is_none_or(|minute| counts.get(&minute) == Some(&Some(o.report)));
    all.iter().filter(kept).copied().collect()
}

/// The moments at which the first, second, third … different one came in.
pub fn arrivals<'a, K: Ord>(
    group: &[Operation<'a>],
    told_apart: impl Fn(&Operation<'a>) -> K,
) -> Vec<Instant> {
    let mut seen = BTreeSet::new();
    group.iter().filter(|o| seen.insert(told_apart(o))).map(|o| o.at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        base::instant::DAY,
        rules::sample::{entry, report_id},
    };

    /// Minutes past noon, which report tells it, and the device.
    fn told<'a>(all: &'a [(i64, u64, Tag)], unit: &'a UnitName) -> Vec<Operation<'a>> {
        let operation = |(n, (minute, report, device)): (usize, &'a (i64, u64, Tag))| Operation {
            at: Instant(20_000 * DAY + (12 * 60 + minute) * MINUTE),
            entry: entry(n as u64),
            report: report_id(*report),
            unit,
            device,
            with: &[],
        };
        all.iter().enumerate().map(operation).collect()
    }

    #[test]
    fn a_rounded_minute_counts_for_one_report_only() {
        let unit = UnitName::from("QHB 412");
        for (what, all, want) in [
            ("three memories", vec![(15, 1, "A"), (15, 2, "B"), (15, 3, "C")], "A"),
            ("one report may look at the clock", vec![(15, 1, "A"), (15, 1, "B"), (15, 1, "C")], "ABC"),
            ("the report that tells of most", vec![(30, 1, "A"), (30, 2, "B"), (30, 2, "C")], "BC"),
            ("other minutes are nobody's memory", vec![(14, 1, "A"), (14, 2, "B"), (14, 3, "C")], "ABC"),
            ("each minute for itself", vec![(0, 1, "A"), (15, 2, "B"), (30, 3, "C")], "ABC"),
        ] {
            let all: Vec<(i64, u64, Tag)> = all.into_iter().map(|(m, r, d)| (m, r, d.into())).collect();
            let kept = without_rounded(&told(&all, &unit), |o| o.device);
            assert_eq!(kept.iter().map(|o| o.device.as_str()).collect::<String>(), want, "{what}");
        }
    }

    #[test]
    fn windows_do_not_share_operations() {
        let unit = UnitName::from("QHB 412");
        let all: Vec<(i64, u64, Tag)> =
            [0, 6, 10, 11, 21, 40].map(|m| (m, 1, Tag::from(format!("D{m}")))).into();
        let all = told(&all, &unit);
        let two =
            |w: &[Operation<'_>]| (w.len() > 1).then(|| w.iter().map(|o| o.device.to_string()).collect());
        let found: Vec<Vec<String>> = windows(&all, 10.0, two);
        assert_eq!(found, [vec!["D0", "D6", "D10"], vec!["D11", "D21"]]);
        let lengths: Vec<usize> = stretches(&all, 10.0).map(<[_]>::len).collect();
        assert_eq!(lengths, [5, 1]);
    }
}
