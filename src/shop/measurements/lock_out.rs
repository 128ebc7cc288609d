//! A lock or tag: who applied it, who removed it. Somebody else may remove it under two conditions; without an answer
//! to both nothing is recorded, and an honest 'no' is recorded and fails.
use serde::{Deserialize, Serialize};

use super::{Judged, Part, Verdict, Wrong, source};
use crate::base::words::words;

words! { pub enum Step { Applied = "applied", Removed = "removed", } }
words! { pub enum What { LockAndTag = "lock_and_tag", Lock = "lock", Tag = "tag", } }

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LockOut {
    /// Its number or mark: by it an applied lock and its removal are one.
    pub lock: String,
    pub step: Step,
    pub what: Option<What>,
    /// What it holds open.
    pub place: Option<String>,
    pub applied_by: String,
    pub removed_by: Option<String>,
    /// When somebody else removes it.
    pub absence_ensured: Option<bool>,
    pub told_before_resuming: Option<bool>,
}

impl LockOut {
    pub fn judge(&self) -> Judged {
        let about = "lock-out";
        let part = match self.step {
            Step::Applied => {
                Part::told(about, format!("Applied by {}.", self.applied_by)).by([source::not_locked()])
            }
            Step::Removed => self.removal(about),
        };
        Judged::of(vec![part])
    }

    /// Removed by somebody who did not apply it.
    pub fn by_another(&self) -> bool {
        let remover = self.removed_by.as_deref().unwrap_or_default();
        self.step == Step::Removed && !remover.trim().eq_ignore_ascii_case(self.applied_by.trim())
    }

    fn removal(&self, about: &str) -> Part {
        let remover = self.removed_by.as_deref().unwrap_or("not stated");
        let (verdict, says) = if !self.by_another() {
            (Verdict::Pass, format!("Removed by {remover}, who applied it."))
        } else if self.absence_ensured == Some(true) && self.told_before_resuming == Some(true) {
            (
                Verdict::Pass,
                format!(
                    "Removed by {remover}, not by {}, who was made sure to be away and told before work went on.",
                    self.applied_by
                ),
            )
        } else {
            (
                Verdict::Fail,
                format!(
                    "Removed by {remover}, not by {}, without both conditions: made sure to be away, and told before work went on.",
                    self.applied_by
                ),
            )
        };
        Part::judged(about, verdict, says).by([source::lock_removed()])
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let mut out = Vec::new();
        if self.step == Step::Removed && self.removed_by.is_none() {
            out.push(Wrong::at("removed_by", "Say who removed it."));
        }
        if self.by_another() && self.removed_by.is_some() {
            let ask = "Somebody else than the one who applied it: answer this, or it is not recorded.";
            if self.absence_ensured.is_none() {
                out.push(Wrong::at("absence_ensured", ask));
            }
            if self.told_before_resuming.is_none() {
                out.push(Wrong::at("told_before_resuming", ask));
            }
        }
        out
    }
}
