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

/// What a column can hold: the contract's name, how a person says it, and headings that often mean it.
pub const FIELDS: &[(&str, &str, &[&str])] = &[
    ("unit", "Unit", &["unit", "road number", "locomotive", "engine", "loco"]),
    ("kind", "What happened (breaker_trip, defect, fuse_check …)", &["kind", "type", "event"]),
    ("at", "When", &["at", "date", "when", "time", "date and time"]),
    ("device", "Device, by its tag", &["device", "tag", "breaker", "fuse"]),
    ("author", "Written by", &["author", "written by", "reported by", "name"]),
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
        let heading =
            |names: &[&str]| grid.header.iter().find(|h| names.contains(&h.to_lowercase().as_str()));
        let likely = FIELDS.iter().filter_map(|(field, _, names)| {
            let column = heading(names)?.clone();
            Some(((*field).to_owned(), From { column, always: String::new() }))
        });
        Self(likely.collect())
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
        let kind = word(cell("kind"));
        if !KINDS.contains(&kind.as_str()) {
            return Err(format!("kind is {}. It can be: {}.", text::quoted(cell("kind")), KINDS.join(", ")));
        }
        let (at, exact) = when(cell("at"), zone).ok_or_else(|| {
            format!(
                "when is {}. Write it as 2026-03-01 14:05, in the railway's own time.",
                text::quoted(cell("at"))
            )
        })?;
        let at = Stamp { at, offset_min: zone.offset_min(at) }.to_string();
        let mut entry = Map::new();
        entry.insert("kind".into(), kind.as_str().into());
        entry.insert("at".into(), at.as_str().into());
        if !exact {
            entry.insert("at_how".into(), "about".into());
        }
        for field in OF_EVERY.iter().chain(of_kind(&kind)) {
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
