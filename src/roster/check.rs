//! What is looked at on a unit before something is done with it: rows of a class's schedule, in walking order.
use serde::{Deserialize, Serialize};

use crate::base::{Tag, words::words};

words! {
    /// Before what a check is made. One for a cold start is made besides those for a start.
    pub enum AppliesWhen { Start = "start", ColdStart = "cold_start", BrakeSetUp = "brake_set_up", Parking = "parking", }
}
words! {
    /// What the unit may not do while a check is not right.
    pub enum Prevents { Start = "start", Lead = "lead", Load = "load", Move = "move", }
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// Where one stands: `left side, battery box`. Neighbours with the same words are one stop of the walk.
    pub place: String,
    /// What to look at.
    pub text: String,
    /// How it has to be: `closed`, `at least 60 V`.
    pub right: String,
    pub applies_when: AppliesWhen,
    /// The device it is about; found not right, that is a position entry, otherwise a defect.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<Tag>,
    /// Empty is 'not stated', never 'nothing'.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prevents: Vec<Prevents>,
}
