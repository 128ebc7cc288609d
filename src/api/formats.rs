//! Rows of the lists as JSON, CSV and sheets: whatever is in them, by the names of their columns.
use serde::Serialize;

use crate::{
    base::{Instant, text},
    web::sheet::{Cell, Sheet},
};

/// As a JSON array: times in UTC with Z.
pub fn to_json<T: Serialize>(rows: &[T]) -> Result<String, serde_json::Error> {
    let values: Vec<serde_json::Value> = rows.iter().map(row).collect::<Result<_, _>>()?;
    serde_json::to_string(&values)
}

/// As CSV with a header line; cells that a spreadsheet would run are defused.
pub fn to_csv<T: Serialize>(rows: &[T], header: &[&str]) -> Result<String, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(header)?;
    for value in rows.iter().map(row) {
        let Ok(serde_json::Value::Object(fields)) = value else { continue };
        out.write_record(header.iter().map(|name| cell(fields.get(*name))))?;
    }
    let bytes = out.into_inner().map_err(|why| csv::Error::from(why.into_error()))?;
    Ok(String::from_utf8(bytes).unwrap_or_default())
}

/// As a sheet: numbers stay numbers.
pub fn to_sheet<T: Serialize>(name: &str, rows: &[T], header: &[&str]) -> Sheet {
    let mut sheet = Sheet::of(name, header);
    for value in rows.iter().map(row) {
        let Ok(serde_json::Value::Object(fields)) = value else { continue };
        let cell = |name: &&str| match fields.get(*name) {
            None | Some(serde_json::Value::Null) => Cell::Blank,
            Some(serde_json::Value::String(text)) => text.as_str().into(),
            Some(serde_json::Value::Number(n)) => n.as_f64().map_or(Cell::Blank, Cell::Number),
            Some(other) => other.to_string().into(),
        };
        sheet.rows.push(header.iter().map(cell).collect());
    }
    sheet
}

/// A row with its moments as text.
fn row<T: Serialize>(row: &T) -> Result<serde_json::Value, serde_json::Error> {
    let mut value = serde_json::to_value(row)?;
    if let Some(fields) = value.as_object_mut() {
        for name in MOMENTS {
            if let Some(field) = fields.get_mut(*name)
                && let Some(micros) = field.as_i64()
            {
                *field = Instant(micros).to_z().into();
            }
        }
    }
    Ok(value)
}

const MOMENTS: &[&str] = &[
    "since",
    "until",
    "opened_at",
    "found_open_at",
    "closed_at",
    "reviewed_at",
    "at",
    "found_at",
    "recorded_at",
];

fn cell(value: Option<&serde_json::Value>) -> String {
    let text = match value {
        None | Some(serde_json::Value::Null) => String::new(),
        Some(serde_json::Value::String(text)) => text.clone(),
        // Lists of names are parted by spaces where no name can hold one, else as JSON.
        Some(other) => other.to_string(),
    };
    text::defused(&text)
}
