//! The bypass register: every opening of a ground-relay cutout, with its reviews.
pub mod store;

use crate::{
    base::{EntryId, Instant, SignIn, words::words},
    rules::Bypass,
};

words! {
    /// Where one opening stands.
    pub enum Standing {
        Open = "open",
        Closed = "closed",
        Reviewed = "reviewed",
        ChangedSinceReviewed = "changed_since_reviewed",
        Withdrawn = "withdrawn",
    }
}

/// A supervisor's signed judgement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptReview {
    pub seq: u64,
    pub bypass: EntryId,
    pub by: SignIn,
    pub at: Instant,
    pub last_seq: u64,
    pub judgement: String,
    pub words: String,
}

/// One opening and the reviews of any entry that tells of it, oldest first.
#[derive(Clone, Debug)]
pub struct Line {
    pub bypass: Bypass,
    pub reviews: Vec<KeptReview>,
}

impl Line {
    /// The review that holds: the last one, if nothing changed since.
    pub fn review(&self) -> Option<&KeptReview> {
        self.reviews.last().filter(|review| review.last_seq >= self.bypass.last_seq)
    }

    pub fn standing(&self, then: Instant) -> Standing {
        let open = self.bypass.closed_at.is_none_or(|closed| then < closed);
        if self.review().is_some() && !open {
            Standing::Reviewed
        } else if open && !self.bypass.withdrawn {
            Standing::Open
        } else if !self.reviews.is_empty() {
            Standing::ChangedSinceReviewed
        } else if self.bypass.withdrawn {
            Standing::Withdrawn
        } else {
            Standing::Closed
        }
    }

    /// How long it was open by then, in hours; counted from when it was found, where its opening is not known.
    pub fn open_hours(&self, then: Instant) -> f64 {
        self.bypass
            .closed_at
            .map_or(then, |closed| closed.min(then))
            .hours_since(self.bypass.begins())
            .max(0.0)
    }
}
