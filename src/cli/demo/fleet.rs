//! What the history needs to know of the demo's own roster: who works there, which unit has which devices,
//! and how often each device gives trouble.
use std::collections::BTreeMap;

use serde::Deserialize;

#[derive(Clone, Debug, Deserialize)]
pub struct UnitRow {
    pub unit: String,
    pub class: String,
    pub home_shop: Option<String>,
}

#[derive(Clone, Debug, Deserialize)]
pub struct DeviceRow {
    pub class: String,
    pub tag: String,
    pub kind: String,
    pub rating_a: Option<f64>,
    pub rating_v: Option<f64>,
    pub speed: Option<String>,
    pub body: Option<String>,
    /// `None`: the schedule does not say, so the crew calls the shop first.
    pub crew_resets: Option<u32>,
    pub overload_by_design: String,
    pub restricts_off: String,
    /// Days between troubles on an average unit, from `troubles.csv`; `None` for what never does.
    #[serde(skip)]
    pub mean_days: Option<f64>,
}

impl DeviceRow {
    /// With this off the unit stays where it is until the shop has been.
    pub fn stops_the_unit(&self) -> bool {
        ["no_lead", "do_not_load", "hold"].iter().any(|word| self.restricts_off.contains(word))
    }
}

#[derive(Deserialize)]
struct PersonRow {
    sign_in: String,
    role: String,
    craft: String,
}

#[derive(Deserialize)]
struct TroubleRow {
    class: String,
    tag: String,
    mean_days: f64,
}

pub struct Fleet {
    pub units: Vec<UnitRow>,
    pub devices: BTreeMap<String, Vec<DeviceRow>>,
    /// Sign-in names of those who take trains and yard jobs out.
    pub crews: Vec<String>,
    pub electricians: Vec<String>,
    pub foremen: Vec<String>,
}

impl Fleet {
    /// From the embedded files. A row that does not parse would be left out here; the tests see to it that
    /// there is none.
    pub fn embedded() -> Self {
        let people: Vec<PersonRow> = rows(super::PEOPLE);
        let named = |fits: &dyn Fn(&PersonRow) -> bool| -> Vec<String> {
            people.iter().filter(|p| fits(p)).map(|p| p.sign_in.clone()).collect()
        };
        Self {
            units: rows(super::UNITS),
            devices: devices(),
            crews: named(&|p| p.role == "crew"),
            electricians: named(&|p| p.craft == "electrician"),
            foremen: named(&|p| p.craft == "foreman"),
        }
    }

    pub fn of_class(&self, class: &str) -> &[DeviceRow] {
        self.devices.get(class).map_or(&[], Vec::as_slice)
    }
}

fn devices() -> BTreeMap<String, Vec<DeviceRow>> {
    let troubles: BTreeMap<(String, String), f64> =
        rows::<TroubleRow>(super::TROUBLES).into_iter().map(|t| ((t.class, t.tag), t.mean_days)).collect();
    let mut classes: BTreeMap<String, Vec<DeviceRow>> = BTreeMap::new();
    for mut device in rows::<DeviceRow>(super::SCHEDULES) {
        device.mean_days = troubles.get(&(device.class.clone(), device.tag.clone())).copied();
        classes.entry(device.class.clone()).or_default().push(device);
    }
    classes
}

/// The rows of an embedded file that parse.
pub fn rows<T: serde::de::DeserializeOwned>(csv: &str) -> Vec<T> {
    csv::Reader::from_reader(csv.as_bytes()).into_deserialize().filter_map(Result::ok).collect()
}
