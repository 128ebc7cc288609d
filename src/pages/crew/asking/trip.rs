//! Breaker trips and fuses.
use super::{Answer, If, Part, SIGNS, ask, hinted, words};

pub const TRIP: &[Part] = &[
    Part::open(&[SIGNS]),
    Part::open(&[ask("resets[0].result", "Closed again?", Answer::Words(words::RESET))]).caution(&[
        "Not if you smell, see or feel anything burning, hot or wet.",
        "Train stopped and secured, dispatcher told. Push the handle fully off, then on. Never hold a breaker in.",
        "Local instructions and the schedule decide whether a crew may close it at all.",
    ]),
    Part::open(&[
        ask("resets[0].basis", "On what ground was it closed again?", Answer::Words(words::BASIS)),
        hinted(
            ask("resets[0].told_by", "Told by", Answer::Person),
            "Sign-in name or name, if somebody said to close it",
        ),
    ])
    .only_if(If::Reset),
    Part::folded(
        "Closed again a second time",
        &[
            ask("resets[1].result", "The second time", Answer::Words(words::RESET)),
            ask("resets[1].basis", "On what ground?", Answer::Words(words::BASIS)),
            ask("resets[1].told_by", "Told by", Answer::Person),
        ],
    )
    .only_if(If::Reset),
    Part::open(&[hinted(
        ask("left", "How is it left?", Answer::Few(words::LEFT)),
        "If you leave it: on after 'Reset, it held', tripped after the others",
    )]),
];

pub const FUSE: &[Part] = &[
    Part::open(&[ask("result", "The fuse is", Answer::Few(words::FUSE_RESULT))]).caution(&[
        "De-energised first. Insulated tool. Only a fuse of the same four figures: amperes, volts, speed, body.",
        "Where the cabinet feeds an inverter, capacitors stay charged after shutdown: qualified people only.",
        "Local instructions decide who may handle it.",
    ]),
    Part::open(&[
        ask("tested_with", "Tested with", Answer::Few(words::TESTED_WITH)),
        ask("handling", "Handled", Answer::Few(words::HANDLING)),
        SIGNS,
    ]),
    Part::folded(
        "The fuse that was in it",
        &[
            ask("fitted.rating_a", "Amperes", Answer::Figure),
            ask("fitted.rating_v", "Volts", Answer::Figure),
            ask("fitted.speed", "Speed", Answer::Few(words::FUSE_SPEED)),
            ask("fitted.body", "Body, as marked", Answer::Text),
        ],
    ),
    Part::open(&[ask("replaced", "Another one put in?", Answer::Gate(&[("yes", "Yes"), ("no", "No")]))]),
    Part::open(&[
        ask("replaced_by.rating_a", "Put in: amperes", Answer::Figure),
        ask("replaced_by.rating_v", "Put in: volts", Answer::Figure),
        ask("replaced_by.speed", "Put in: speed", Answer::Few(words::FUSE_SPEED)),
        ask("replaced_by.body", "Put in: body, as marked", Answer::Text),
        ask("basis", "On what ground was it put in?", Answer::Words(words::BASIS)),
    ])
    .only_if(If::Replaced),
];
