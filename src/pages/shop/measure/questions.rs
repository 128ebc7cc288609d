//! What each kind of measurement asks, and the cautions that stand before its controls. A question's name is its field.
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

const OBJECTS: Words = &[
    ("power_circuit", "Whole power circuit"),
    ("armature", "Armature (direct current)"),
    ("field_winding", "Field winding"),
    ("form_wound", "Form-wound ac winding"),
    ("form_wound_low", "Form-wound coils under 1 kV"),
    ("random_wound", "Random-wound stator"),
    ("cable", "Cable alone"),
    ("control_circuit", "Control circuit"),
];

const INSULATION: &[Group] = &[
    Group {
        title: "What was measured",
        questions: &[
            q(
                "object",
                "Object",
                "The standard's minima are for windings; a whole circuit has the handbook's 1 megohm at 77 °F.",
                Ask::Keys(OBJECTS),
            ),
            q("of", "Which one", "traction motor 3, main generator, wire 51", Ask::Text),
            q(
                "machine",
                "Of which machine",
                "",
                Ask::Keys(&[
                    ("", "Not stated"),
                    ("traction_motor", "Traction motor"),
                    ("generator", "Generator"),
                    ("other", "Other"),
                ]),
            ),
        ],
    },
    Group {
        title: "Reading",
        questions: &[
            q("ir1_mohm", "Megohms at one minute", "As the instrument shows it, in megohms", Ask::Figure),
            q(
                "temperature",
                "Temperature of the winding",
                "Without it the reading is kept and judged by nothing",
                Ask::Figure,
            ),
            q("scale", "Scale", "", Ask::Keys(SCALES)),
            q(
                "reading",
                "The reading was",
                "",
                Ask::Keys(&[
                    ("", "Not stated"),
                    ("steady", "Steady"),
                    ("rising", "Rising"),
                    ("unsteady", "Unsteady"),
                ]),
            ),
            q(
                "ir10_mohm",
                "Megohms at ten minutes",
                "For the polarization index, if it was taken",
                Ask::Figure,
            ),
            q("test_v", "Test voltage", "Volts of direct current", Ask::Figure),
        ],
    },
    Group {
        title: "What it is held against",
        questions: &[
            q(
                "wound",
                "Winding made",
                "About 1970 the minimum changed",
                Ask::Keys(&[("", "Not known"), ("before_1970", "Before about 1970"), ("later", "Later")]),
            ),
            q("rated_v", "Rated volts between terminals", "", Ask::Figure),
            q(
                "edition",
                "Edition of the standard",
                "For an armature: 100 megohms in 2000, 5 in 2013",
                Ask::Keys(&[
                    ("", "Not stated"),
                    ("ieee_43_2013", "IEEE 43-2013"),
                    ("ieee_43_2000", "IEEE 43-2000"),
                ]),
            ),
            q(
                "class",
                "Insulation class",
                "",
                Ask::Keys(&[("", "Not known"), ("a", "A"), ("b", "B"), ("f", "F"), ("h", "H")]),
            ),
            q("is_new", "Control circuit: is it new?", "", Ask::Keys(YES_NO)),
            q(
                "limit_mohm",
                "A limit of your own, in megohms",
                "It goes before every minimum above",
                Ask::Figure,
            ),
            q("limit_from", "Where that limit is from", "Named beside the result", Ask::Text),
            q(
                "rule",
                "Correct by",
                "Blank: the rule at whose base the minimum stands",
                Ask::Keys(&[
                    ("", "The minimum's rule"),
                    ("halve_per_10c", "Half per 10 °C, to 40 °C"),
                    ("halve_per_22f", "Half per 22 °F, to 77 °F"),
                    ("double_per_15c", "Twice per 15 °C down, to 25 °C"),
                ]),
            ),
        ],
    },
    Group {
        title: "The place itself",
        questions: &[q(
            "ground_confirmed",
            "Was a ground confirmed here?",
            "Found, not only suspected from the relay",
            Ask::Keys(YES_NO),
        )],
    },
];

const BATTERY: &[Group] = &[
    Group {
        title: "Which battery",
        questions: &[
            q(
                "battery",
                "Its mark",
                "The record follows the battery by this, to whatever unit it goes",
                Ask::Text,
            ),
            q("cells", "Cells", "32, 56", Ask::Figure),
            q(
                "full_gravity",
                "Specific gravity when full",
                "Of this type, from its maker: 1.265, 1.280. Types differ, so it is not guessed",
                Ask::Figure,
            ),
        ],
    },
    Group {
        title: "Gravities",
        questions: &[
            q(
                "gravities",
                "Cell by cell, from cell 1",
                "Before water is added; parted by spaces or lines: 1.250 1.245",
                Ask::Area,
            ),
            q(
                "temperature",
                "Temperature of the electrolyte",
                "Without it gravities are kept as read",
                Ask::Figure,
            ),
            q("scale", "Scale", "", Ask::Keys(SCALES)),
            q(
                "gravity_rule",
                "Correct by",
                "",
                Ask::Keys(&[
                    ("per_10f_base_80f", "0.004 per 10 °F, to 80 °F"),
                    ("per_c_base_20c", "0.0007 per °C, to 20 °C"),
                ]),
            ),
            q(
                "low_cell",
                "A cell is low by",
                "Handbooks differ; your instructions decide",
                Ask::Keys(&[("40", "40 points"), ("25", "over 25 points"), ("20", "over 20 points")]),
            ),
            q("level", "Level of the electrolyte", "", Ask::Text),
        ],
    },
    Group {
        title: "Volts",
        questions: &[
            q(
                "rested_v",
                "Rested, over all cells",
                "Read from the gauge, never probed under load",
                Ask::Figure,
            ),
            q("charging_v", "On charge, cell by cell", "Parted by spaces or lines", Ask::Area),
        ],
    },
];

