//! Made-up reports of four entries each, of the demo's kinds and on its schedules: what its year holds about a unit
//! is drawn from at random and moved to another run of that unit.
use std::collections::BTreeMap;

use breakerbook::{
    base::{
        Instant, SignIn, Zone,
        instant::{DAY, HOUR, MINUTE},
    },
    cli::demo,
    reports::kinds::Kind,
};
use rand::{RngExt as _, SeedableRng as _, rngs::StdRng};
use serde_json::{Value, json};

/// An entry as the demo had it, and when.
struct Template {
    entry: Value,
    at: Instant,
}

#[derive(Default)]
struct OfUnit {
    /// The look at the cutout with which nearly every run begins.
    looks: Vec<Template>,
    others: Vec<Template>,
}

pub struct Writer {
    dice: StdRng,
    units: Vec<(String, OfUnit)>,
    now: Instant,
    next: usize,
}

/// The demo's crews.
pub fn crews() -> Vec<SignIn> {
    let zone = Zone::named(demo::ZONE).unwrap();
    let people = demo::files(Instant(0), &zone).people;
    let cells = people.lines().skip(1).map(|line| line.split(',').collect::<Vec<_>>());
    cells.filter(|row| row[2] == "crew").map(|row| SignIn::from(row[0])).collect()
}

impl Writer {
    pub fn new(seed: u64, now: Instant) -> Self {
        let zone = Zone::named(demo::ZONE).unwrap();
        let mut units: BTreeMap<String, OfUnit> = BTreeMap::new();
        for event in demo::history(demo::SEED, now, &zone) {
            let demo::Act::Report(report) = event.act else { continue };
            let unit = units.entry(text(&report["unit"])).or_default();
            for entry in report["entries"].as_array().into_iter().flatten() {
                unit.keep(entry);
            }
        }
        units.values_mut().for_each(|unit| unit.looks.sort_by_key(|look| look.at));
        units.retain(|_, unit| !unit.looks.is_empty() && !unit.others.is_empty());
        let units = units.into_iter().collect();
        Self { dice: StdRng::seed_from_u64(seed), units, now, next: 0 }
    }

    /// A report of a run that ended some time in the last `days`, as the contract's JSON.
    pub fn report(&mut self, author: &SignIn, days: i64) -> (Instant, String) {
        let ix = self.next % self.units.len();
        self.next += 1;
        let ended = self.now.minus(self.dice.random_range(10 * MINUTE..days * DAY));
        let started = ended.minus(8 * HOUR);
        let entries = self.entries(ix, started);
        let signed = ended.plus(5 * MINUTE);
        let report = json!({
            "id": self.id(signed), "unit": self.units[ix].0, "author": author.as_str(), "occasion": "run", "final": true,
            "run": {"symbol": format!("Q{}", self.dice.random_range(10..60)), "from": "Quarrow", "to": "Slate Gap",
                "started": started.to_z(), "ended": ended.to_z()},
            "position": "lead", "consist": [], "weather": "dry", "remarks": null, "entries": entries,
            "signed_at": signed.to_z(),
        });
        (signed, report.to_string())
    }

    fn entries(&mut self, ix: usize, started: Instant) -> Vec<Value> {
        let mut entries = Vec::with_capacity(4);
        for place in 0..4 {
            let at = started.plus(i64::from(place) * 110 * MINUTE + self.dice.random_range(1..90) * MINUTE);
            let unit = &self.units[ix].1;
            let template = if place == 0 {
                // The seal of those days: another one would be a finding at every look.
                let earlier = unit.looks.partition_point(|look| look.at <= at);
                unit.looks.get(earlier.saturating_sub(1))
            } else {
                unit.others.get(self.dice.random_range(0..unit.others.len()))
            };
            let template = template.unwrap();
            let mut entry = template.entry.clone();
            moved(&mut entry, at.since(template.at));
            entry["id"] = self.id(at).into();
            entries.push(entry);
        }
        entries
    }

    fn id(&mut self, at: Instant) -> String {
        let millis = u64::try_from(at.0 / 1000).unwrap();
        uuid::Builder::from_unix_timestamp_millis(millis, &self.dice.random()).into_uuid().to_string()
    }
}

impl OfUnit {
    fn keep(&mut self, entry: &Value) {
        let (happened, found) = Kind::parse(entry["kind"].as_str().unwrap()).unwrap().time_fields();
        let at = entry[happened].as_str().or(entry[found].as_str()).and_then(Instant::parse).unwrap();
        let template = Template { entry: entry.clone(), at };
        match entry["kind"].as_str() {
            // Seals change with an opening; drawn at random they would never fit.
            Some("bypass") => {}
            Some("position") if entry["seen"] == "closed" => self.looks.push(template),
            _ => self.others.push(template),
        }
    }
}

/// Every time in it, later or earlier by as much.
fn moved(value: &mut Value, by: i64) {
    match value {
        Value::String(text) => {
            if text.len() >= 20
                && let Some(at) = Instant::parse(text)
            {
                *text = at.plus(by).to_z();
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|item| moved(item, by)),
        Value::Object(fields) => fields.values_mut().for_each(|field| moved(field, by)),
        _ => {}
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}
