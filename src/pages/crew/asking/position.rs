//! A device as somebody found or moved it.
use super::{Answer, Part, ask, hinted, words};

const BEFORE: &[&str] = &[
    "Before the cabinet: train stopped and secured, dispatcher told.",
    "A lock, a tag or a blue signal at it: leave it, somebody may be working. Local instructions decide.",
];

const WHY: Part = Part::folded(
    "Moved by, why, number, seal",
    &[
        ask("by", "Moved by", Answer::Who),
        ask("why", "Why?", Answer::Text),
        hinted(ask("reference", "Work order or other number", Answer::Text), "As written on the order"),
        ask("seal", "Its seal", Answer::Seal),
    ],
);

pub const BREAKER: &[Part] = &[
    Part::open(&[ask("seen", "How did you find it?", Answer::Few(words::SEEN))]),
    Part::open(&[hinted(
        ask("moved_to", "Moved to", Answer::Few(&[("on", "On"), ("off", "Off")])),
        "Leave it if nobody moved it",
    )])
    .caution(BEFORE),
    WHY,
];

pub const SWITCH: &[Part] = &[
    Part::open(&[ask("seen", "How did you find it?", Answer::Few(words::SEEN_SWITCH))]),
    Part::open(&[hinted(
        ask("moved_to", "Moved to", Answer::Few(&[("closed", "Closed"), ("open", "Open")])),
        "Leave it if nobody moved it",
    )])
    .caution(BEFORE),
    WHY,
];
