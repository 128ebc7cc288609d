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
    pub recorded_at: Instant,
    /// Came from a list: then it counts also for acts before it was recorded, and the page says so.
    pub from_list: bool,
    pub revoked_at: Option<Instant>,
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
