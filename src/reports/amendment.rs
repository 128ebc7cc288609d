//! A later correction of one entry, stored apart from it. The last recorded wins; all stay readable.
use serde::Serialize;

use super::Entry;
use crate::base::{AmendmentId, EntryId, ReportId, SignIn, Stamp};

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Amendment {
    pub id: AmendmentId,
    pub report: ReportId,
    pub entry: EntryId,
    pub author: SignIn,
    pub at: Stamp,
    pub reason: String,
    /// The whole entry as it should have been, under the same id. `None`, written out as null: the entry is withdrawn.
    pub replacement: Option<Entry>,
}
