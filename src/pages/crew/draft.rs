//! A report that is not signed yet: what was written down on one unit, kept on the server so that a closed
//! browser loses nothing. One to a person and unit.
use serde::{Deserialize, Serialize};
use uuid::{NoContext, Timestamp, Uuid};

use super::{answers::About, store, typed::Typed};
use crate::{
    base::{EntryId, Instant, ReportId, SignIn, UnitName, instant::SECOND},
    reports::kinds::Kind,
    web::{App, Oops},
};

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Draft {
    /// The report's own fields, as typed.
    pub slip: Typed,
    pub entries: Vec<DraftEntry>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DraftEntry {
    pub id: EntryId,
    pub kind: Kind,
    pub about: About,
    pub typed: Typed,
    /// Sent at once, in a report of its own: it is listed, and not filed again.
    #[serde(default)]
    pub sent: Option<ReportId>,
}

/// A draft as it lies in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// The id its report will have.
    pub id: ReportId,
    pub unit: UnitName,
    pub draft: Draft,
    /// Counts changes, so that a page from before one can be told; 0 was never saved.
    pub version: i64,
    pub saved_at: Instant,
}

impl Kept {
    pub fn new(id: ReportId, unit: UnitName, now: Instant) -> Self {
        Self { id, unit, draft: Draft::default(), version: 0, saved_at: now }
    }
}

impl Draft {
    /// Asked when one entry is sent at once, and again at the end.
    pub const OF_THE_RUN: [&str; 2] = ["occasion", "run.started"];

    /// Adds an entry, or puts a changed one in the place of the old: however often a form arrives, its entry
    /// is there once. One that was sent stays as it was sent.
    pub fn put(&mut self, entry: DraftEntry) {
        match self.entries.iter_mut().find(|e| e.id == entry.id) {
            Some(old) if old.sent.is_none() => *old = entry,
            Some(_) => {}
            None => self.entries.push(entry),
        }
    }

    pub fn take_out(&mut self, id: EntryId) {
        self.entries.retain(|e| e.id != id || e.sent.is_some());
    }

    /// Marks one as filed in a report of its own, and keeps what was typed of the run for the final one.
    pub fn was_sent(&mut self, id: EntryId, report: ReportId, slip: &Typed) {
        for entry in self.entries.iter_mut().filter(|e| e.id == id) {
            entry.sent = Some(report);
        }
        for name in Self::OF_THE_RUN {
            self.slip.set(name, slip.raw(name));
        }
    }

    pub fn entry(&self, id: EntryId) -> Option<&DraftEntry> {
        self.entries.iter().find(|e| e.id == id)
    }

    /// What the final report will hold.
    pub fn unsent(&self) -> impl Iterator<Item = &DraftEntry> {
        self.entries.iter().filter(|e| e.sent.is_none())
    }
}

/// What came signed from a tablet needs no signature here any more; entries that were not in it stay, under a new id.
pub async fn drop_filed(
    app: &App,
    who: &SignIn,
    unit: UnitName,
    report: ReportId,
    entries: Vec<EntryId>,
) -> Result<(), Oops> {
    let (who, now) = (who.clone(), app.now());
    app.desk()
        .aside(move |db| {
            Box::pin(async move { store::drop_filed(db, &who, &unit, report, &entries, now).await })
        })
        .await?;
    Ok(())
}

/// A fresh UUID of version 7, so that ids sort as they were made.
pub fn fresh_id(now: Instant) -> Uuid {
    let seconds = u64::try_from(now.0.div_euclid(SECOND)).unwrap_or(0);
    let nanos = u32::try_from(now.0.rem_euclid(SECOND) * 1_000).unwrap_or(0);
    Uuid::new_v7(Timestamp::from_unix(NoContext, seconds, nanos))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_that_arrives_twice_adds_one_entry_and_a_sent_one_stays() {
        let id = EntryId(fresh_id(Instant(1_000_000)));
        let entry = |note: &str| DraftEntry {
            id,
            kind: Kind::Defect,
            about: About::Nothing,
            typed: Typed::default().with("note", note),
            sent: None,
        };
        let mut draft = Draft::default();
        draft.put(entry("one"));
        draft.put(entry("two"));
        assert_eq!((draft.entries.len(), draft.entries[0].typed.raw("note")), (1, "two"));
        draft.entries[0].sent = Some(ReportId(fresh_id(Instant(2_000_000))));
        draft.put(entry("three"));
        draft.take_out(id);
        assert_eq!((draft.entries[0].typed.raw("note"), draft.unsent().count()), ("two", 0));
        let json = serde_json::to_string(&draft).unwrap();
        assert_eq!(serde_json::from_str::<Draft>(&json).unwrap(), draft);
    }
}
