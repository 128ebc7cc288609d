//! Reports as the interchange contract wants them.
use serde_json::{Map, Value, json};

use super::{days::Calendar, dice::Dice};
use crate::base::Instant;

/// The terminals, in line order; a unit is always at one of them between runs.
pub const PLACES: [&str; 5] = ["Harrow Ferry", "Quarrow", "Cindle Flat", "Slate Gap", "Vellmere"];

/// One journey of one crew.
#[derive(Clone, Debug)]
pub struct Leg {
    pub symbol: String,
    /// Places in [`PLACES`].
    pub from: usize,
    pub to: usize,
    pub start: Instant,
    pub end: Instant,
}

/// What one person files about one unit.
pub struct Filing<'a> {
    pub unit: &'a str,
    pub author: &'a str,
    pub occasion: &'static str,
    pub is_final: bool,
    pub leg: Option<&'a Leg>,
    pub position: Option<&'static str>,
    pub consist: &'a [String],
    pub weather: Option<&'static str>,
    pub remarks: Option<&'a str>,
    pub entries: Vec<Value>,
    pub signed_at: Instant,
}

impl Filing<'_> {
    pub fn into_json(self, dice: &mut Dice, calendar: &Calendar) -> Value {
        let run = self.leg.map(|leg| {
            json!({"symbol": leg.symbol, "from": PLACES[leg.from], "to": PLACES[leg.to],
                   "started": calendar.stamp(leg.start), "ended": calendar.stamp(leg.end)})
        });
        json!({
            "id": dice.id(self.signed_at), "unit": self.unit, "author": self.author, "occasion": self.occasion,
            "final": self.is_final, "run": run, "position": self.position, "consist": self.consist,
            "weather": self.weather, "remarks": self.remarks, "entries": self.entries,
            "signed_at": calendar.stamp(self.signed_at),
        })
    }
}

/// An entry of one kind with its id and time; `fields` holds the rest.
pub fn entry(
    kind: &str,
    time_field: &str,
    at: Instant,
    fields: Value,
    dice: &mut Dice,
    calendar: &Calendar,
) -> Value {
    let mut map = Map::new();
    map.insert("id".to_owned(), dice.id(at).into());
    map.insert("kind".to_owned(), kind.into());
    map.insert(time_field.to_owned(), calendar.stamp(at).into());
    if let Value::Object(fields) = fields {
        map.extend(fields);
    }
    Value::Object(map)
}
