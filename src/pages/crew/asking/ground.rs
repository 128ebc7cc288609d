//! Ground-relay operations and openings of the ground-relay cutout.
use super::{Answer, If, Part, SIGNS, ask, hinted, words};

pub const RELAY: &[Part] = &[
    Part::open(&[
        hinted(ask("operations", "How many times did it operate?", Answer::Count), "1 if you leave it"),
        ask("mode", "What was the unit doing?", Answer::Few(words::MODE)),
        SIGNS,
    ]),
    Part::open(&[
        ask("reset", "The relay", Answer::Words(words::GROUND_RESET)),
        ask("after", "And the unit after that", Answer::Few(words::AFTER)),
    ])
    .caution(&[
        "A ground in the power circuit can start a fire or kill. Smell, smoke, arcing or water: do not reset, call.",
        "How often it may be reset is for local instructions. Never open the cutout to keep moving.",
    ]),
    Part::folded(
        "Circuit, last operation, motors cut out",
        &[
            hinted(
                ask("circuit", "Which circuit?", Answer::Few(words::CIRCUIT)),
                "High voltage is more than 150 volts (49 CFR 229.5)",
            ),
            ask("last_at", "Last of several operations", Answer::Time),
            hinted(ask("motors_cut_out", "Motors cut out", Answer::List), "As on the switch, commas between: 2, 5"),
        ],
    )
    .caution(&["A cut-out motor does not free a locked axle: see every wheel turn."]),
];

pub const BYPASS: &[Part] = &[
    Part::open(&[hinted(
        ask("protection", "At the switch or on the unit", Answer::Few(words::PROTECTION)),
        "Look for a lock, a tag, a blue signal",
    )])
    .caution(&[
        "Found open: leave it and call, somebody may be testing. Otherwise it is closed only at idle, isolated.",
        "Opening it makes nothing dead and may silence the warning. Capacitors stay charged after shutdown.",
        "Insulation test: engine shut down, electronics disconnected, discharge after.",
        "Only people authorised by the railway open it; local instructions and a qualified electrician decide.",
    ]),
    Part::open(&[hinted(
        ask("by", "Opened by", Answer::Who),
        "The book asks who opened it. Who closed it or found it is asked apart",
    )]),
    Part::open(&[
        hinted(ask("authorised_by", "On whose authority?", Answer::Person), "Sign-in name or name"),
        ask("authorised_how", "Given how?", Answer::Few(words::AUTHORISED_HOW)),
    ])
    .only_if(If::Opened),
    Part::open(&[ask("purpose", "For what?", Answer::Words(words::PURPOSE))]),
    Part::open(&[
        ask("engine_running", "Was the engine running?", Answer::Few(words::YES_NO)),
        ask("power_taken", "Was power taken while it was open?", Answer::Few(words::YES_NO)),
        ask("seal_found", "Seal as found", Answer::Seal),
        SIGNS,
    ]),
    Part::folded(
        "Time and number of the authority",
        &[
            ask("authorised_at", "Given at", Answer::Time),
            hinted(ask("reference", "Work order or other number", Answer::Text), "As written on the order"),
        ],
    )
    .only_if(If::Opened),
    Part::open(&[ask(
        "closed",
        "Closed again?",
        Answer::Gate(&[("no", "Still open"), ("yes", "Closed again")]),
    )]),
    Part::open(&[
        hinted(ask("closed_at", "Closed at", Answer::Time), "Now, if you leave it"),
        ask("closed_by", "Closed by", Answer::Who),
        ask("seal_applied", "Seal put on", Answer::Seal),
    ])
    .only_if(If::Closed),
];
