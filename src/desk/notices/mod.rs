//! Notices: who is told of what, by which way, at once or in the morning, and what became of it.
//!
//! Two steps. [`look`] finds matters that nobody was told of yet, in what the book's projections say at a moment, and
//! writes each down once with a delivery for everybody who is to be told, in one transaction outside the book.
//! [`post`] carries what waits: letters by [`mail`], messages to webhooks by [`hook`]. What a notice says is in [`letter`].
pub mod hook;
pub mod hooks;
pub mod letter;
pub mod look;
pub mod mail;
pub mod outbox;
pub mod post;
pub mod shown;
pub mod sources;
pub mod what;
pub mod when;
pub mod wishes;

pub use post::Post;
pub use what::{About, What};

use crate::base::{Instant, UnitName};

/// A matter that somebody is told of: nothing but what, which unit, when, and where more is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matter {
    pub what: What,
    /// The same however often it is looked at.
    pub key: String,
    pub unit: Option<UnitName>,
    pub at: Instant,
    pub about: About,
}

/// A matter that was written down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    pub id: i64,
    pub what: What,
    pub unit: Option<UnitName>,
    pub at: Instant,
    pub about: About,
    pub made_at: Instant,
}
