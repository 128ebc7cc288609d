//! Single lines that a shared cause explains: whoever reads findings folds them under it.
use std::collections::{BTreeMap, BTreeSet};

use super::finding::{Finding, Rule};

/// By the keys of single lines, the key of the line about a shared cause that explains each: it is about the same unit
/// and device, and at least half the entries that the single line rests on are among its own. Of several, the one with
/// most of them. Hand in only findings that are open at the same moment.
pub fn explained_by(findings: &[Finding]) -> BTreeMap<String, String> {
    let shared: Vec<(&Finding, BTreeSet<_>)> = findings
        .iter()
        .filter(|f| f.rule == Rule::SharedCause)
        .map(|f| (f, f.entries.iter().collect()))
        .collect();
    let single = findings.iter().filter(|_| !shared.is_empty()).filter(|f| is_single(f.rule));
    let why = |f: &Finding| {
        let (unit, device) = (f.unit.as_ref()?, f.device.as_ref()?);
        let about = shared.iter().filter(|(s, _)| s.units.contains(unit) && s.devices.contains(device));
        let common = about.map(|(s, entries)| (f.entries.iter().filter(|e| entries.contains(e)).count(), s));
        let half = common.filter(|(n, _)| *n > 0 && 2 * n >= f.entries.len());
        let (_, most) = half.max_by(|(n, a), (m, b)| n.cmp(m).then_with(|| b.key.cmp(&a.key)))?;
        Some((f.key.clone(), most.key.clone()))
    };
    single.filter_map(why).collect()
}

/// The statistical lines about one device of one unit.
fn is_single(rule: Rule) -> bool {
    matches!(rule, Rule::Burst | Rule::Often | Rule::Worsening | Rule::DidNotHold)
}

/// Of several statistical lines about one device of one unit, by the keys of the others, the key of the one that stands for
/// all: the first in the order handed in.
pub fn of_one_pair(findings: &[Finding]) -> BTreeMap<String, String> {
    let mut first: BTreeMap<_, &str> = BTreeMap::new();
    let mut under = BTreeMap::new();
    for finding in findings.iter().filter(|f| is_single(f.rule) || f.rule == Rule::Wet) {
        let stands = *first.entry((&finding.unit, &finding.device)).or_insert(&finding.key);
        if stands != finding.key {
            under.insert(finding.key.clone(), stands.to_owned());
        }
    }
    under
}

/// Adds to the rank of each line about a shared cause the ranks of those that it explains. Several lines about one device
/// of one unit expect the same occurrences: the heaviest counts.
pub fn take_over_ranks(findings: &mut [Finding], explained: &BTreeMap<String, String>) {
    let mut of_pairs: BTreeMap<(&str, _), f64> = BTreeMap::new();
    for finding in findings.iter() {
        if let (Some(by), Some(rank)) = (explained.get(&finding.key), finding.rank) {
            let pair = (finding.unit.clone(), finding.device.clone());
            let heaviest = of_pairs.entry((by.as_str(), pair)).or_default();
            *heaviest = heaviest.max(rank);
        }
    }
    let mut more: BTreeMap<&str, f64> = BTreeMap::new();
    for ((by, _), rank) in of_pairs {
        *more.entry(by).or_default() += rank;
    }
    for finding in findings.iter_mut() {
        if let Some(more) = more.get(finding.key.as_str()) {
            finding.rank = Some(finding.rank.unwrap_or(0.0) + more);
        }
    }
}

/// Lines as a board has them.
#[derive(Clone, Debug, Default)]
pub struct Folded {
    /// The certain first, as they were; the others by what they weigh now.
    pub top: Vec<Finding>,
    /// What stands under a line, by its key.
    pub under: BTreeMap<String, Vec<Finding>>,
}

