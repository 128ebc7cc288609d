//! Which column holds what, and a row by it as a report of one entry.
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

use super::sheet::Grid;
use crate::{
    base::{Instant, Stamp, Zone, text},
    web::forms::Fields,
};

/// What a column can hold: the contract's name, how a person says it, and words of headings that often mean it.
pub const FIELDS: &[(&str, &str, &[&str])] = &[
    ("unit", "Unit", &["unit", "road number", "locomotive", "engine", "loco"]),
    (
        "kind",
        "What happened (breaker_trip, defect, fuse_check …)",
        &["kind", "type", "event", "what", "happened"],
    ),
    ("at", "When", &["at", "date", "when", "day", "date and time"]),
    ("time", "Time of day, where it has a column of its own", &["time", "hour"]),
    ("device", "Device, by its tag", &["device", "tag", "breaker", "brkr", "cb", "fuse"]),
    ("author", "Written by", &["author", "written by", "reported by", "who", "by", "name"]),
    ("place", "Place", &["place", "location", "milepost"]),
    ("note", "Note", &["note", "notes", "remarks", "comment", "comments"]),
    ("text", "Defect, in words", &["text", "description", "defect", "fault"]),
    ("system", "Defect: system", &["system"]),
    ("may_go_on", "Defect: may it go on", &["may go on"]),
    ("left", "Trip: how it was left", &["left"]),
    ("result", "Fuse: result", &["result"]),
    ("outcome", "Start: outcome", &["outcome"]),
    ("operations", "Ground relay: how often", &["operations", "count"]),
    ("cause", "Shutdown: cause", &["cause"]),
    ("signs", "Signs", &["signs"]),
    ("weather", "Weather", &["weather"]),
];

/// Which fields belong to a kind beside those of every entry; a column that holds another kind's is passed over.
fn of_kind(kind: &str) -> &'static [&'static str] {
    match kind {
        "breaker_trip" => &["device", "left"],
        "defect" => &["text", "system", "may_go_on"],
        "fuse_check" => &["device", "result"],
        "engine_start" => &["outcome"],
        "ground_relay" => &["device", "operations"],
        "shutdown" => &["cause"],
        _ => &[],
    }
}

const KINDS: &[&str] = &["breaker_trip", "defect", "fuse_check", "engine_start", "ground_relay", "shutdown"];
const OF_EVERY: &[&str] = &["place", "note", "signs", "weather"];

/// For each field its column, or what stands for every row.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Mapping(pub BTreeMap<String, From>);

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct From {
    pub column: String,
    pub always: String,
}

impl Mapping {
    /// By the headings, as far as they are plain.
    pub fn likely(grid: &Grid) -> Self {
        let mut free: Vec<&String> = grid.header.iter().collect();
        let mut found = BTreeMap::new();
        let named = |heading: &str, names: &[&str]| names.contains(&heading.to_lowercase().as_str());
        let speaks = |heading: &str, names: &[&str]| {
            heading.split(|c: char| !c.is_alphanumeric()).any(|word| named(word, names))
        };
        // What is named outright comes before what only speaks of it, and no column is taken twice.
        for fits in [&named as &dyn Fn(&str, &[&str]) -> bool, &speaks] {
            for (field, _, names) in FIELDS {
                let place = free.iter().position(|heading| fits(heading, names));
                if let Some(place) = place.filter(|_| !found.contains_key(*field)) {
                    let column = free.remove(place).clone();
                    found.insert((*field).to_owned(), From { column, always: String::new() });
                }
            }
        }
        Self(found)
    }

    pub fn typed(fields: &Fields) -> Self {
        let from = |field: &str| From {
            column: fields.get(&format!("column.{field}")).to_owned(),
            always: fields.get(&format!("always.{field}")).trim().to_owned(),
        };
        let stated = FIELDS.iter().map(|(field, ..)| ((*field).to_owned(), from(field)));
        Self(stated.filter(|(_, from)| *from != From::default()).collect())
    }

    pub fn of(&self, field: &str) -> From {
        self.0.get(field).cloned().unwrap_or_default()
    }

    /// What is missing before any row can be read.
    pub fn wrong(&self, grid: &Grid) -> Vec<String> {
        let needed = ["unit", "kind", "at"].iter().filter(|field| self.of(field) == From::default());
        let mut says: Vec<String> = needed
            .filter_map(|field| FIELDS.iter().find(|(name, ..)| name == field))
            .map(|(_, label, _)| format!("Say which column holds: {label}."))
            .collect();
        let columns = self.0.values().map(|from| &from.column).filter(|column| !column.is_empty());
        says.extend(
            columns
                .filter(|c| !grid.header.contains(c))
                .map(|c| format!("This file has no column {}.", text::quoted(c))),
        );
        says
    }

