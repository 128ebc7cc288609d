//! Twelve months of what crews, shop and supervisors wrote down, in the order in which it was recorded.
use serde_json::Value;
use uuid::Uuid;

use super::{stories, year::Year};
use crate::{
    base::{Instant, Zone},
    shop::{inspections::InspectionDone, measurements::Measured},
};

/// Something to be filed through the desk with its clock standing at `at_recorded`.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    pub at_recorded: Instant,
    pub act: Act,
}

/// Persons are sign-in names, units as on the roster, times are when it was done.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// A report as in the interchange contract; its author files it.
    Report(Value),
    /// An amendment as in the contract: `{id, report, entry, author, at, reason, replacement}`.
    Amended(Value),
    /// `device`: a tag, or `ground_relay`; `None` when the repair was of something without a tag.
    RepairOpened {
        id: Uuid,
        unit: String,
        device: Option<String>,
        by: String,
        at: Instant,
    },
    RepairClosed {
        id: Uuid,
        unit: String,
        device: Option<String>,
        by: String,
        at: Instant,
        cause: String,
        /// The device was replaced: its life begins again.
        new_life: bool,
    },
    /// `repair`: the one it was taken in.
    Measured {
        id: Uuid,
        unit: String,
        by: String,
        at: Instant,
        repair: Option<Uuid>,
        measured: Box<Measured>,
    },
    Inspected {
        by: String,
        done: Box<InspectionDone>,
    },
    /// So many days from one periodic inspection of a class to the next.
    IntervalSet {
        class: String,
        days: i32,
        by: String,
        reason: String,
    },
    /// The railway's own most seconds of breakers at 300 %: up to so many amperes, so many seconds.
    BreakerTable {
        by: String,
        rows: Vec<(f64, f64)>,
        from: String,
    },
    Held {
        unit: String,
        by: String,
        at: Instant,
        reason: String,
    },
    Released {
        unit: String,
        by: String,
        at: Instant,
        reason: String,
    },
    ClassFigures {
        as_of: Instant,
    },
    /// `entry`: the id of the entry that tells of the opening. `judgement`: in_order, not_in_order, cannot_tell.
    BypassReviewed {
        unit: String,
        device: String,
        entry: String,
        by: String,
        at: Instant,
        judgement: &'static str,
        words: String,
    },
    HandoverRead {
        unit: String,
        by: String,
        at: Instant,
    },
}

/// The year before `ends`, in time order. The same seed, end and zone give the same events, to the byte.
pub fn history(seed: u64, ends: Instant, zone: &Zone) -> Vec<Event> {
    let mut year = Year::new(seed, ends, zone);
    year.ordinary_running();
    stories::tell(&mut year);
    year.class_figures();
    year.inspections();
    let (last, mut events) = (year.calendar.ends, year.into_events());
    events.retain(|event| event.at_recorded <= last);
    events.sort_by_key(|event| event.at_recorded);
    events
}
