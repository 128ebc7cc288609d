//! A fuse against the one that belongs there, by the book's own comparison of four figures, and how it was handled.
use serde::{Deserialize, Serialize};

use super::{Judged, Part, Verdict, source};
use crate::{
    base::Tag,
    reports::vocabulary::Handling,
    rules::{
        fact::FuseFact,
        fuse::{FuseMatch, compare_figures},
    },
};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FuseComparison {
    pub device: Option<Tag>,
    /// By the schedule in force, or as typed where that is silent.
    pub belongs: FuseFact,
    pub fitted: FuseFact,
    pub handling: Option<Handling>,
}

impl FuseComparison {
    pub fn judge(&self) -> Judged {
        let about = "fuse";
        let part = match compare_figures(&self.belongs, &self.fitted) {
            FuseMatch::Same => {
                Part::judged(about, Verdict::Pass, "All four figures agree; more volts are no harm.")
            }
            FuseMatch::Wrong(why) => {
                Part::judged(about, Verdict::Fail, format!("Never this one: {}.", why.join(", ")))
            }
            FuseMatch::Caution(why) => Part::judged(
                about,
                Verdict::Pass,
                format!("Taken with a warning, it may open in normal use: {}.", why.join(", ")),
            ),
            FuseMatch::CannotSay(which) => Part::does_not_apply(
                about,
                format!(
                    "Cannot say: {} not known. Four figures decide, and all four are needed.",
                    which.join(", ")
                ),
            ),
        };
        let judged = Judged::of(vec![part.by([source::fuse_four()])]);
        match handled(self.handling) {
            Some(says) => judged.warning(says),
            None => judged,
        }
    }
}

/// The warning where fuse terminals were live and no insulated tool was used.
pub fn handled(handling: Option<Handling>) -> Option<&'static str> {
    (handling == Some(Handling::EnergisedNoTool)).then_some(
        "Changed with its terminals energised and without an insulated fuse tool (29 CFR 1910.335): de-energise, or use the tool.",
    )
}
