//! Inspections as far as the book tracks them: what was done, when the next is due, what happened since. The forms that
//! the law wants on paper stay on paper.
pub mod store;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::base::{Day, Instant, SignIn, UnitName, instant::as_text, words::words};

words! {
    pub enum InspectionKind { Periodic = "periodic", Annual = "annual", MechanicalDaily = "mechanical_daily", Daily = "daily", }
}

impl InspectionKind {
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Periodic => "periodic inspection",
            Self::Annual => "annual tests",
            Self::MechanicalDaily => "daily inspection by a mechanical inspector",
            Self::Daily => "daily inspection",
        }
    }
}

/// Days to the next periodic inspection unless class or unit are set to 184.
pub const PERIODIC_DAYS: i32 = 92;
pub const PERIODIC_DAYS_MONITORED: i32 = 184;
const ANNUAL_DAYS: i32 = 368;
const MECHANICAL_DAYS: i32 = 33;
/// So many days before the last lawful day the shop is told. Common practice, no source.
pub const TOLD_BEFORE_DAYS: i32 = 14;
/// How long reports of daily inspections are kept; the book never drops any.
pub const KEPT_DAYS: i32 = 92;
/// An inspector's request for paper is answered within so many days.
pub const ANSWERED_DAYS: i32 = 15;

/// What every page that touches these says. 49 CFR 229.20(a).
pub const PAPER: &str = "The daily inspection record on board, the cab copy of the periodic form and the tag of a non-complying unit stay on paper: 49 CFR 229.20(a). The paper is what counts; this book does not replace it.";
pub const NO_CREDIT: &str = "Days out of use are not credited: the text of 49 CFR 229.33 is not confirmed here, so due days are the strict ones.";

/// The last lawful day of the next one; daily inspections go by the calendar day and are not counted from the last.
pub fn last_lawful_day(kind: InspectionKind, done: Day, periodic_days: i32) -> Option<Day> {
    let days = match kind {
        InspectionKind::Periodic => periodic_days,
        InspectionKind::Annual => ANNUAL_DAYS,
        // Asked only of units with the longer interval.
        InspectionKind::MechanicalDaily if periodic_days == PERIODIC_DAYS_MONITORED => MECHANICAL_DAYS,
        InspectionKind::MechanicalDaily | InspectionKind::Daily => return None,
    };
    Some(done.plus(days))
}

words! {
    pub enum Standing { Overdue = "overdue", Soon = "soon", Later = "later", NotInBook = "not_in_book", }
}

/// One tracked inspection of one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    pub unit: UnitName,
    pub kind: InspectionKind,
    pub done: Option<Day>,
    pub last_day: Option<Day>,
    pub standing: Standing,
}

impl Due {
    pub fn of(
        unit: UnitName,
        kind: InspectionKind,
        done: Option<Day>,
        periodic_days: i32,
        today: Day,
    ) -> Option<Self> {
        let last_day = done.and_then(|done| last_lawful_day(kind, done, periodic_days));
        let standing = match last_day {
            None if kind == InspectionKind::Periodic => Standing::NotInBook,
            None => return None,
            Some(last) if today > last => Standing::Overdue,
            Some(last) if last.0 - today.0 <= TOLD_BEFORE_DAYS => Standing::Soon,
            Some(_) => Standing::Later,
        };
        Some(Self { unit, kind, done, last_day, standing })
    }

    /// From the last one to the last lawful day of the next.
    pub fn days(&self) -> Option<i32> {
        self.done.zip(self.last_day).map(|(done, last)| last.0 - done.0)
    }

    /// Whether the shop is told of it without asking.
    pub fn is_notice(&self) -> bool {
        matches!(self.standing, Standing::Overdue | Standing::Soon)
    }
}

/// Days in use without a daily inspection written down. Two on neighbouring days satisfy both, however far apart.
pub fn days_missed(in_use: &BTreeSet<Day>, inspected: &BTreeSet<Day>) -> Vec<Day> {
    in_use.difference(inspected).copied().collect()
}

/// The day by which paper copies are due to whoever asked on this one.
pub fn answer_by(asked: Day) -> Day {
    asked.plus(ANSWERED_DAYS)
}

/// Whether something belongs on the list of defects and repairs since an inspection; all does without one.
pub fn is_since(inspection: Option<Instant>, happened: Instant) -> bool {
    inspection.is_none_or(|inspection| happened > inspection)
}

/// An inspection, written down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InspectionDone {
    pub id: uuid::Uuid,
    pub unit: UnitName,
    pub kind: InspectionKind,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub place: String,
    /// Non-complying conditions; `none` is an answer, blank is not.
    pub conditions: String,
    pub repairs: Option<String>,
    pub repaired_by: Option<SignIn>,
    /// The supervisor who certifies a periodic form on paper.
    pub certified_by: Option<String>,
}

/// What an inspection report must have, each by its name: carrier, initials and number, place, date and time,
/// conditions, signature.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    pub carrier: &'a str,
    pub unit: &'a str,
    pub place: &'a str,
    pub at: Option<Instant>,
    pub conditions: &'a str,
    pub signature: Option<&'a str>,
}

impl Wanted<'_> {
    /// The fields that are missing, by their names in the form.
    pub fn missing(&self) -> Vec<&'static str> {
        let initials = self.unit.chars().any(char::is_alphabetic);
        let number = self.unit.chars().any(|c| c.is_ascii_digit());
        let blank = |text: &str| text.trim().is_empty();
        [
            ("carrier", blank(self.carrier)),
            ("unit", !initials || !number),
            ("place", blank(self.place)),
            ("at", self.at.is_none()),
            ("conditions", blank(self.conditions)),
            ("signature", self.signature.is_none_or(blank)),
        ]
        .into_iter()
        .filter_map(|(name, missing)| missing.then_some(name))
        .collect()
    }
}

/// Repairs on an inspection report are signed by whoever made them: why these are not.
pub fn repair_unsigned(
    repairs: Option<&str>,
    repaired_by: Option<&SignIn>,
    signer: &SignIn,
) -> Option<String> {
    repairs.filter(|repairs| !repairs.trim().is_empty())?;
    match repaired_by {
        None => Some("Say who made the repairs: that person signs for them.".to_owned()),
        Some(by) if by != signer => Some(format!(
            "{by} made the repairs and has to sign for them: let {by} write them down as a repair under their own name, and leave them out here."
        )),
        Some(_) => None,
    }
}