    fn cell<'a>(&'a self, grid: &Grid, row: &'a [String], field: &str) -> &'a str {
        let Some(from) = self.0.get(field) else { return "" };
        let place = grid.header.iter().position(|name| *name == from.column && !name.is_empty());
        let cell = place.and_then(|place| row.get(place)).map_or("", String::as_str);
        if cell.is_empty() { &from.always } else { cell }
    }

    /// The report that a row makes, or why it makes none. The same row makes the same report, ids and all.
    pub fn report(&self, grid: &Grid, row: &[String], importer: &str, zone: &Zone) -> Result<Value, String> {
        let cell = |field: &str| self.cell(grid, row, field);
        let Some(kind) = kind_of(&word(cell("kind"))) else {
            let told = text::quoted(cell("kind"));
            return Err(format!("what happened is {told}. It can be: {}.", KINDS.join(", ")));
        };
        // Of a date cell that came with a midnight of its own only the day is meant.
        let day = cell("at").split([' ', 'T']).next().unwrap_or_default();
        let told = match cell("time") {
            "" => cell("at").to_owned(),
            time => format!("{day} {time}"),
        };
        let (at, exact) = when(&told, zone).ok_or_else(|| {
            format!(
                "when is {}. Write it as 2026-03-01 14:05, in the railway's own time.",
                text::quoted(told.trim())
            )
        })?;
        let at = Stamp { at, offset_min: zone.offset_min(at) }.to_string();
        let mut entry = Map::new();
        entry.insert("kind".into(), kind.into());
        entry.insert("at".into(), at.as_str().into());
        if !exact {
            entry.insert("at_how".into(), "about".into());
        }
        for field in OF_EVERY.iter().chain(of_kind(kind)) {
            let told = cell(field);
            if !told.is_empty() {
                entry.insert((*field).into(), value(field, told));
            }
        }
        let author = Some(cell("author")).filter(|name| !name.is_empty()).unwrap_or(importer);
        let author =
            crate::people::person::sign_in(author).map_or(author.to_owned(), |name| name.to_string());
        let content = json!({"unit": cell("unit"), "author": author, "entry": &entry}).to_string();
        entry.insert("id".into(), id("entry", &content).into());
        Ok(
            json!({"id": id("report", &content), "unit": cell("unit"), "author": author, "occasion": "not_known",
            "entries": [entry], "signed_at": at}),
        )
    }
}

/// From what is said, so that the same again is the same report.
fn id(what: &str, content: &str) -> String {
    let hash = Sha256::new().chain_update(what).chain_update(b"\0").chain_update(content).finalize();
    let mut bytes = [0u8; 16];
    bytes.iter_mut().zip(hash.iter()).for_each(|(to, from)| *to = *from);
    uuid::Builder::from_random_bytes(bytes).into_uuid().to_string()
}

/// The contract's word for what a list calls it; only where it can mean nothing else.
fn kind_of(told: &str) -> Option<&'static str> {
    let kind = match told {
        "trip" | "tripped" | "breaker_tripped" | "breaker_trips" => "breaker_trip",
        "fuse_blown" | "blown_fuse" | "blew_fuse" => "fuse_check",
        "start" | "failed_start" | "failed_to_start" | "no_start" => "engine_start",
        "ground" | "ground_relay_operated" | "ground_relay_trip" => "ground_relay",
        "shut_down" | "engine_shut_down" | "engine_shutdown" => "shutdown",
        "defects" => "defect",
        told => told,
    };
    KINDS.iter().find(|known| **known == kind).copied()
}

/// `Breaker trip` is `breaker_trip`.
fn word(told: &str) -> String {
    told.trim().to_lowercase().replace([' ', '-'], "_")
}

fn value(field: &str, told: &str) -> Value {
    match field {
        "operations" => told.parse::<u32>().map_or_else(|_| told.into(), Into::into),
        "left" | "result" | "outcome" | "cause" | "signs" | "weather" | "may_go_on" => word(told).into(),
        _ => told.into(),
    }
}

/// A moment and whether it has a time of day; a day alone is noon of it, about.
fn when(told: &str, zone: &Zone) -> Option<(Instant, bool)> {
    let told = told.trim();
    if let Some(at) = Instant::parse(told) {
        return Some((at, true));
    }
    let (day, time) = told.split_once([' ', 'T']).unwrap_or((told, ""));
    let day = iso_day(day)?;
    let time = time.trim();
    match time {
        "" => zone.parse_local(&format!("{day}T12:00")).map(|at| (at, false)),
        time => {
            let (hour, minute) = time.split_once(':')?;
            let minute = minute.get(..2)?;
            zone.parse_local(&format!("{day}T{hour:0>2}:{minute}")).map(|at| (at, true))
        }
    }
}