impl Folded {
    /// Single lines go under the shared cause that explains them, which takes over their rank; lines that say more about
    /// one device of one unit go under the first of them, which keeps its own.
    pub fn of(mut found: Vec<Finding>) -> Self {
        let explained = explained_by(&found);
        take_over_ranks(&mut found, &explained);
        let mut under = of_one_pair(&found);
        under.extend(explained);
        let mut folded = Self::default();
        for finding in found {
            match under.get(&finding.key) {
                Some(by) => folded.under.entry(by.clone()).or_default().push(finding),
                None => folded.top.push(finding),
            }
        }
        let weight = |f: &Finding| f.rank.unwrap_or(f64::INFINITY);
        folded.top.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
        folded
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{at, entry};

    fn finding(rule: Rule, key: &str, unit: &str, devices: &[&str], entries: &[u64], rank: f64) -> Finding {
        Finding {
            rule,
            key: key.to_owned(),
            unit: Some(unit.into()),
            device: (rule != Rule::SharedCause).then(|| devices[0].into()),
            units: vec![unit.into()],
            devices: devices.iter().map(|tag| (*tag).into()).collect(),
            class: None,
            since: at("2026-03-03T10:00:00Z"),
            until: None,
            severity: 1.0,
            rank: Some(rank),
            sentence: String::new(),
            entries: entries.iter().map(|n| entry(*n)).collect(),
            figures: serde_json::Map::new(),
        }
    }

    #[test]
    fn half_the_entries_of_the_same_unit_and_device_are_explained() {
        let shared = finding(Rule::SharedCause, "s", "QHB 1", &["A", "B", "C"], &[1, 2, 3], 2.0);
        for (what, rule, unit, device, entries, want) in [
            ("all of it", Rule::Burst, "QHB 1", "A", vec![1, 2], true),
            ("half of it", Rule::Often, "QHB 1", "A", vec![1, 7], true),
            ("less than half", Rule::Worsening, "QHB 1", "A", vec![1, 7, 8], false),
            ("another device", Rule::Burst, "QHB 1", "D", vec![1, 2], false),
            ("another unit", Rule::Burst, "QHB 2", "A", vec![1, 2], false),
            ("a certain line stays", Rule::Reported, "QHB 1", "A", vec![1], false),
            ("resting on nothing", Rule::DidNotHold, "QHB 1", "A", vec![], false),
        ] {
            let mut all = vec![finding(rule, "x", unit, &[device], &entries, 0.5), shared.clone()];
            let explained = explained_by(&all);
            assert_eq!(explained.get("x").map(String::as_str), want.then_some("s"), "{what}");
            take_over_ranks(&mut all, &explained);
            let ranks: Vec<_> = all.iter().map(|f| f.rank.unwrap()).collect();
            assert_eq!(ranks, [0.5, if want { 2.5 } else { 2.0 }], "{what}");
        }
    }

    #[test]
    fn of_two_shared_causes_the_one_with_more_of_the_entries_explains() {
        let all = [
            finding(Rule::SharedCause, "s1", "QHB 1", &["A"], &[1], 2.0),
            finding(Rule::SharedCause, "s2", "QHB 1", &["A"], &[2, 3], 2.0),
            finding(Rule::Burst, "x", "QHB 1", &["A"], &[1, 2, 3], 0.5),
        ];
        assert_eq!(explained_by(&all)["x"], "s2");
        assert!(explained_by(&all[2..]).is_empty());
    }

    #[test]
    fn of_several_lines_about_one_pair_the_first_stands_for_all() {
        let all = [
            finding(Rule::Burst, "b", "QHB 1", &["A"], &[1], 2.0),
            finding(Rule::Often, "o", "QHB 1", &["A"], &[2], 2.0),
            finding(Rule::Often, "p", "QHB 2", &["A"], &[3], 1.0),
            finding(Rule::Reported, "r", "QHB 1", &["A"], &[1], 0.0),
        ];
        assert_eq!(of_one_pair(&all), [("o".to_owned(), "b".to_owned())].into());
    }
}
