//! The seals of a unit's cutouts, a chain for each: what was applied, found, broken, missing, and where it does not follow.
use std::ops::Range;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{
    register_sheet::Query,
    seal_rows::{self, SealRow},
};
use crate::{
    base::{Instant, Tag, UnitName, Zone},
    desk::parts,
    pages::drawn::{
        pager::{Pager, page_of},
        told::named,
    },
    roster::Schedule,
    rules::{Dossier, Fact},
    web::{
        Answer, App, Asked, Frame, Oops, page, paths,
        sheet::{Format, Sheet},
    },
};

#[derive(Template)]
#[template(path = "supervisor/seals.html")]
struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    now: String,
    cutouts: Vec<Cutout>,
    withdrawn: bool,
    pager: Pager,
    print: String,
    csv: String,
    xlsx: String,
}

struct Cutout {
    device: String,
    says: String,
    rows: Vec<SealRow>,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(unit): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let not_there = || Oops::NotFound("A unit is its mark and road number, as in QHB 412.".into());
    let unit = UnitName::tidy(&unit).ok_or_else(not_there)?;
    let mut db = app.desk().read().await?;
    let dossier = parts::ground_protection_of(&mut db, &unit).await?;
    drop(db);
    let chains = chains(&dossier, zone);
    if let Some(format) = Format::asked(&query.format)? {
        return sheet(&unit, &chains).answer(format);
    }
    let here = paths::BypassSeals(unit.clone());
    let link = |name, value: &str| here.with(&[(name, value)]);
    let longest = chains.iter().map(|(_, rows)| rows.len()).max().unwrap_or(0);
    let (shown, pager) = match query.print.as_str() {
        "yes" => (0..longest, Pager::default()),
        _ => Pager::of(longest, page_of(&query.page), |n| link("page", &n.to_string())),
    };
    let schedule = world.roster.schedule_at(&unit, now);
    let view = View {
        frame,
        unit: unit.to_string(),
        unit_path: paths::Handover(unit.clone()).to_string(),
        now: zone.in_words(now),
        cutouts: chains.into_iter().map(|chain| cutout(chain, schedule, &shown)).collect(),
        withdrawn: dossier.facts().iter().any(|fact| fact.withdrawn.is_some()),
        pager,
        print: link("print", "yes"),
        csv: link("format", "csv"),
        xlsx: link("format", "xlsx"),
    };
    page(StatusCode::OK, &view)
}

type Chain = (Tag, Vec<SealRow>);

/// A chain for each device of which a seal is told.
fn chains(dossier: &Dossier, zone: &Zone) -> Vec<Chain> {
    let standing: Vec<&Fact> = dossier.facts().iter().filter(|fact| fact.withdrawn.is_none()).collect();
    let of = |tag: Tag| {
        let rows = seal_rows::rows(&standing, &tag, zone);
        (tag, rows)
    };
    tags(&standing).into_iter().map(of).filter(|(_, rows)| !rows.is_empty()).collect()
}

/// The latest first, and of these the ones to be shown.
fn cutout((tag, mut rows): Chain, schedule: Option<&Schedule>, shown: &Range<usize>) -> Cutout {
    let says = says(&rows);
    rows.reverse();
    let rows = rows.into_iter().skip(shown.start).take(shown.len()).collect();
    Cutout { device: named(&tag, schedule), says, rows }
}

/// Whatever has a seal in something told of it.
fn tags(facts: &[&Fact]) -> Vec<Tag> {
    use crate::rules::Told;
    let mut tags: Vec<Tag> = facts
        .iter()
        .filter_map(|fact| match &fact.told {
            Told::Bypass(told) => Some(told.device.clone()),
            Told::Position(told) => told.seal.as_ref().map(|_| told.device.clone()),
            _ => None,
        })
        .collect();
    tags.sort();
    tags.dedup();
    tags
}

fn says(rows: &[SealRow]) -> String {
    let broken = rows.iter().filter(|row| row.broken).count();
    let places = match broken {
        0 => "Nowhere does it fail to follow.".to_owned(),
        1 => "In 1 place it does not follow.".to_owned(),
        n => format!("In {n} places it does not follow."),
    };
    let last = rows.last().map_or_else(String::new, |row| format!(" Last: {}, {}.", row.seal, row.says));
    format!("{places}{last}")
}

fn sheet(unit: &UnitName, chains: &[Chain]) -> Sheet {
    let columns = &[
        "unit",
        "device",
        "at",
        "last_at",
        "looks",
        "act",
        "seal",
        "last_on_record",
        "follows",
        "says",
        "by",
        "entry",
    ];
    let mut sheet = Sheet::of(&format!("seals-{unit}"), columns);
    for (tag, rows) in chains {
        for row in rows {
            let z = |at: Instant| at.to_z();
            sheet.rows.push(vec![
                unit.to_string().into(),
                tag.to_string().into(),
                z(row.at).into(),
                z(row.to).into(),
                i64::try_from(row.looks).unwrap_or(i64::MAX).into(),
                row.act.as_str().into(),
                row.seal.clone().into(),
                row.before.clone().into(),
                if row.broken { "no" } else { "yes" }.into(),
                row.says.clone().into(),
                row.by.clone().into(),
                row.entry.clone().into(),
            ]);
        }
    }
    sheet
}
