//! What lies in `tests/data`: check values, and the real fleets with their sources.
use serde::Deserialize;
use serde_json::Value;

/// One row of check-values.csv.
#[derive(Debug, Deserialize)]
pub struct Row {
    pub id: String,
    #[serde(rename = "inputs(json)")]
    inputs: String,
    #[serde(rename = "expected(json)")]
    expected: String,
}

impl Row {
    pub fn inputs(&self) -> Value {
        serde_json::from_str(&self.inputs).unwrap()
    }

    pub fn expected(&self) -> Value {
        serde_json::from_str(&self.expected).unwrap()
    }
}

pub fn rows() -> Vec<Row> {
    let text = include_str!("../../../../tests/data/check-values.csv");
    csv::Reader::from_reader(text.as_bytes()).deserialize().collect::<Result<_, _>>().unwrap()
}

pub fn row(id: &str) -> Row {
    rows().into_iter().find(|row| row.id == id).unwrap()
}

/// tests/data/fleets.json: the two real fleets whose event times are known.
#[derive(Debug, Deserialize)]
pub struct Fleets {
    pub valve_seats: ValveSeats,
    pub air_conditioning: AirConditioning,
}

#[derive(Debug, Deserialize)]
pub struct ValveSeats {
    pub units: Vec<Engine>,
}

#[derive(Debug, Deserialize)]
pub struct Engine {
    pub name: String,
    pub times: Vec<f64>,
    pub days: f64,
}

#[derive(Debug, Deserialize)]
pub struct AirConditioning {
    pub series: Vec<Series>,
}

#[derive(Debug, Deserialize)]
pub struct Series {
    pub name: String,
    pub gaps: Vec<f64>,
}

pub fn fleets() -> Fleets {
    serde_json::from_str(include_str!("../../../../tests/data/fleets.json")).unwrap()
}

/// A row of tests/data/ships.csv.
#[derive(Debug, Deserialize)]
pub struct Ship {
    pub r#type: String,
    pub service: f64,
    pub incidents: u32,
}

pub fn ships() -> Vec<Ship> {
    let text = include_str!("../../../../tests/data/ships.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.deserialize().collect::<Result<_, _>>().unwrap()
}

/// A named figure of a row's inputs.
pub fn number(inputs: &Value, name: &str) -> f64 {
    inputs[name].as_f64().unwrap()
}

pub fn whole(inputs: &Value, name: &str) -> u64 {
    inputs[name].as_u64().unwrap()
}

pub fn size(inputs: &Value, name: &str) -> usize {
    usize::try_from(whole(inputs, name)).unwrap()
}

pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

pub fn counts(value: &Value) -> Vec<u64> {
    value.as_array().unwrap().iter().map(|v| v.as_u64().unwrap()).collect()
}

/// Occurrence times from gaps.
pub fn times(gaps: &[f64]) -> Vec<f64> {
    gaps.iter()
        .scan(0.0, |now, gap| {
            *now += gap;
            Some(*now)
        })
        .collect()
}
