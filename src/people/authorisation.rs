//! One person's dated right to open a ground-relay cutout on some classes.
use serde::{Deserialize, Serialize};

use crate::base::{ClassName, Instant, SignIn, Zone, zone::Day};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Authorisation {
    /// The page that granted it.
    pub seq: u64,
    pub person: SignIn,
    pub scope: Scope,
    /// First and last day, inclusive, in the railway's zone.
    pub from: Day,
    pub to: Option<Day>,
    pub basis: Option<String>,
    pub granted_by: SignIn,
    /// Where two people granted it: who proposed it; `granted_by` confirmed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proposed_by: Option<SignIn>,
    pub recorded_at: Instant,
    /// Came from a list: then it counts also for acts before it was recorded, and the page says so.
    pub from_list: bool,
    pub revoked_at: Option<Instant>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked: Option<Revoked>,
}

/// By whom a right was taken back, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Revoked {
    pub by: SignIn,
    pub reason: String,
}

/// How a right stands on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    InForce,
    NotBegun,
    Ended,
    Revoked,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Scope {
    All,
    Classes(Vec<ClassName>),
}

impl Scope {
    pub fn covers(&self, class: Option<&ClassName>) -> bool {
        match self {
            Self::All => true,
            Self::Classes(classes) => class.is_some_and(|class| classes.contains(class)),
        }
    }
}

impl Authorisation {
    /// All who had a hand in granting it.
    pub fn granters(&self) -> impl Iterator<Item = &SignIn> {
        std::iter::once(&self.granted_by).chain(&self.proposed_by)
    }

    /// Not about any one act: whether it has to be reckoned with that day.
    pub fn standing(&self, now: Instant, zone: &Zone) -> Standing {
        let today = zone.day_of(now);
        if self.revoked_at.is_some_and(|at| at <= now) {
            Standing::Revoked
        } else if self.to.is_some_and(|to| to < today) {
            Standing::Ended
        } else if self.from > today {
            Standing::NotBegun
        } else {
            Standing::InForce
        }
    }

    /// Whether it gave a right at any moment of that day, as the book has it today.
    pub fn held_on(&self, day: Day, zone: &Zone) -> bool {
        self.from <= day
            && self.to.is_none_or(|to| day <= to)
            && (self.from_list || zone.day_of(self.recorded_at) <= day)
            && self.revoked_at.is_none_or(|at| day <= zone.day_of(at))
    }

    /// Whether it gave the right at that moment, evaluated as of the act.
    pub fn holds(&self, class: Option<&ClassName>, act: Instant, zone: &Zone) -> bool {
        let day = zone.day_of(act);
        self.scope.covers(class)
            && self.from <= day
            && self.to.is_none_or(|to| day <= to)
            && (self.from_list || self.recorded_at < act)
            && self.revoked_at.is_none_or(|revoked| act < revoked)
    }
}
