//! One entry in a line, from the contract's JSON: the same words for a draft and for what is in the book.
use serde_json::Value;

use crate::{
    base::{Instant, Zone},
    pages::drawn::told,
    reports::{kinds::Kind, stored, vocabulary::AtHow},
    roster::Schedule,
};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryLine {
    /// `Breaker trip, TC2`.
    pub what: String,
    /// `3 Mar 2026 05:14 -06:00`, `about ...`, `found ...`.
    pub when: String,
    /// Every stated field, in sentences.
    pub says: String,
}

impl EntryLine {
    pub fn of(entry: &Value, schedule: Option<&Schedule>, zone: &Zone) -> Self {
        let kind = entry["kind"].as_str().and_then(Kind::parse);
        let mut what = capital(kind.map_or("entry", Kind::in_words));
        if let Some(device) = device(entry) {
            what.push_str(&format!(", {device}"));
        }
        Self { what, when: when(entry, kind, zone), says: says(entry, schedule, zone) }
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

/// Everything that is stated; what cannot be read is shown as it stands, rather than not at all.
fn says(entry: &Value, schedule: Option<&Schedule>, zone: &Zone) -> String {
    let text = entry.to_string();
    stored::entry(&text).map_or(text, |entry| told::told_in_full(&entry, schedule, zone))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn lines_say_what_a_crew_wrote() {
        let zone = Zone::named("America/Chicago").unwrap();
        let trip = json!({"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "breaker_trip", "at": "2026-03-02T23:12:00-06:00", "at_how": "about", "device": "TC2",
            "resets": [{"result": "tripped_again", "basis": "examined"}], "left": "tripped", "place": "MP 41.2"});
        let line = EntryLine::of(&trip, None, &zone);
        assert_eq!(line.what, "Breaker trip, TC2");
        assert_eq!(line.when, "about 2 Mar 2026 23:12 -06:00");
        assert_eq!(
            line.says,
            "TC2 tripped. Closed again (examined): tripped again. Left tripped. At: MP 41.2."
        );
        let found = json!({"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "bypass", "found_open_at": "2026-03-02T23:12:00-06:00", "device": {"not_listed": "GR CUT"}, "by": "not_known"});
        let line = EntryLine::of(&found, None, &zone);
        assert_eq!(line.what, "Ground-relay cutout opened, GR CUT");
        assert_eq!(
            line.says,
            "“GR CUT” (not on the schedule) found open, opened by: not known. Still open when written."
        );
    }
}
