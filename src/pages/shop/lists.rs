//! Every list of the shop as a file to take away.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::measure::sheet as measured;
use crate::{
    base::{Instant, Zone, instant::DAY},
    people::Act,
    shop::{Repair, inspections, measurements, store::repairs_since},
    web::{
        Answer, App, Asked, Frame, Me, Oops, page, paths,
        sheet::{Format, Sheet},
    },
};

#[derive(Template)]
#[template(path = "shop/lists.html")]
struct View {
    frame: Frame,
    lists: Vec<List>,
}

struct List {
    name: &'static str,
    says: &'static str,
    csv: String,
    xlsx: String,
}

pub async fn show(frame: Frame, me: Me) -> Answer {
    let api = |path: &str, format: &str| format!("{path}?format={format}");
    let of_api =
        |name, says, path: String| List { name, says, csv: api(&path, "csv"), xlsx: api(&path, "xlsx") };
    let own = |name: &'static str, says| {
        let path = paths::List(name.to_owned());
        List { name, says, csv: path.with(&[("format", "csv")]), xlsx: path.with(&[("format", "xlsx")]) }
    };
    let mut lists = vec![
        of_api("findings", "the lines that are open now", paths::ApiFindings.to_string()),
        of_api("entries", "every entry in the book", paths::ApiEntries.to_string()),
    ];
    if me.may(Act::ReadBypasses) {
        lists.push(of_api(
            "bypasses",
            "openings that are open or not reviewed",
            paths::ApiBypasses.to_string(),
        ));
        let csv_xlsx = |with: &dyn Fn(&str) -> String| (with("csv"), with("xlsx"));
        let (csv, xlsx) = csv_xlsx(&|format| paths::Bypasses.with(&[("format", format)]));
        lists.push(List {
            name: "the register",
            says: "every opening, with what is known of its times",
            csv,
            xlsx,
        });
        let (csv, xlsx) = csv_xlsx(&|format| paths::BypassMonths.with(&[("format", format)]));
        lists.push(List { name: "bypasses by the month", says: "counted", csv, xlsx });
    }
    lists.push(own("repairs", "opened or closed in the last two years, and those still open"));
    lists.push(own("measurements", "of the last two years, each with what it said"));
    lists.push(own("inspections", "done in the last two years"));
    lists.push(List {
        name: "inspections due",
        says: "of every unit in service",
        csv: paths::Inspections.with(&[("format", "csv")]),
        xlsx: paths::Inspections.with(&[("format", "xlsx")]),
    });
    page(StatusCode::OK, &View { frame, lists })
}

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    format: String,
}

const BACK: i64 = 730 * DAY;

pub async fn file(State(app): State<App>, Path(name): Path<String>, Asked(query): Asked<Query>) -> Answer {
    let format = Format::asked(&query.format)?.unwrap_or(Format::Csv);
    let (world, since) = (app.world(), app.now().minus(BACK));
    let mut db = app.desk().read().await?;
    let sheet = match name.as_str() {
        "repairs" => repairs(&repairs_since(&mut db, since).await?),
        "measurements" => {
            let wanted = measurements::store::Wanted { since: Some(since), ..Default::default() };
            measured("measurements", &measurements::store::taken(&mut db, &wanted).await?)
        }
        "inspections" => inspected(&mut db, since, &world.railway.zone).await?,
        _ => return Err(Oops::NotFound("There is no such list: choose one of those there are.".to_owned())),
    };
    drop(db);
    sheet.answer(format)
}

fn repairs(all: &[Repair]) -> Sheet {
    let columns = &[
        "repair",
        "unit",
        "device",
        "opened_at",
        "opened_by",
        "closed_at",
        "closed_by",
        "cause",
        "new_life",
        "words",
        "findings",
    ];
    let mut sheet = Sheet::of("repairs", columns);
    for repair in all {
        sheet.rows.push(vec![
            repair.id.to_string().into(),
            repair.unit.to_string().into(),
            repair.device.as_ref().map(ToString::to_string).into(),
            repair.opened_at.to_z().into(),
            repair.opened_by.to_string().into(),
            repair.closed_at.map(Instant::to_z).into(),
            repair.closed_by.as_ref().map(ToString::to_string).into(),
            repair.cause.clone().into(),
            if repair.new_life { "yes" } else { "no" }.into(),
            repair.words.clone().into(),
            repair.findings.join(" ").into(),
        ]);
    }
    sheet
}

async fn inspected(db: &mut SqliteConnection, since: Instant, zone: &Zone) -> Result<Sheet, sqlx::Error> {
    let columns = &[
        "inspection",
        "page",
        "unit",
        "kind",
        "at",
        "day",
        "by",
        "place",
        "conditions",
        "repairs",
        "repaired_by",
        "certified_by",
    ];
    let mut sheet = Sheet::of("inspections", columns);
    for kept in inspections::store::since(db, since).await? {
        let done = kept.done;
        sheet.rows.push(vec![
            done.id.to_string().into(),
            kept.seq.into(),
            done.unit.to_string().into(),
            done.kind.as_str().into(),
            done.at.to_z().into(),
            zone.day_of(done.at).to_string().into(),
            kept.by.to_string().into(),
            done.place.into(),
            done.conditions.into(),
            done.repairs.into(),
            done.repaired_by.map(|by| by.to_string()).into(),
            done.certified_by.into(),
        ]);
    }
    Ok(sheet)
}
