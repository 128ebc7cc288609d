//! What the entries themselves tell of one opening, beside what the register reckons: how it was made safe, how it
//! was ordered, and the reports they stand in.
use crate::{
    base::{Instant, ReportId, Zone},
    pages::drawn::told::said,
    reports::{What, kinds::Bypass, store::EntryRow, stored},
    web::paths,
};

/// Each as told, ready to print; `not stated` where nobody said.
pub struct ToldOf {
    pub protection: String,
    pub engine_running: String,
    pub power_taken: String,
    pub authorised_how: String,
    pub reference: String,
    pub reports: Vec<ReportLink>,
}

pub struct ReportLink {
    pub path: String,
    pub says: String,
}

impl ToldOf {
    /// `rows`: the entries the opening rests on, the latest first.
    pub fn of(rows: &[EntryRow], zone: &Zone) -> Self {
        let bypass = |of: fn(&Bypass) -> Option<String>| {
            across(rows, |what| match what {
                What::Bypass(bypass) => of(bypass),
                _ => None,
            })
        };
        Self {
            protection: bypass(|b| b.protection.map(|word| said(word.as_str()))),
            engine_running: bypass(|b| b.engine_running.map(|word| said(word.as_str()))),
            power_taken: bypass(|b| b.power_taken.map(|word| said(word.as_str()))),
            authorised_how: across(rows, |what| match what {
                What::Bypass(bypass) => how(bypass, zone),
                _ => None,
            }),
            reference: across(rows, |what| match what {
                What::Bypass(bypass) => bypass.reference.clone(),
                What::Position(position) => position.reference.clone(),
                _ => None,
            }),
            reports: reports(rows, zone),
        }
    }
}

fn how(bypass: &Bypass, zone: &Zone) -> Option<String> {
    let how = bypass.authorised_how.map(|word| said(word.as_str()));
    let at = bypass.authorised_at.map(|stamp| zone.in_words(stamp.at));
    let parts: Vec<_> = [how, at].into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// What was told of one thing; where two told differently, both, each with who said so. What was withdrawn by an
/// amendment tells nothing.
fn across(rows: &[EntryRow], of: impl Fn(&What) -> Option<String>) -> String {
    let mut told: Vec<(String, &str)> = Vec::new();
    for row in rows.iter().rev().filter(|row| !row.withdrawn) {
        let Ok(entry) = stored::entry(&row.detail) else { continue };
        if let Some(says) = of(&entry.what)
            && !told.iter().any(|(known, _)| *known == says)
        {
            told.push((says, &row.author));
        }
    }
    match told.as_slice() {
        [] => "not stated".to_owned(),
        [(says, _)] => says.clone(),
        several => {
            let each = several.iter().map(|(says, author)| format!("{says} ({author})"));
            each.collect::<Vec<_>>().join("; ")
        }
    }
}

fn reports(rows: &[EntryRow], zone: &Zone) -> Vec<ReportLink> {
    let mut seen: Vec<&str> = Vec::new();
    let mut links = Vec::new();
    for row in rows {
        let Ok(id) = row.report.parse::<ReportId>() else { continue };
        if !seen.contains(&row.report.as_str()) {
            seen.push(&row.report);
            let recorded = zone.in_words(Instant(row.recorded_at));
            let says = format!("Report of {}, in the book since {recorded}", row.author);
            links.push(ReportLink { path: paths::Receipt(id).to_string(), says });
        }
    }
    links
}
