//! What each kind of measurement asks, and the cautions that stand before its controls. A question's name is its field.
mod devices;
mod machines;

use self::{
    devices::{BREAKER, FUSE, GROUND_RELAY, LOCK_OUT, TESTED_DEAD},
    machines::{BATTERY, INSULATION},
};
use crate::shop::measurements::Kind;

pub type Words = &'static [(&'static str, &'static str)];

#[derive(Clone, Copy, Debug)]
pub enum Ask {
    /// One of these; the first is 'not stated' where it is blank.
    Keys(Words),
    Figure,
    Text,
    Area,
}

#[derive(Clone, Copy, Debug)]
pub struct Question {
    pub name: &'static str,
    pub label: &'static str,
    pub hint: &'static str,
    pub ask: Ask,
}

/// Questions that belong together under a heading.
#[derive(Clone, Copy, Debug)]
pub struct Group {
    pub title: &'static str,
    pub questions: &'static [Question],
}

const fn q(name: &'static str, label: &'static str, hint: &'static str, ask: Ask) -> Question {
    Question { name, label, hint, ask }
}

/// They end by deferring to local instructions; most are common practice without a source.
pub fn cautions(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Insulation => &[
            "Engine shut down, electronics disconnected, the circuit discharged before the test and after it. A test voltage can hurt you, and the charge that it leaves too.",
            "Opening the ground-relay cutout for the test is a bypass: write it down, and its closing.",
            DECIDE,
        ],
        Kind::Battery => &[
            "Gas and acid: no flame, no spark, eyes covered; rings and watches off. 50 volts can kill.",
            DECIDE,
        ],
        Kind::Breaker => &[
            "On the bench or isolated, de-energised and locked out: the test current is several times what the breaker carries.",
            DECIDE,
        ],
        Kind::GroundRelay => &[
            "Opening a cutout makes nothing dead and may silence the warning. Close and seal it before the unit goes.",
            "Inverter cabinets: capacitors stay charged after shutdown. Qualified people only.",
            DECIDE,
        ],
        Kind::Fuse => &[
            "De-energised, the same four figures, an insulated tool. Look for the cause before another one is put in.",
            DECIDE,
        ],
        Kind::TestedDead | Kind::LockOut => &[
            "Opening a control breaker or the ground cutout isolates nothing. Lock and tag what disconnects; discharge what stays charged.",
            "This is a record. The lock and tag on the equipment are what count.",
            DECIDE,
        ],
    }
}

const DECIDE: &str = "Local instructions and qualified people decide.";

const YES_NO: Words = &[("", "Not stated"), ("yes", "Yes"), ("no", "No")];
const YES_OR_NO: Words = &[("yes", "Yes"), ("no", "No")];
const SCALES: Words = &[("c", "°C"), ("f", "°F")];

pub fn groups(kind: Kind) -> &'static [Group] {
    match kind {
        Kind::Insulation => INSULATION,
        Kind::Battery => BATTERY,
        Kind::Breaker => BREAKER,
        Kind::GroundRelay => GROUND_RELAY,
        Kind::Fuse => FUSE,
        Kind::TestedDead => TESTED_DEAD,
        Kind::LockOut => LOCK_OUT,
    }
}

/// What stands in a field before anybody typed.
pub fn given(name: &str) -> &'static str {
    match name {
        "scale" => "f",
        "gravity_rule" => "per_10f_base_80f",
        "low_cell" => "40",
        "test" => "inverse_time",
        "percent" => "300",
        "unit_of_measure" => "volts",
        "step" => "applied",
        _ => "",
    }
}
