//! Breakers, relays, fuses; what is tested dead and locked out.
use super::{Ask, Group, Words, YES_NO, YES_OR_NO, q};

pub(super) const BREAKER: &[Group] = &[
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

pub(super) const GROUND_RELAY: &[Group] = &[
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
pub(super) const FUSE: &[Group] = &[
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

pub(super) const TESTED_DEAD: &[Group] = &[Group {
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

pub(super) const LOCK_OUT: &[Group] = &[
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