const BREAKER: &[Group] = &[
    Group {
        title: "Which breaker",
        questions: &[
            q("device", "Tag", "As on the schedule", Ask::Text),
            q("rated_a", "Rated amperes", "Blank: from the schedule", Ask::Figure),
            q(
                "test",
                "Test",
                "",
                Ask::Keys(&[
                    ("inverse_time", "Time at a multiple of its rating"),
                    ("instantaneous", "Instantaneous trip"),
                ]),
            ),
        ],
    },
    Group {
        title: "Time",
        questions: &[
            q("percent", "Per cent of its rating", "300 unless written", Ask::Figure),
            q("seconds", "Seconds until it tripped", "", Ask::Figure),
            q(
                "did_not_trip",
                "It did not trip",
                "",
                Ask::Keys(&[("", "It tripped"), ("yes", "It did not trip")]),
            ),
            q(
                "most_s",
                "Most seconds allowed",
                "From the maker's curve. Blank: the railway's own table, if it keeps one",
                Ask::Figure,
            ),
            q("least_s", "Least seconds", "", Ask::Figure),
            q("limit_from", "Where the limit is from", "Named beside the result", Ask::Text),
        ],
    },
    Group {
        title: "Instantaneous trip",
        questions: &[
            q("set_a", "Set to, amperes", "", Ask::Figure),
            q("tripped_at_a", "Tripped at, amperes", "", Ask::Figure),
        ],
    },
];

const GROUND_RELAY: &[Group] = &[
    Group {
        title: "The test",
        questions: &[
            q("device", "Tag of the relay", "", Ask::Text),
            q("picked_up", "Did it pick up?", "", Ask::Keys(YES_OR_NO)),
            q("picked_up_at", "At", "", Ask::Figure),
            q(
                "unit_of_measure",
                "Unit",
                "",
                Ask::Keys(&[("volts", "volts"), ("milliamperes", "milliamperes")]),
            ),
            q("reset", "Was it reset?", "", Ask::Keys(YES_NO)),
        ],
    },
    Group {
        title: "Limits for this relay",
        questions: &[
            q("least", "At least", "Figures for one relay are not taken over to another", Ask::Figure),
            q("most", "At most", "", Ask::Figure),
            q("limit_from", "Where they are from", "Named beside the result", Ask::Text),
        ],
    },
];

const SPEEDS: Words = &[("", "Not known"), ("slow", "Slow"), ("normal", "Normal"), ("fast", "Fast")];
const FUSE: &[Group] = &[
    Group {
        title: "What belongs there",
        questions: &[
            q("device", "Tag", "Blank figures are taken from the schedule", Ask::Text),
            q("belongs_a", "Amperes", "", Ask::Figure),
            q("belongs_v", "Volts", "", Ask::Figure),
            q("belongs_speed", "Speed", "", Ask::Keys(SPEEDS)),
            q("belongs_body", "Body", "Style and size", Ask::Text),
        ],
    },
    Group {
        title: "What is to go in",
        questions: &[
            q("fitted_a", "Amperes", "", Ask::Figure),
            q("fitted_v", "Volts", "", Ask::Figure),
            q("fitted_speed", "Speed", "", Ask::Keys(SPEEDS)),
            q("fitted_body", "Body", "Style and size", Ask::Text),
            q(
                "handling",
                "How it was changed",
                "",
                Ask::Keys(&[
                    ("", "Not stated"),
                    ("de_energised", "De-energised"),
                    ("insulated_tool", "Insulated tool"),
                    ("energised_no_tool", "Energised, no tool"),
                ]),
            ),
        ],
    },
];

const TESTED_DEAD: &[Group] = &[Group {
    title: "The test",
    questions: &[
        q("circuit", "Circuit", "", Ask::Text),
        q("volts", "Its volts when live", "Over 600 the tester is checked before and after", Ask::Figure),
        q("tester", "Tester", "By its mark", Ask::Text),
        q("checked_before", "Tester checked on a live source before?", "", Ask::Keys(YES_NO)),
        q("checked_after", "And after?", "", Ask::Keys(YES_NO)),
        q("locked_or_tagged", "Locked or tagged?", "", Ask::Keys(YES_NO)),
        q("found", "Found", "", Ask::Keys(&[("dead", "Dead"), ("live", "LIVE")])),
    ],
}];

const LOCK_OUT: &[Group] = &[
    Group {
        title: "The lock or tag",
        questions: &[
            q("lock", "Its number or mark", "By it an applied lock and its removal are one", Ask::Text),
            q("step", "It was", "", Ask::Keys(&[("applied", "Applied"), ("removed", "Removed")])),
            q(
                "what",
                "What it is",
                "",
                Ask::Keys(&[
                    ("", "Not stated"),
                    ("lock_and_tag", "Lock and tag"),
                    ("lock", "Lock"),
                    ("tag", "Tag"),
                ]),
            ),
            q("place", "What it holds open", "", Ask::Text),
            q(
                "applied_by",
                "Applied by",
                "By sign-in name or in words; blank: you, or whoever is on record",
                Ask::Text,
            ),
        ],
    },
    Group {
        title: "When it is removed",
        questions: &[
            q("removed_by", "Removed by", "Blank: you", Ask::Text),
            q(
                "absence_ensured",
                "Removed by another: was it made sure that whoever applied it is away?",
                "",
                Ask::Keys(YES_NO),
            ),
            q("told_before_resuming", "Was that person told before work went on?", "", Ask::Keys(YES_NO)),
        ],
    },
];

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
