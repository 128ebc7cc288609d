//! The book's raw tables, read by the test's own code: what anybody with the lists and a pencil would have before them.
use std::collections::{BTreeMap, BTreeSet};

use breakerbook::{
    base::{Day, Instant, Zone},
    rules::Thresholds,
};
use serde_json::Value;
use sqlx::{AssertSqlSafe, Row, SqliteConnection, sqlite::SqliteRow};

use super::operations::{Occurrence, grouped, operations};

pub const RELAY: &str = "ground_relay";
pub const START: &str = "engine_start";

/// What was known: pages up to one, and what had happened by a moment.
#[derive(Clone, Copy)]
pub struct Known {
    pub seq: i64,
    pub at: Instant,
}

pub const ALL: Known = Known { seq: i64::MAX, at: Instant::MAX };

pub struct Unit {
    pub class: String,
    in_service: i32,
    retired: i32,
}

/// One entry as it stands.
#[derive(Clone)]
pub struct Written {
    pub id: String,
    pub unit: String,
    pub at: Instant,
    pub found: bool,
    pub detail: Value,
    /// The device as rules count it.
    pub device: String,
    pub consist: Vec<String>,
}

pub struct Repair {
    pub unit: String,
    pub device: Option<String>,
    pub at: Instant,
    pub day: i32,
    pub new_life: bool,
    pub no_fault_found: bool,
    /// The unit that the part came from.
    pub from: Option<String>,
}

pub struct Ledger {
    pub known: Known,
    pub zone: Zone,
    pub set: Thresholds,
    pub units: BTreeMap<String, Unit>,
    /// Each unit's service days.
    pub days: BTreeMap<String, BTreeSet<i32>>,
    /// Days of which the weather is told, with whether it was wet.
    pub weather: BTreeMap<String, BTreeMap<i32, bool>>,
    pub entries: BTreeMap<String, Written>,
    pub repairs: Vec<Repair>,
    /// Each class's schedules in the order they took effect.
    pub schedules: BTreeMap<String, Vec<Value>>,
    occurrences: BTreeMap<(String, String), Vec<Occurrence>>,
}

pub async fn rows(db: &mut SqliteConnection, sql: &str) -> Vec<SqliteRow> {
    sqlx::query(AssertSqlSafe(sql.to_owned())).fetch_all(db).await.unwrap()
}

pub fn moment(text: &Value) -> Instant {
    Instant::parse(text.as_str().unwrap()).unwrap()
}

fn json(row: &SqliteRow, column: &str) -> Value {
    serde_json::from_str(row.get(column)).unwrap()
}

impl Ledger {
    pub async fn read(db: &mut SqliteConnection, known: Known) -> Self {
        let pages = pages(db, known.seq).await;
        let zone = pages.iter().find(|p| p["kind"] == "book_opened").unwrap();
        let zone = Zone::named(zone["body"]["time_zone"].as_str().unwrap()).unwrap();
        let settings = rows(db, "SELECT settings FROM thresholds ORDER BY seq DESC LIMIT 1").await;
        let set = settings
            .first()
            .map(|row| serde_json::from_value(json(row, "settings")).unwrap())
            .unwrap_or_default();
        let mut ledger = Self {
            known,
            zone,
            set,
            units: units(db).await,
            days: BTreeMap::new(),
            weather: BTreeMap::new(),
            entries: BTreeMap::new(),
            repairs: Vec::new(),
            schedules: BTreeMap::new(),
            occurrences: BTreeMap::new(),
        };
        for row in rows(db, "SELECT class, schedule FROM class_schedule ORDER BY effective, seq").await {
            ledger.schedules.entry(row.get("class")).or_default().push(json(&row, "schedule"));
        }
        ledger.read_reports(db, &pages).await;
        ledger.read_entries(db).await;
        ledger.read_repairs(db, &pages).await;
        ledger.work_out_occurrences();
        ledger
    }

    pub fn day(&self, at: Instant) -> i32 {
        self.zone.day_of(at).0
    }

