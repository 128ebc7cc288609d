//! Whether a report that was read can be taken: against the roster, the people, the run and the time.
//! Refused is only what cannot be. What is odd is asked about once (a program is warned), and what was badly done is
//! kept: this book is where bad acts are written down.
mod again;
mod devices;
mod limits;
mod persons;
mod times;

use std::collections::HashSet;

pub use self::again::{SAME_TIME, same_again, seal_near, seals_near};
use super::{
    Amendment, Entry, Report, Run, What,
    kinds::Bypass,
    reading::fields::{Path, refuse},
    vocabulary::{Purpose, Throttle, YesNo},
};
use crate::{
    base::{Code, Instant, Problems, Stamp, UnitName, Zone},
    people::People,
    roster::Roster,
};

/// Looks at a whole report. `live`: typed just now on a page, not sent later by a tablet, a program or a file;
/// only then can a time in the future be known to be wrong.
pub fn check(
    report: &Report,
    roster: &Roster,
    people: &People,
    zone: &Zone,
    now: Instant,
    live: bool,
) -> Problems {
    let around = Around {
        unit: &report.unit,
        run: report.run.as_ref(),
        signed_at: Some(report.signed_at),
        roster,
        people,
        zone,
        now,
        live,
    };
    let mut problems = Problems::default();
    let p = &mut problems;
    around.of_unit(report, p);
    persons::author(&report.author, &around, p);
    times::of_report(report, &around, p);
    doubled_ids(&report.entries, p);
    let list = Path::Field(&Path::Whole, "entries");
    for (place, entry) in report.entries.iter().enumerate() {
        if p.is_full() {
            break;
        }
        around.entry(entry, &Path::Item(&list, place), p);
    }
    problems
}

/// Looks at an amendment of an entry about `unit`, in a report with this `run`.
pub fn check_amendment(
    amendment: &Amendment,
    of: (&UnitName, Option<&Run>),
    roster: &Roster,
    people: &People,
    zone: &Zone,
    now: Instant,
    live: bool,
) -> Problems {
    let around = Around { unit: of.0, run: of.1, signed_at: None, roster, people, zone, now, live };
    let mut problems = Problems::default();
    persons::author(&amendment.author, &around, &mut problems);
    times::not_future(Some(amendment.at), "at", &Path::Whole, &around, &mut problems);
    if let Some(entry) = &amendment.replacement {
        around.entry(entry, &Path::Field(&Path::Whole, "replacement"), &mut problems);
    }
    problems
}

/// What an entry is looked at against.
struct Around<'a> {
    unit: &'a UnitName,
    run: Option<&'a Run>,
    signed_at: Option<Stamp>,
    roster: &'a Roster,
    people: &'a People,
    zone: &'a Zone,
    now: Instant,
    live: bool,
}

impl Around<'_> {
    fn entry(&self, entry: &Entry, at: &Path, problems: &mut Problems) {
        times::of_entry(entry, at, self, problems);
        limits::of_entry(entry, at, problems);
        devices::of_entry(entry, at, self, problems);
        persons::of_entry(entry, at, self, problems);
        if let What::Bypass(bypass) = &entry.what {
            engine_running(bypass, entry.throttle, at, problems);
            closed_when(bypass, at, problems);
        }
    }

    /// A crew is never turned away because an office list is behind.
    fn of_unit(&self, report: &Report, problems: &mut Problems) {
        let unit = self.unit;
        let Some(card) = self.roster.unit(unit) else {
            let says = format!(
                "{unit} is not on the roster. The report is kept and marked. Check the number, or tell the administrator."
            );
            return problems.ask("unit", Code::Unusual, says);
        };
        let day = self.zone.day_of(report.signed_at.at);
        if let Some(retired) = card.retired.filter(|retired| *retired <= day) {
            let since = retired.in_words();
            problems.ask(
                "unit",
                Code::Unusual,
                format!("{unit} is off the roster since {since}. Is it the right unit?"),
            );
        } else if day < card.in_service {
            let from = card.in_service.in_words();
            problems.ask(
                "unit",
                Code::Unusual,
                format!("{unit} is in service only from {from}. Check the dates."),
            );
        }
    }
}

fn ask(problems: &mut Problems, at: &Path, field: &str, code: Code, says: impl Into<String>) {
    problems.ask(Path::Field(at, field).to_string(), code, says);
}

fn doubled_ids(entries: &[Entry], problems: &mut Problems) {
    let mut seen = HashSet::with_capacity(entries.len());
    let list = Path::Field(&Path::Whole, "entries");
    for (place, entry) in entries.iter().enumerate() {
        if !seen.insert(entry.id) {
            let entry = Path::Item(&list, place);
            let says = "Another entry of this report has the same id. Give each entry an id of its own.";
            refuse::<()>(problems, &Path::Field(&entry, "id"), Code::IdInUse, says);
        }
    }
}

/// Insulation is tested with the engine shut down. If it was not so it is kept, and asked about once.
fn engine_running(bypass: &Bypass, throttle: Option<Throttle>, at: &Path, problems: &mut Problems) {
    let throttle_says = throttle.is_some_and(|t| !matches!(t, Throttle::EngineOff | Throttle::NotKnown));
    let running = match bypass.engine_running {
        Some(YesNo::Yes) => true,
        Some(YesNo::No) => false,
        Some(YesNo::NotKnown) | None => throttle_says,
    };
    if running && bypass.purpose == Some(Purpose::InsulationTest) {
        let says = "An insulation test is made with the engine shut down. Was it running? If so, leave this as it is.";
        ask(problems, at, "engine_running", Code::EngineRunning, says);
    }
}

/// Without a time of closing the book must take the cutout for open.
fn closed_when(bypass: &Bypass, at: &Path, problems: &mut Problems) {
    let told = bypass.closed_by.is_some() || bypass.seal_applied.is_some();
    if told && bypass.closed_at.is_none() {
        let says =
            "It was closed or sealed, but not said when. Give the time, or the cutout counts as still open.";
        ask(problems, at, "closed_at", Code::Missing, says);
    }
}

#[cfg(test)]
mod tests;
