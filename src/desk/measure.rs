//! What the shop measures, inspects and sets: pages that say what was so, each once, however often the form comes.
use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use sqlx::{Row, SqliteConnection};
use uuid::Uuid;

use super::{
    act::{Act, Decided},
    apply::author,
    body::Body,
    draft::{Draft, Filed, Page},
    load::fetch,
    refused::Refused,
    tables::{self, json},
    wanted::Wanted,
};
use crate::{
    base::{ClassName, Code, Instant, Problem, Stamp, UnitName, instant::as_text},
    book::{Channel, Heading},
    people::Permit,
    shop::{
        inspections::InspectionDone,
        measurements::{Judged, Measured},
    },
};

/// A measurement with what it said when it was signed: a later program says nothing else about it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasurementTaken {
    pub id: Uuid,
    pub unit: UnitName,
    pub repair: Option<Uuid>,
    #[serde(with = "as_text")]
    pub at: Instant,
    /// Whoever held the instrument, if it was not the one who signed.
    pub done_by: Option<String>,
    pub measured: Measured,
    pub judged: Judged,
    /// What was odd, was asked about, and was signed all the same.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub confirmed: Vec<String>,
}

/// How long from one periodic inspection to the next, for a class or for one unit of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IntervalSet {
    pub class: Option<ClassName>,
    pub unit: Option<UnitName>,
    pub days: i32,
    pub reason: String,
}

/// A table that the shop keeps by name: `breaker`, or `mapping:` and a name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopTable {
    pub name: String,
    pub table: serde_json::Value,
}

/// One page, filed once.
#[derive(Debug)]
pub struct ShopPage(Page);

impl ShopPage {
    /// Nobody hands in a verdict: it follows from what was measured.
    pub fn measurement(taken: MeasurementTaken, permit: &Permit, now: Instant) -> Self {
        let judged = taken.measured.judge();
        let taken = shortened(MeasurementTaken { judged, ..taken });
        Self::of(Body::MeasurementTaken(Box::new(taken)), permit, now)
    }

    pub fn inspection(done: InspectionDone, permit: &Permit, now: Instant) -> Self {
        Self::of(Body::InspectionDone(Box::new(done)), permit, now)
    }

    pub fn interval(set: IntervalSet, permit: &Permit, now: Instant) -> Self {
        Self::of(Body::InspectionIntervalSet(Box::new(set)), permit, now)
    }

    pub fn table(mut table: ShopTable, permit: &Permit, now: Instant) -> Self {
        shorten(&mut table.table);
        Self::of(Body::ShopTableKept(Box::new(table)), permit, now)
    }

    fn of(body: Body, permit: &Permit, now: Instant) -> Self {
        let happened_at = match &body {
            Body::MeasurementTaken(taken) => taken.at,
            Body::InspectionDone(done) => done.at,
            _ => now,
        };
        Self(Page {
            author: Some(permit.by().clone()),
            channel: Channel::Page,
            on_behalf_of: None,
            happened_at: Some(Stamp::utc(happened_at)),
            body,
        })
    }
}

impl Act for ShopPage {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        match &self.0.body {
            Body::MeasurementTaken(taken) if draft.taken.contains(&taken.id) => Ok(Decided::default()),
            Body::InspectionDone(done) if draft.taken.contains(&done.id) => Ok(Decided::default()),
            Body::MeasurementTaken(taken) => {
                refuse_future(taken.at, now)?;
                of_repair(taken, draft)?;
                match taken.measured.wrong().first() {
                    Some(wrong) => Err(Refused::Problems(vec![problem(wrong.field, &wrong.says)])),
                    None => Ok(Decided::all(1)),
                }
            }
            Body::InspectionDone(done) => refuse_future(done.at, now).map(|()| Decided::all(1)),
            _ => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

fn problem(field: &str, says: &str) -> Problem {
    Problem { path: field.to_owned(), code: Code::NotAllowed, says: says.to_owned() }
}

fn refuse_future(at: Instant, now: Instant) -> Result<(), Refused> {
    let ahead = at > now.plus(5 * crate::base::instant::MINUTE);
    let says = "This time is still to come: write when it was done.";
    if ahead { Err(Refused::Problems(vec![problem("at", says)])) } else { Ok(()) }
}

fn of_repair(taken: &MeasurementTaken, draft: &Draft) -> Result<(), Refused> {
    match taken.repair.map(|id| draft.repairs.get(&id)) {
        None => Ok(()),
        Some(Some(repair)) if repair.unit == taken.unit => Ok(()),
        Some(Some(repair)) => Err(Refused::NotThere(format!(
            "That repair is of {}, not of {}: open the form from the repair.",
            repair.unit, taken.unit
        ))),
        Some(None) => {
            Err(Refused::NotThere("The book holds no such repair: look at the unit again.".to_owned()))
        }
    }
}

impl Wanted {
    /// What such a page names.
    pub(super) fn shop_ids(&mut self, body: &Body) {
        match body {
            Body::MeasurementTaken(taken) => {
                self.taken.insert(taken.id);
                self.repairs.extend(taken.repair);
            }
            Body::InspectionDone(done) => {
                self.taken.insert(done.id);
            }
            _ => {}
        }
    }
}

impl Draft {
    /// Which of these ids are in the book already.
    pub(super) async fn load_taken(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<Uuid>,
    ) -> Result<(), sqlx::Error> {
        if ids.is_empty() {
            return Ok(());
        }
        for sql in [
            "SELECT id FROM measurement WHERE id IN (SELECT value FROM json_each(?))",
            "SELECT id FROM inspection WHERE id IN (SELECT value FROM json_each(?))",
        ] {
            for row in fetch(db, sql, ids).await? {
                self.taken.extend(Uuid::parse_str(row.try_get("id")?).ok());
            }
        }
        Ok(())
    }

