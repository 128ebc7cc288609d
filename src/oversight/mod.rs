//! The bypass register: every opening of a ground-relay cutout, with its reviews.
pub mod monthly;
pub mod pack;
pub mod store;

use crate::{
    base::{EntryId, Instant, SignIn, words::words},
    rules::{
        Bypass, Finding, Ground,
        joined::{self, Opening, Reviewed, Telling},
    },
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
    /// Every page that tells something of it, statements too, in the order of the book.
    pub told: Vec<Telling>,
}

/// Findings about these openings' reviews and about authorisations, begun by `then`, whether or not they have ended.
/// They are in no row: every list of findings adds them here.
pub fn joined(ground: &Ground<'_>, lines: &[Line], then: Instant) -> Vec<Finding> {
    let openings: Vec<Opening<'_>> = lines.iter().map(Line::opening).collect();
    joined::joined(ground, &openings, then)
}

impl Line {
    /// The highest page about it: what a review has to have seen.
    pub fn last_seq(&self) -> u64 {
        self.told.last().map_or(0, |page| page.seq).max(self.bypass.last_seq)
    }

    /// The review that holds: the last one, if nothing changed since.
    pub fn review(&self) -> Option<&KeptReview> {
        self.reviews.last().filter(|review| review.last_seq >= self.last_seq())
    }

    fn opening(&self) -> Opening<'_> {
        let reviewed =
            |r: &KeptReview| Reviewed { seq: r.seq, by: r.by.clone(), at: r.at, last_seq: r.last_seq };
        Opening {
            bypass: &self.bypass,
            reviews: self.reviews.iter().map(reviewed).collect(),
            told: &self.told,
        }
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
