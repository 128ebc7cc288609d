//! Windings, circuits and batteries.
use super::{Ask, Group, SCALES, Words, YES_NO, q};

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

pub(super) const INSULATION: &[Group] = &[
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

pub(super) const BATTERY: &[Group] = &[
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
