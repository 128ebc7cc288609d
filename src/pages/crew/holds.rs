//! What the book holds against leading, loading and moving a unit. Never 'safe', never 'fit': it says what is
//! written, how old that is, and who decides.
use super::{picture::Picture, unit_of::UnitHere};
use crate::{
    base::{Instant, Zone, text},
    pages::drawn::{facts::restrictions, state::face_of},
    reports::store::ReportRow,
    roster::RightPosition,
    rules::{Finding, Rule},
    shop::store::{ReleaseRow, Standing},
};

#[derive(Clone, Debug, Default)]
pub struct Held {
    pub lines: Vec<String>,
    pub sentence: String,
}

pub fn held(
    here: &UnitHere,
    picture: &Picture,
    findings: &[Finding],
    last: Option<&ReportRow>,
    standing: &Standing,
) -> Held {
    let zone = &here.world.railway.zone;
    let told = devices(here, picture).into_iter().chain(reported(findings));
    let lines: Vec<String> = by_the_shop(standing, zone).chain(told).collect();
    let nothing =
        if lines.is_empty() { "Nothing in the book against leading, loading or moving it. " } else { "" };
    let age = match last {
        Some(row) => format!("Last report {} ago.", text::span(here.now.since(Instant(row.recorded_at)))),
        None => "No report about this unit is in the book.".to_owned(),
    };
    let sentence = format!("{nothing}{age} The inspection record on board and local rules decide.");
    Held { lines, sentence }
}

/// A hold, and what the last release left standing: its restrictions stay until one without them.
fn by_the_shop(standing: &Standing, zone: &Zone) -> impl Iterator<Item = String> {
    let held = standing.held_since.map(|at| {
        format!("Held by the shop since {}: ask the shop before it leads, loads or moves", zone.in_words(at))
    });
    let released = standing.released.as_ref();
    let at = |row: &ReleaseRow| zone.in_words(Instant(row.at));
    let dead = released.filter(|row| row.is_dead() && standing.held_since.is_some());
    let dead = dead.map(|row| format!("Released dead for repair {}: it goes under no power", at(row)));
    let restricted = released.and_then(|row| {
        let words = text::own_words(row.restricts()?.trim_end_matches('.')).into_owned();
        Some(format!("Restricted by the shop since {}, until the shop lifts it: {words}", at(row)))
    });
    [held, dead, restricted].into_iter().flatten()
}

fn devices(here: &UnitHere, picture: &Picture) -> Vec<String> {
    let amiss = here.schedule().into_iter().flat_map(|schedule| picture.amiss(schedule));
    // Where off is right for a unit that leads, being off is nothing against it.
    let against = amiss
        .filter(|(device, ..)| !matches!(device.normal_lead, Some(RightPosition::Off | RightPosition::Any)));
    // The schedule says what a unit may not do with a device off. One that is on, sealed or not, holds nothing.
    let lines = against.filter(|(_, _, state)| !state.carries()).filter_map(|(device, known, _)| {
        let word = face_of(device, Some(known.state)).word;
        let says = match restrictions(&device.restricts_off) {
            none if none == "is not restricted" => return None,
            stated if stated.is_empty() => {
                "the schedule does not say what the unit may not do. Ask".to_owned()
            }
            stated => format!("the unit {stated}"),
        };
        Some(format!("{} {word}: {says}", device.tag))
    });
    lines.collect()
}

/// Open defects and notices, in the words of the finding; devices are told above.
fn reported(findings: &[Finding]) -> impl Iterator<Item = String> {
    findings
        .iter()
        .filter(|f| f.rule == Rule::Reported && f.device.is_none())
        .map(|f| f.sentence.trim_end_matches('.').to_owned())
}
