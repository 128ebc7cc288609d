//! What is really so, for whoever wants to know how well the book's findings do.
use serde::Serialize;
use serde_json::{Value, json};

use super::{
    filing::{Arrives, Filed, arrived, moment},
    fleet::{Fleet, Pair, class_name, plate, unit_name},
};
use crate::base::{Instant, Tag, UnitName, Zone};

/// One device of one unit. Rates are occurrences per service day.
#[derive(Serialize)]
struct PairTruth {
    unit: UnitName,
    /// As the book counts it: a tag, or `ground_relay`.
    device: Tag,
    class_rate: f64,
    /// Before any jump, without season and rain.
    rate: f64,
    jump: Option<Jumped>,
    /// Occurrences, those of shared causes too.
    happened: usize,
    /// Of which so many are in `reports.jsonl`: the others were never written down, or their report was lost.
    in_reports: u32,
}

#[derive(Serialize)]
struct Jumped {
    at: Instant,
    times: f64,
    cured_at: Option<Instant>,
}

/// The whole truth as one JSON object; moments are RFC 3339 in UTC.
pub fn truth(fleet: &Fleet, filed: &[Filed]) -> Value {
    let start = Zone::utc().start_of(fleet.options.starts);
    json!({
        "options": fleet.options,
        "pairs": pairs(fleet, filed, start),
        "wet_units": units_that(fleet, |unit| unit.wet),
        "weak_batteries": weak(fleet, start),
        "shared_causes": shared(fleet, start),
        "nobody_wrote": silent(fleet, start),
        "reports_lost": filed.iter().filter(|f| f.arrives == Arrives::Never).map(|f| json!({
            "report": f.report.id, "unit": f.report.unit, "signed_at": f.report.signed_at,
        })).collect::<Vec<_>>(),
        "reports_late": filed.iter().filter_map(|f| match f.arrives {
            Arrives::Late(at) => Some(json!({
                "report": f.report.id, "unit": f.report.unit, "signed_at": f.report.signed_at, "came_in": at.to_z(),
            })),
            _ => None,
        }).collect::<Vec<_>>(),
        "times_rounded": filed.iter().flat_map(|f| &f.rounded).map(|(entry, truly)| json!({
            "entry": entry, "truly_at": truly.to_z(),
        })).collect::<Vec<_>>(),
    })
}

fn pairs(fleet: &Fleet, filed: &[Filed], start: Instant) -> Vec<Value> {
    let in_reports = arrived(filed, fleet);
    let mut all: Vec<PairTruth> = fleet
        .pairs
        .iter()
        .zip(in_reports)
        .map(|(pair, in_reports)| PairTruth {
            unit: unit_name(pair.unit),
            device: fleet.tag(pair.device),
            class_rate: pair.class_rate,
            rate: pair.class_rate * pair.own,
            jump: jumped(pair, start),
            happened: pair.happened.len(),
            in_reports,
        })
        .collect();
    let devices = fleet.options.devices as usize;
    for shared in &fleet.shared {
        for (device, _) in &shared.tripped {
            all[shared.unit * devices + device].happened += 1;
        }
    }
    all.into_iter().map(|pair| json!(pair)).collect()
}

fn jumped(pair: &Pair, start: Instant) -> Option<Jumped> {
    pair.jump.map(|jump| Jumped {
        at: moment(start, jump.day),
        times: jump.times,
        cured_at: jump.cured.map(|day| moment(start, day)),
    })
}

fn units_that(fleet: &Fleet, is: impl Fn(&super::fleet::Unit) -> bool) -> Vec<UnitName> {
    fleet.units.iter().enumerate().filter(|(_, unit)| is(unit)).map(|(number, _)| unit_name(number)).collect()
}

fn weak(fleet: &Fleet, start: Instant) -> Vec<Value> {
    let weak = fleet.units.iter().enumerate().filter_map(|(number, unit)| Some((number, unit.weak_from?)));
    weak.map(|(number, from)| json!({"unit": unit_name(number), "from": moment(start, from).to_z()}))
        .collect()
}

fn shared(fleet: &Fleet, start: Instant) -> Vec<Value> {
    let one = |shared: &super::fleet::Shared| {
        let tripped: Vec<Value> = shared
            .tripped
            .iter()
            .map(|(device, day)| json!({"device": plate(*device), "at": moment(start, *day).to_z()}))
            .collect();
        json!({
            "unit": unit_name(shared.unit), "class": class_name(fleet.class_of(shared.unit)),
            "feed": plate(shared.feed), "tripped": tripped,
        })
    };
    fleet.shared.iter().map(one).collect()
}

fn silent(fleet: &Fleet, start: Instant) -> Vec<Value> {
    let spans = fleet
        .units
        .iter()
        .enumerate()
        .flat_map(|(number, unit)| unit.silent.iter().map(move |(from, until)| (number, *from, *until)));
    spans
        .map(|(number, from, until)| {
            json!({
                "unit": unit_name(number), "from": moment(start, from).to_z(), "until": moment(start, until).to_z(),
            })
        })
        .collect()
}