    async fn read_reports(&mut self, db: &mut SqliteConnection, pages: &[Value]) {
        let last = self.day(self.known.at.min(Instant(4_000_000_000_000_000)));
        let mut told: BTreeMap<String, BTreeSet<i32>> = BTreeMap::new();
        let sql = "SELECT seq, unit, occasion, weather, started, ended, signed_at FROM report";
        for row in rows(db, sql).await.iter().filter(|row| row.get::<i64, _>("seq") <= self.known.seq) {
            let unit: String = row.get("unit");
            let signed = Instant(row.get("signed_at"));
            told.entry(unit.clone()).or_default().insert(self.day(signed));
            let wet = match row.get::<Option<&str>, _>("weather") {
                Some("rain" | "snow" | "blowing_snow" | "high_water" | "washed") => true,
                Some("dry" | "fog") => false,
                _ => continue,
            };
            let ended = row.get::<Option<i64>, _>("ended").map_or(signed, Instant);
            let began =
                if row.get::<&str, _>("occasion") == "run" { Instant(row.get("started")) } else { ended };
            for day in [self.day(began), self.day(ended)].into_iter().filter(|day| *day <= last) {
                *self.weather.entry(unit.clone()).or_default().entry(day).or_default() |= wet;
            }
        }
        for (unit, card) in &self.units {
            let reported = told.remove(unit).unwrap_or_default();
            let around =
                reported.range(..=last).flat_map(|day| day - 13..=day + 13).collect::<BTreeSet<i32>>();
            let held = self.held(pages, unit);
            let counts = |day: &i32| {
                (card.in_service..card.retired).contains(day)
                    && !held.iter().any(|(from, to)| (from..to).contains(&day))
            };
            self.days.insert(unit.clone(), around.into_iter().filter(counts).collect());
        }
    }

    /// Whole days that a unit was stored or away: from, and the first no longer.
    fn held(&self, pages: &[Value], unit: &str) -> Vec<(i32, i32)> {
        let mut spans: Vec<(Instant, Option<Instant>)> = Vec::new();
        for page in pages.iter().filter(|page| page["body"]["unit"] == unit) {
            match page["kind"].as_str() {
                Some("unit_held")
                    if page["body"]["reason"] == "stored" || page["body"]["reason"] == "away" =>
                {
                    spans.push((moment(&page["body"]["at"]), None));
                }
                Some("unit_released") => {
                    let at = moment(&page["body"]["at"]);
                    spans.iter_mut().filter(|(_, to)| to.is_none()).for_each(|(_, to)| *to = Some(at));
                }
                _ => {}
            }
        }
        spans.retain(|(from, _)| *from <= self.known.at);
        let whole = |(from, to): &(Instant, Option<Instant>)| {
            let first = self.zone.day_of(*from);
            let first = if self.zone.start_of(first) == *from { first.0 } else { first.0 + 1 };
            (first, to.filter(|to| *to <= self.known.at).map_or(i32::MAX, |to| self.day(to)))
        };
        spans.iter().map(whole).collect()
    }

    async fn read_entries(&mut self, db: &mut SqliteConnection) {
        let sql = "SELECT e.id, e.seq, e.report, e.unit, e.withdrawn, e.detail, r.consist FROM entry e JOIN report r ON r.id = e.report";
        let mut as_now: BTreeMap<String, (bool, Value)> = BTreeMap::new();
        let all = rows(db, sql).await;
        for row in &all {
            as_now.insert(row.get("id"), (row.get::<i64, _>("withdrawn") == 1, json(row, "detail")));
        }
        // Later corrections undone, the latest first.
        for row in rows(db, "SELECT seq, entry, before FROM amendment ORDER BY seq DESC").await {
            if row.get::<i64, _>("seq") > self.known.seq {
                as_now.insert(row.get("entry"), (false, json(&row, "before")));
            }
        }
        for row in all.iter().filter(|row| row.get::<i64, _>("seq") <= self.known.seq) {
            let (withdrawn, detail) = as_now[row.get::<&str, _>("id")].clone();
            let consist = row
                .get::<Option<&str>, _>("consist")
                .map_or(vec![], |text| serde_json::from_str(text).unwrap());
            let written = written(row, detail, consist);
            if !withdrawn && written.at <= self.known.at {
                self.entries.insert(written.id.clone(), written);
            }
        }
    }

    async fn read_repairs(&mut self, db: &mut SqliteConnection, pages: &[Value]) {
        let closed: BTreeSet<&str> = pages
            .iter()
            .filter(|p| p["kind"] == "repair_closed")
            .map(|p| p["body"]["id"].as_str().unwrap())
            .collect();
        let all = rows(db, "SELECT id, unit, device, closed_at, data FROM repair WHERE closed_at IS NOT NULL ORDER BY closed_at").await;
        for row in all.iter().filter(|row| closed.contains(row.get::<&str, _>("id"))) {
            let (data, at) = (json(row, "data"), Instant(row.get("closed_at")));
            let cause = data["cause"].as_str().unwrap_or_default().trim().to_lowercase();
            self.repairs.push(Repair {
                unit: row.get("unit"),
                device: row.get("device"),
                at,
                day: self.day(at),
                new_life: data["new_life"] == true,
                no_fault_found: cause == "no fault found",
                from: data["from"].as_str().map(str::to_owned),
            });
        }
        self.repairs.retain(|repair| repair.at <= self.known.at);
    }

