//! What a draft leaves open, pointed out before it is signed. Nothing here refuses anything.
use std::collections::BTreeMap;

use serde_json::Value;

use super::entry_line::time_of;
use crate::{
    base::{Tag, Zone},
    roster::Schedule,
};

/// One sentence for each thing that is still open after the last of these entries.
pub fn gaps(entries: &[Value], schedule: Option<&Schedule>, zone: &Zone) -> Vec<String> {
    let mut sorted: Vec<&Value> = entries.iter().collect();
    sorted.sort_by_key(|entry| time_of(entry));
    let mut open: BTreeMap<String, String> = BTreeMap::new();
    for entry in sorted {
        let Some(device) = device(entry) else {
            ground(entry, &mut open);
            continue;
        };
        match gap(entry, &device, zone) {
            Left::Open(sentence) => {
                drop(open.insert(device.clone(), with_effect(sentence, &device, schedule)))
            }
            Left::Closed => drop(open.remove(&device)),
            Left::AsItWas => {}
        }
    }
    open.into_values().collect()
}

enum Left {
    Open(String),
    Closed,
    AsItWas,
}

fn device(entry: &Value) -> Option<String> {
    let device = &entry["device"];
    device.as_str().or_else(|| device["not_listed"].as_str()).map(str::to_owned)
}

fn gap(entry: &Value, device: &str, zone: &Zone) -> Left {
    let word = |field: &str| entry[field].as_str().unwrap_or("");
    let since = time_of(entry).map(|at| format!(" since {}", zone.time_in_words(at))).unwrap_or_default();
    match word("kind") {
        "breaker_trip" => match word("left") {
            "on" => Left::Closed,
            "" => Left::AsItWas,
            left => Left::Open(format!(
                "{device} is left {}{since}, and nothing says that it was closed again.",
                left.replace('_', " ")
            )),
        },
        "bypass" if entry["closed_at"].is_null() => Left::Open(format!(
            "The ground-relay cutout {device} is open{since}, and nothing says that it was closed."
        )),
        "bypass" if matches!(word("seal_applied"), "" | "none" | "missing" | "broken" | "not_looked") => {
            Left::Open(format!(
                "The ground-relay cutout {device} was closed, and nothing says that it was sealed."
            ))
        }
        "bypass" => Left::Closed,
        "fuse_check" if matches!(word("result"), "blown" | "missing") && entry["replaced_by"].is_null() => {
            Left::Open(format!(
                "The fuse {device} is {}, and nothing says that another was put in.",
                word("result")
            ))
        }
        "fuse_check" => Left::Closed,
        "position" => position(device, word("seen"), word("moved_to"), &since),
        _ => Left::AsItWas,
    }
}

fn position(device: &str, seen: &str, moved_to: &str, since: &str) -> Left {
    match if moved_to.is_empty() { seen } else { moved_to } {
        "on" | "closed" => Left::Closed,
        state @ ("off" | "open" | "tripped") => Left::Open(format!("{device} is {state}{since}.")),
        _ => Left::AsItWas,
    }
}

fn ground(entry: &Value, open: &mut BTreeMap<String, String>) {
    if entry["kind"] != "ground_relay" {
        return;
    }
    match entry["reset"].as_str() {
        Some("not_reset") => drop(open.insert("relay".into(), "The ground relay was not reset.".into())),
        Some("locked_out") => drop(open.insert("relay".into(), "The ground relay is locked out.".into())),
        Some(_) => drop(open.remove("relay")),
        None => {}
    }
}

/// With what the unit loses by it, where the schedule says so.
fn with_effect(sentence: String, device: &str, schedule: Option<&Schedule>) -> String {
    let effect = schedule.and_then(|s| s.device(&Tag::from(device))?.off_effect.as_deref());
    match effect {
        Some(effect) => format!("{sentence} Off, the unit loses: {}.", effect.trim_end_matches('.')),
        None => sentence,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn what_is_left_open_is_pointed_out_until_something_says_closed() {
        let zone = Zone::utc();
        let trip =
            json!({"kind": "breaker_trip", "at": "2026-03-02T23:12:00Z", "device": "TC2", "left": "tripped"});
        let closed = json!({"kind": "position", "at": "2026-03-03T01:00:00Z", "device": "TC2", "seen": "tripped", "moved_to": "on"});
        let bypass = json!({"kind": "bypass", "found_open_at": "2026-03-02T22:00:00Z", "device": "GRC"});
        let relay = json!({"kind": "ground_relay", "at": "2026-03-02T22:00:00Z", "reset": "locked_out"});
        let says = |entries: &[Value]| gaps(entries, None, &zone);
        assert_eq!(
            says(std::slice::from_ref(&trip)),
            ["TC2 is left tripped since 23:12, and nothing says that it was closed again."]
        );
        assert!(says(&[closed.clone(), trip.clone()]).is_empty(), "by their times, not as they stand");
        assert_eq!(says(&[bypass, relay, trip, closed]).len(), 2);
    }
}