/// `2026-03-01`, or `3/1/2026`: month first, as this railway's country writes it.
fn iso_day(told: &str) -> Option<String> {
    if let Some(day) = crate::base::Day::parse(told).filter(|_| told.len() == 10) {
        return Some(day.to_string());
    }
    let mut parts = told.split('/').map(|part| part.parse::<u16>().ok());
    let (month, day, year) = (parts.next()??, parts.next()??, parts.next()??);
    let day = format!("{year:04}-{month:02}-{day:02}");
    crate::base::Day::parse(&day).map(|day| day.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone() -> Zone {
        Zone::named("America/Chicago").unwrap()
    }

    #[test]
    fn days_and_times_are_read_as_people_write_them() {
        let at = |told| when(told, &zone()).map(|(at, exact)| (at.to_z(), exact));
        let want = Some(("2026-03-01T20:05:00Z".to_owned(), true));
        for told in ["2026-03-01 14:05", "2026-03-01T14:05:00", "3/1/2026 14:05", "2026-03-01T14:05:00-06:00"]
        {
            assert_eq!(at(told), want, "{told}");
        }
        assert_eq!(at("2026-03-01"), Some(("2026-03-01T18:00:00Z".to_owned(), false)));
        for bad in ["", "yesterday", "31/12/2026", "2026-02-30", "2026-03-01 25:00", "2026-03-01 7"] {
            assert_eq!(at(bad), None, "{bad}");
        }
    }

    /// As a shop wrote it: headings of its own, day and time apart, what happened in its own words.
    #[test]
    fn odd_columns_are_known_again() {
        let file = "Loco No,Date of trouble,Time,What,Brkr,Remarks,who\nQHB 412,11/20/2026,14:05,Breaker tripped,TC2,hot,n.okafor\n\
            QHB 412,11/21/2026,,trip,TC2,,\nQHB 412,11/21/2026,25:00,trip,TC2,,\nQHB 412,11/21/2026,9:00,went bang,TC2,,\n";
        let grid = super::super::sheet::read(file.as_bytes()).unwrap();
        let mapping = Mapping::likely(&grid);
        let columns =
            ["unit", "at", "time", "kind", "device", "note", "author"].map(|of| mapping.of(of).column);
        assert_eq!(columns, ["Loco No", "Date of trouble", "Time", "What", "Brkr", "Remarks", "who"]);
        let report = |row: usize| mapping.report(&grid, &grid.rows[row].1, "sam", &zone());
        let entry = &report(0).unwrap()["entries"][0];
        assert_eq!(
            (&entry["kind"], &entry["at"]),
            (&json!("breaker_trip"), &json!("2026-11-20T14:05:00-06:00"))
        );
        assert_eq!(report(1).unwrap()["entries"][0]["at_how"], "about");
        assert!(report(2).unwrap_err().starts_with("when is \"11/21/2026 25:00\"."));
        assert!(
            report(3).unwrap_err().starts_with("what happened is \"went bang\". It can be: breaker_trip, ")
        );
        // No column is taken twice: there is one date, and it has the time in it.
        let grid =
            super::super::sheet::read("Unit,Date and time,Type of breaker\n1,2026-03-01,x\n".as_bytes())
                .unwrap();
        let mapping = Mapping::likely(&grid);
        assert_eq!(
            (mapping.of("at").column.as_str(), mapping.of("time").column.as_str()),
            ("Date and time", "")
        );
        assert_eq!(
            (mapping.of("kind").column.as_str(), mapping.of("device").column.as_str()),
            ("Type of breaker", "")
        );
    }

    #[test]
    fn a_row_makes_the_same_report_whenever_it_is_read() {
        let grid = super::super::sheet::read(
            "Unit,Type,Date,Breaker,Left,Remarks,Who\n412,Breaker Trip,2026-03-01,TC2,On,=warm,N.Okafor\n"
                .as_bytes(),
        )
        .unwrap();
        let mut mapping = Mapping::likely(&grid);
        assert_eq!(mapping.of("device").column, "Breaker");
        mapping.0.insert("author".into(), From { column: "Who".into(), always: String::new() });
        mapping.0.insert("text".into(), From { column: String::new(), always: "of another kind".into() });
        assert!(mapping.wrong(&grid).is_empty());
        let report = |importer| mapping.report(&grid, &grid.rows[0].1, importer, &zone()).unwrap();
        assert_eq!(report("sam"), report("ada"));
        let entry = &report("sam")["entries"][0];
        assert_eq!(
            (&entry["kind"], &entry["left"], &entry["at_how"]),
            (&json!("breaker_trip"), &json!("on"), &json!("about"))
        );
        assert_eq!((&entry["note"], &entry["text"]), (&json!("=warm"), &Value::Null));
        assert_eq!(report("sam")["author"], "n.okafor");
        mapping.0.remove("at");
        assert_eq!(mapping.wrong(&grid), ["Say which column holds: When."]);
        mapping.0.insert("at".into(), From { column: "Datum".into(), always: String::new() });
        assert_eq!(mapping.wrong(&grid), ["This file has no column \"Datum\"."]);
    }
}
