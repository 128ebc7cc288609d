//! How often a device operated, by its entries alone.
use std::collections::BTreeSet;

use breakerbook::base::{Instant, Zone, instant::MINUTE};
use serde_json::Value;

use super::ledger::{RELAY, START, Written, moment};

/// Operations within an hour of the first.
#[derive(Clone, Debug)]
pub struct Occurrence {
    pub at: Instant,
    pub day: i32,
    pub entries: BTreeSet<String>,
}

/// How often the device operated by this entry, and the later moments that it tells for some of them.
pub fn told_operations(entry: &Written) -> (usize, Vec<Instant>) {
    let detail = &entry.detail;
    match detail["kind"].as_str().unwrap() {
        "breaker_trip" => {
            let none = Vec::new();
            let again = detail["resets"]
                .as_array()
                .unwrap_or(&none)
                .iter()
                .filter(|r| r["result"] == "tripped_again");
            let times = again
                .clone()
                .filter(|r| r["at"].is_string())
                .map(|r| moment(&r["at"]))
                .filter(|at| *at > entry.at);
            (1 + again.count(), times.collect())
        }
        RELAY => {
            let n = detail["operations"].as_u64().unwrap_or(1).max(1) as usize;
            let last = Some(&detail["last_at"]).filter(|at| at.is_string() && n > 1).map(moment);
            (n, last.into_iter().filter(|at| *at > entry.at).collect())
        }
        "fuse_check" => (usize::from(detail["result"] == "blown"), vec![]),
        START => (usize::from(!matches!(detail["outcome"].as_str(), Some("running" | "not_known"))), vec![]),
        _ => (0, vec![]),
    }
}

/// Whether an entry leaves its device closed; `None`: it does not say.
fn leaves_closed(entry: &Written) -> Option<bool> {
    let detail = &entry.detail;
    let seen = |word: &Value| match word.as_str() {
        Some("on" | "closed") => Some(true),
        Some("off" | "open" | "tripped") => Some(false),
        _ => None,
    };
    match detail["kind"].as_str().unwrap() {
        "breaker_trip" => match detail["left"].as_str() {
            Some("on") => Some(true),
            Some("off" | "tripped" | "cut_out") => Some(false),
            _ => None,
        },
        "position" => seen(&detail["moved_to"]).or_else(|| seen(&detail["seen"])),
        "fuse_check" => match detail["result"].as_str() {
            Some("good" | "wrong_one" | "bridged") => Some(true),
            Some("blown" | "missing") => Some(detail["replaced_by"].is_object()),
            _ => None,
        },
        RELAY => match detail["reset"].as_str() {
            Some("itself" | "by_hand") => Some(true),
            Some("not_reset" | "locked_out") => Some(false),
            _ => None,
        },
        _ => None,
    }
}

/// Each operation's moment with its entry. What was found tripped counts only where it was last known closed.
pub fn operations(entries: &[&Written], repaired: &[Instant]) -> Vec<(Instant, String)> {
    let mut all = Vec::new();
    let (mut closed, mut repairs) = (None, repaired.iter().peekable());
    for entry in entries {
        while repairs.next_if(|at| **at <= entry.at).is_some() {
            closed = Some(true);
        }
        let seen_again = entry.found && closed != Some(true) && entry.device != START;
        let (n, later) = told_operations(entry);
        if n > 0 && !seen_again {
            all.push((entry.at, entry.id.clone()));
            all.extend(later.into_iter().map(|at| (at, entry.id.clone())));
        }
        closed = leaves_closed(entry).or(closed);
    }
    all.sort();
    all
}

pub fn grouped(zone: &Zone, operations: Vec<(Instant, String)>) -> Vec<Occurrence> {
    let mut all: Vec<Occurrence> = Vec::new();
    for (at, entry) in operations {
        match all.last_mut().filter(|open| at.since(open.at) <= 60 * MINUTE) {
            Some(open) => {
                open.entries.insert(entry);
            }
            None => all.push(Occurrence { at, day: zone.day_of(at).0, entries: [entry].into() }),
        }
    }
    all
}
