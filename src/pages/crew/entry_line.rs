//! One entry in a line, from the contract's JSON: the same words for a draft and for what is in the book.
use serde_json::Value;

use super::asking::{Words, words};
use crate::{
    base::{Instant, Zone},
    reports::{kinds::Kind, vocabulary::AtHow},
};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryLine {
    /// `Breaker trip, TC2`.
    pub what: String,
    /// `3 Mar 2026 05:14 -06:00`, `about ...`, `found ...`.
    pub when: String,
    /// `reset, tripped again; left tripped`.
    pub says: String,
}

/// Fields that are said in a line, in this order, with the words for theirs.
const SAID: &[(&str, &str, Words)] = &[
    ("left", "left", words::LEFT),
    (
        "seen",
        "found",
        &[("on", "on"), ("off", "off"), ("tripped", "tripped"), ("closed", "closed"), ("open", "open")],
    ),
    ("moved_to", "moved to", &[]),
    ("result", "", words::FUSE_RESULT),
    ("outcome", "", words::OUTCOME),
    ("cause", "stopped by", words::CAUSE),
    ("operations", "operations:", &[]),
    ("mode", "while", words::MODE),
    ("reset", "", words::GROUND_RESET),
    ("after", "then", words::AFTER),
    ("purpose", "for", words::PURPOSE),
    ("seal_found", "seal found:", words::SEAL),
    ("seal_applied", "seal put on:", words::SEAL),
    ("seal", "seal:", words::SEAL),
    ("signs", "signs:", words::SIGNS),
    ("system", "", &[]),
    ("text", "", &[]),
    ("may_go_on", "may go on:", words::MAY_GO_ON),
    ("restriction", "", &[]),
    ("warning_notice", "warning notice:", &[]),
    ("place", "at", &[]),
    ("note", "", &[]),
];

impl EntryLine {
    pub fn of(entry: &Value, zone: &Zone) -> Self {
        let kind = entry["kind"].as_str().and_then(Kind::parse);
        let mut what = capital(kind.map_or("entry", Kind::in_words));
        if let Some(device) = device(entry) {
            what.push_str(&format!(", {device}"));
        }
        Self { what, when: when(entry, kind, zone), says: says(entry, kind, zone) }
    }
}

/// When an entry happened or was found.
pub fn time_of(entry: &Value) -> Option<Instant> {
    let fields = ["at", "found_at", "opened_at", "found_open_at"];
    fields.iter().find_map(|field| entry[*field].as_str()).and_then(Instant::parse)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn device(entry: &Value) -> Option<&str> {
    let device = &entry["device"];
    device.as_str().or_else(|| device["not_listed"].as_str())
}

fn when(entry: &Value, kind: Option<Kind>, zone: &Zone) -> String {
    let (at, found) = kind.unwrap_or(Kind::Defect).time_fields();
    let time = |field: &str| entry[field].as_str().and_then(Instant::parse).map(|at| zone.in_words(at));
    let how = entry["at_how"].as_str().and_then(AtHow::parse);
    match (time(at), time(found), how) {
        (_, Some(found), _) => format!("found {found}"),
        (Some(at), _, Some(AtHow::About)) => format!("about {at}"),
        (Some(at), _, Some(AtHow::NotKnown)) => format!("time not known, written down {at}"),
        (Some(at), ..) => at,
        _ => String::new(),
    }
}

fn says(entry: &Value, kind: Option<Kind>, zone: &Zone) -> String {
    let mut parts: Vec<String> = resets(entry);
    for (field, before, words) in SAID {
        let Some(said) = plain(&entry[*field]) else { continue };
        let said = if words.is_empty() { said } else { lower(&words::say(words, &said)) };
        parts.push(if before.is_empty() { said } else { format!("{before} {said}") });
    }
    if kind == Some(Kind::Bypass) {
        parts.push(opened_and_closed(entry, zone));
    }
    parts.join("; ")
}

fn plain(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_lowercase().chain(letters).collect()).unwrap_or_default()
}

fn resets(entry: &Value) -> Vec<String> {
    let Some(resets) = entry["resets"].as_array() else { return Vec::new() };
    let say = |reset: &Value| reset["result"].as_str().map(|word| lower(&words::say(words::RESET, word)));
    resets.iter().filter_map(say).collect()
}

fn opened_and_closed(entry: &Value, zone: &Zone) -> String {
    let by = |field: &str| {
        let who = &entry[field];
        let name = who.as_str().or_else(|| who["name"].as_str());
        name.map(|name| format!(" by {}", name.replace('_', " "))).unwrap_or_default()
    };
    match entry["closed_at"].as_str().and_then(Instant::parse) {
        Some(at) => format!("opened{}; closed {}{}", by("by"), zone.in_words(at), by("closed_by")),
        None => format!("opened{}; STILL OPEN when written", by("by")),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn lines_say_what_a_crew_wrote() {
        let zone = Zone::named("America/Chicago").unwrap();
        let trip = json!({"kind": "breaker_trip", "at": "2026-03-02T23:12:00-06:00", "at_how": "about", "device": "TC2",
            "resets": [{"result": "tripped_again"}], "left": "tripped", "place": "MP 41.2"});
        let line = EntryLine::of(&trip, &zone);
        assert_eq!(line.what, "Breaker trip, TC2");
        assert_eq!(line.when, "about 2 Mar 2026 23:12 -06:00");
        assert_eq!(line.says, "reset, tripped again; left tripped; at MP 41.2");
        let found = json!({"kind": "bypass", "found_open_at": "2026-03-02T23:12:00-06:00", "device": {"not_listed": "GR CUT"}, "by": "not_known"});
        let line = EntryLine::of(&found, &zone);
        assert_eq!(line.what, "Ground-relay cutout opened, GR CUT");
        assert_eq!(line.says, "opened by not known; STILL OPEN when written");
    }
}