    pub(super) fn put_measurement(&mut self, filed: Filed, heading: &Heading, taken: &MeasurementTaken) {
        self.taken.insert(taken.id);
        self.rows.measurements.add(&tables::MeasurementRow {
            id: taken.id,
            seq: filed.seq,
            unit: taken.unit.clone(),
            repair: taken.repair,
            kind: taken.measured.kind().as_str(),
            subject: taken.measured.subject(),
            taken_at: taken.at,
            by: author(heading),
            verdict: taken.judged.verdict.as_str(),
            data: json(taken),
        });
    }

    pub(super) fn put_inspection(&mut self, filed: Filed, heading: &Heading, done: &InspectionDone) {
        self.taken.insert(done.id);
        self.rows.inspections.add(&tables::InspectionRow {
            id: done.id,
            seq: filed.seq,
            unit: done.unit.clone(),
            kind: done.kind.as_str(),
            done_at: done.at,
            by: author(heading),
            data: json(done),
        });
    }

    pub(super) fn put_interval(&mut self, filed: Filed, heading: &Heading, set: &IntervalSet) {
        let of_class = set.class.as_ref().map(|class| ("class", class.to_string()));
        let of_unit = set.unit.as_ref().map(|unit| ("unit", unit.to_string()));
        for (what, name) in of_class.into_iter().chain(of_unit) {
            self.rows.intervals.add(&tables::IntervalRow {
                what,
                name,
                seq: filed.seq,
                by: author(heading),
                at: filed.recorded_at,
                days: set.days,
                reason: set.reason.clone(),
            });
        }
    }

    pub(super) fn put_shop_table(&mut self, filed: Filed, heading: &Heading, kept: &ShopTable) {
        self.rows.shop_tables.add(&tables::ShopTableRow {
            name: kept.name.clone(),
            seq: filed.seq,
            by: author(heading),
            at: filed.recorded_at,
            data: json(&kept.table),
        });
    }
}

/// When a page was recorded, read off the page itself.
pub async fn recorded_at(db: &mut SqliteConnection, seq: i64) -> Result<Option<Instant>, sqlx::Error> {
    let sql = "SELECT blob ->> '$.recorded_at' FROM page WHERE seq = ?";
    let text: Option<String> = sqlx::query_scalar(sql).bind(seq).fetch_optional(db).await?.flatten();
    Ok(text.and_then(|text| Instant::parse(&text)))
}

/// Figures to twelve places. A longer one may come back from a page's text with another last digit (serde_json reads
/// fast, not to the last place), and what is kept here would differ from what a rebuild makes of the same page.
fn shortened(taken: MeasurementTaken) -> MeasurementTaken {
    let read = |mut value: serde_json::Value| {
        shorten(&mut value);
        serde_json::from_value(value).ok()
    };
    serde_json::to_value(&taken).ok().and_then(read).unwrap_or(taken)
}

fn shorten(value: &mut serde_json::Value) {
    use serde_json::Value;
    match value {
        Value::Number(n) if n.is_f64() => {
            let short = n.as_f64().and_then(|n| format!("{n:.11e}").parse().ok());
            if let Some(short) = short.and_then(serde_json::Number::from_f64) {
                *n = short;
            }
        }
        Value::Array(all) => all.iter_mut().for_each(shorten),
        Value::Object(fields) => fields.values_mut().for_each(shorten),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::shop::measurements::{
        Temperature,
        battery::{Battery, GravityRule, LowCell},
    };

    fn battery(gravities: Vec<f64>, degrees: f64) -> MeasurementTaken {
        let measured = Measured::Battery(Battery {
            name: "B17".into(),
            cells: None,
            gravities,
            temperature: Some(Temperature::celsius(degrees)),
            rule: GravityRule::PerC,
            full_gravity: None,
            low_cell: LowCell::Points40,
            rested_v: Some(degrees / 3.0),
            charging_v: vec![],
            level: None,
        });
        let judged = measured.judge();
        MeasurementTaken {
            id: Uuid::nil(),
            unit: "QHB 412".into(),
            repair: None,
            at: Instant(0),
            done_by: None,
            measured,
            judged,
            confirmed: vec![],
        }
    }

    /// Class figures of the demo have this one; read without care it is 50.675, and a rebuilt book is called changed.
    #[test]
    fn a_figure_comes_back_to_its_last_bit() {
        let read: f64 = serde_json::from_str("50.675000000000004").unwrap();
        assert_eq!(serde_json::to_string(&read).unwrap(), "50.675000000000004");
    }

    proptest! {
        #[test]
        fn a_rebuild_reads_the_very_figures(gravities in prop::collection::vec(1.0..1.4f64, 1..40), degrees in -40.0..60.0f64) {
            let kept = shortened(battery(gravities, degrees));
            let page = serde_json::to_string(&kept).unwrap();
            let read: MeasurementTaken = serde_json::from_str(&page).unwrap();
            prop_assert_eq!(json(&read), json(&kept));
        }
    }
}