    pub fn repairs_of<'a>(
        &'a self,
        unit: &'a str,
        device: &'a str,
    ) -> impl DoubleEndedIterator<Item = &'a Repair> {
        self.repairs.iter().filter(move |r| r.unit == unit && r.device.as_deref() == Some(device))
    }

    fn work_out_occurrences(&mut self) {
        let mut of: BTreeMap<(String, String), Vec<&Written>> = BTreeMap::new();
        for entry in self.entries.values() {
            of.entry((entry.unit.clone(), entry.device.clone())).or_default().push(entry);
        }
        let mut all = BTreeMap::new();
        for ((unit, device), mut entries) in of {
            entries.sort_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id)));
            let repaired: Vec<Instant> = self.repairs_of(&unit, &device).map(|r| r.at).collect();
            let found = grouped(&self.zone, operations(&entries, &repaired));
            if !found.is_empty() {
                all.insert((unit, device), found);
            }
        }
        self.occurrences = all;
    }

    pub fn occurrences(&self, unit: &str, device: &str) -> &[Occurrence] {
        self.occurrences.get(&(unit.to_owned(), device.to_owned())).map_or(&[], Vec::as_slice)
    }

    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.occurrences.keys().map(|(unit, device)| (unit.as_str(), device.as_str()))
    }

    /// Service days after one day, up to and with another.
    pub fn between(&self, unit: &str, after: i32, upto: i32) -> i64 {
        if after >= upto {
            return 0;
        }
        self.days.get(unit).map_or(0, |days| days.range(after.saturating_add(1)..=upto).count() as i64)
    }

    /// The schedule of a class at a moment; the first serves for all before.
    pub fn schedule(&self, class: &str, at: Instant) -> &Value {
        let all = &self.schedules[class];
        all.iter().rev().find(|s| moment(&s["effective"]) <= at).unwrap_or(&all[0])
    }

    pub fn scheduled(&self, unit: &str, device: &str, at: Instant) -> Option<&Value> {
        let schedule = self.schedule(&self.units.get(unit)?.class, at);
        schedule["devices"].as_array().unwrap().iter().find(|d| d["tag"] == device)
    }
}

async fn pages(db: &mut SqliteConnection, upto: i64) -> Vec<Value> {
    let sql = "SELECT seq, blob FROM page WHERE json_extract(blob, '$.kind') IN ('book_opened', 'unit_held', 'unit_released', 'repair_closed') ORDER BY seq";
    rows(db, sql)
        .await
        .iter()
        .filter(|row| row.get::<i64, _>("seq") <= upto)
        .map(|row| json(row, "blob"))
        .collect()
}

async fn units(db: &mut SqliteConnection) -> BTreeMap<String, Unit> {
    let mut all = BTreeMap::new();
    for row in rows(db, "SELECT unit, card FROM unit_card").await {
        let card = json(&row, "card");
        let day = |name: &str| card[name].as_str().map(|text| Day::parse(text).unwrap().0);
        let unit = Unit {
            class: card["class"].as_str().unwrap().to_owned(),
            in_service: day("in_service").unwrap(),
            retired: day("retired").unwrap_or(i32::MAX),
        };
        all.insert(row.get("unit"), unit);
    }
    all
}

fn written(row: &SqliteRow, detail: Value, consist: Vec<String>) -> Written {
    let at =
        ["at", "found_at", "opened_at", "found_open_at"].iter().find_map(|name| detail.get(*name)).unwrap();
    let found = detail.get("found_at").is_some() || detail.get("found_open_at").is_some();
    let device = match detail["kind"].as_str() {
        Some("ground_relay") => RELAY.to_owned(),
        Some("engine_start") => START.to_owned(),
        _ => plate(&detail["device"]),
    };
    let at = moment(at);
    Written { id: row.get("id"), unit: row.get("unit"), at, found, detail, device, consist }
}

/// A tag, or the words of a plate that no schedule lists.
fn plate(device: &Value) -> String {
    match device["not_listed"].as_str() {
        Some(words) => {
            format!("not listed: {}", words.split_whitespace().collect::<Vec<_>>().join(" ").to_uppercase())
        }
        None => device.as_str().unwrap_or("-").to_owned(),
    }
}
