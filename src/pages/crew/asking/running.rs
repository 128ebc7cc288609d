//! Engine starts, shutdowns, defects.
use super::{Answer, Part, SIGNS, Words, ask, hinted, words};

pub const START: &[Part] = &[
    Part::open(&[ask(
        "test_cock_result",
        "Test cocks, blown before cranking",
        Answer::Few(words::TEST_COCK),
    )])
    .caution(&[
        "Anything but clear at a test cock: do not start.",
        "Starting on air spends the air that holds the brakes: secure the unit first.",
        "A unit with automatic start may start by itself. Read volts from the gauge, never probe.",
        "Battery: gas, acid, no flame; 50 volts can kill.",
        "Local instructions and qualified people decide.",
    ]),
    Part::open(&[
        ask("outcome", "What came of it?", Answer::Words(words::OUTCOME)),
        ask("motors", "Cranked with", Answer::Few(words::MOTORS)),
        ask("battery_rest_v", "Battery at rest, V", Answer::Figure),
        ask("battery_cranking_v", "Battery while cranking, lowest, V", Answer::Figure),
        ask("main_reservoir_psi", "Main reservoir before, psi", Answer::Figure),
    ]),
    Part::folded(
        "Attempt, long shutdown",
        &[
            hinted(ask("attempt", "Which attempt?", Answer::Count), "1 for the first since it was shut down"),
            ask("after_long_shutdown", "After a long shutdown?", Answer::Few(words::YES_NO)),
        ],
    ),
];

pub const SHUTDOWN: &[Part] = &[
    Part::open(&[ask("cause", "What stopped it?", Answer::Words(words::CAUSE)), SIGNS]).caution(&[
        "Crankcase device tripped: stay away, open nothing, no restart.",
        "Near freezing: call, the cooling water freezes. A unit with automatic start may start by itself.",
        "Local instructions and qualified people decide.",
    ]),
    Part::open(&[
        ask("water_drained", "Cooling water drained?", Answer::Few(words::YES_NO)),
        hinted(
            ask("warning_notice", "Warning notice hung", Answer::Text),
            "Its number or words. The notice on the unit decides, not this book",
        ),
    ]),
];

const SYSTEMS: Words = &[
    ("engine", "Engine"),
    ("air_brake", "Air brake"),
    ("electrical", "Electrical"),
    ("dynamic_brake", "Dynamic brake"),
    ("trucks", "Trucks, wheels"),
    ("cab", "Cab"),
    ("cab_signal", "Cab signal"),
    ("alerter", "Alerter"),
    ("event_recorder", "Event recorder"),
    ("headlights", "Headlights"),
    ("horn_bell", "Horn, bell"),
    ("other", "Something else"),
];

pub const DEFECT: &[Part] = &[
    Part::open(&[
        ask("system", "Where?", Answer::Few(SYSTEMS)),
        ask("text", "What is wrong?", Answer::Lines),
    ]),
    Part::open(&[
        ask("may_go_on", "May the unit go on?", Answer::Few(words::MAY_GO_ON)),
        hinted(ask("restriction", "Restriction", Answer::Text), "As given: trail only, 30 mph"),
        ask("warning_notice", "Warning notice hung", Answer::Text),
        SIGNS,
    ])
    .caution(&[
        "The inspection record and the tag on board stay on paper, and they decide whether a unit may move.",
        "Ask the one who may say so under local rules, and write down what was said.",
    ]),
];
