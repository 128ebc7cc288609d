//! What the entries themselves tell of one opening, beside what the register reckons: how it was made safe, how it
//! was ordered, and the reports they stand in.
use crate::{
    base::{EntryId, Instant, ReportId, Zone},
    desk::world::is_late,
    pages::drawn::told::said,
    reports::{What, kinds::Bypass, store::EntryRow, stored, vocabulary::AtHow},
    web::paths,
};

/// Each as told, ready to print; `not stated` where nobody said.
#[derive(Default)]
pub struct ToldOf {
    /// The entry that tells its beginning.
    pub first: Option<First>,
    pub protection: String,
    pub engine_running: String,
    pub power_taken: String,
    pub authorised_how: String,
    pub reference: String,
    pub reports: Vec<ReportLink>,
}

/// How the beginning was told.
pub struct First {
    at_how: AtHow,
    author: String,
    recorded_at: Instant,
}

impl First {
    fn of(row: &EntryRow) -> Option<Self> {
        let at_how = stored::entry(&row.detail).ok()?.at_how;
        Some(Self { at_how, author: row.author.clone(), recorded_at: Instant(row.recorded_at) })
    }

    /// `, by the clock, told by a.lind, in the book since …`.
    pub fn as_told(&self, at: Instant, zone: &Zone) -> String {
        let how = match self.at_how {
            AtHow::Clock => "by the clock",
            AtHow::About => "about then",
            AtHow::NotKnown => "a time that its writer did not know",
        };
        let late = if is_late(at, self.recorded_at) { ", more than a day later" } else { "" };
        let recorded = zone.in_words(self.recorded_at);
        format!(", {how}, told by {}, in the book since {recorded}{late}", self.author)
    }
}

pub struct ReportLink {
    pub path: String,
    pub says: String,
}

impl ToldOf {
    /// `rows`: the entries the opening rests on, the latest first; `first`: the one that tells its beginning.
    pub fn of(rows: &[EntryRow], first: EntryId, zone: &Zone) -> Self {
        let bypass = |of: fn(&Bypass) -> Option<String>| {
            across(rows, |what| match what {
                What::Bypass(bypass) => of(bypass),
                _ => None,
            })
        };
        let first = first.to_string();
        Self {
            first: rows.iter().find(|row| row.id == first).and_then(First::of),
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
