//! The contract's words as a crew would say them.
use super::Words;

pub const YES_NO: Words = &[("yes", "Yes"), ("no", "No"), ("not_known", "Not known")];
pub const SIGNS: Words = &[
    ("none", "Nothing"),
    ("smell", "Smell"),
    ("smoke", "Smoke"),
    ("heat", "Heat"),
    ("arcing", "Arcing"),
    ("water", "Water"),
    ("not_looked", "Not looked"),
];
pub const WEATHER: Words = &[
    ("dry", "Dry"),
    ("rain", "Rain"),
    ("snow", "Snow"),
    ("blowing_snow", "Blowing snow"),
    ("fog", "Fog"),
    ("high_water", "High water"),
    ("washed", "Just washed"),
];
pub const THROTTLE: Words = &[
    ("engine_off", "Engine off"),
    ("idle", "Idle"),
    ("run_1", "Run 1"),
    ("run_2", "Run 2"),
    ("run_3", "Run 3"),
    ("run_4", "Run 4"),
    ("run_5", "Run 5"),
    ("run_6", "Run 6"),
    ("run_7", "Run 7"),
    ("run_8", "Run 8"),
    ("brake", "Dynamic brake"),
    ("brake_1", "Brake 1"),
    ("brake_2", "Brake 2"),
    ("brake_3", "Brake 3"),
    ("brake_4", "Brake 4"),
    ("brake_5", "Brake 5"),
    ("brake_6", "Brake 6"),
    ("brake_7", "Brake 7"),
    ("brake_8", "Brake 8"),
];
pub const RESET: Words = &[
    ("none", "Not reset"),
    ("held", "Reset, it held"),
    ("tripped_again", "Reset, tripped again"),
    ("would_not_latch", "Would not latch"),
];
pub const BASIS: Words = &[
    ("looked_no_sign", "Looked, no sign of a fault"),
    ("overload_known", "Overload, cause known"),
    ("told_by_shop", "Told by the shop"),
    ("standing_instruction", "Standing instruction"),
    ("examined", "Examined by a qualified person"),
    ("not_determined", "Cause not determined"),
];
pub const LEFT: Words = &[
    ("on", "On"),
    ("off", "Off"),
    ("tripped", "Tripped"),
    ("cut_out", "Cut out"),
    ("not_known", "Not known"),
];
pub const FUSE_RESULT: Words = &[
    ("good", "Good"),
    ("blown", "Blown"),
    ("missing", "Missing"),
    ("wrong_one", "The wrong one"),
    ("bridged", "Bridged"),
];
pub const TESTED_WITH: Words =
    &[("meter", "Meter"), ("lamp", "Test lamp"), ("indicator", "Its indicator"), ("by_eye", "By eye")];
pub const HANDLING: Words = &[
    ("de_energised", "De-energised"),
    ("insulated_tool", "Insulated tool"),
    ("energised_no_tool", "Energised, no tool"),
];
pub const FUSE_SPEED: Words = &[("slow", "Slow"), ("normal", "Normal"), ("fast", "Fast")];
pub const MODE: Words = &[
    ("motoring", "Motoring"),
    ("braking", "Dynamic braking"),
    ("idle", "Idle"),
    ("cranking", "Cranking"),
    ("load_test", "Load test"),
];
pub const CIRCUIT: Words =
    &[("high_voltage", "High voltage"), ("low_voltage", "Low voltage"), ("not_known", "Not known")];
pub const GROUND_RESET: Words = &[
    ("itself", "Reset itself"),
    ("by_hand", "Reset by hand"),
    ("not_reset", "Not reset"),
    ("locked_out", "Locked out"),
];
pub const AFTER: Words = &[
    ("loads_again", "Loads again"),
    ("reduced", "Reduced"),
    ("isolated", "Isolated"),
    ("shut_down", "Shut down"),
];
pub const PURPOSE: Words = &[
    ("insulation_test", "Insulation test"),
    ("locating_ground", "Locating a ground"),
    ("repair", "Repair"),
    ("to_keep_moving", "To keep moving"),
    ("other", "Something else"),
    ("none_given", "None given"),
];
pub const AUTHORISED_HOW: Words = &[
    ("in_person", "In person"),
    ("radio", "Radio"),
    ("phone", "Telephone"),
    ("written", "In writing"),
    ("standing_instruction", "Standing instruction"),
];
pub const PROTECTION: Words = &[
    ("lock", "Lock"),
    ("tag", "Tag"),
    ("blue_signal", "Blue signal"),
    ("none", "None"),
    ("not_looked", "Not looked"),
];
pub const SEAL: Words = &[
    ("unnumbered", "Whole, no number"),
    ("illegible", "Whole, not legible"),
    ("broken", "Broken"),
    ("missing", "Missing"),
    ("none", "None fitted"),
    ("not_looked", "Not looked"),
];
pub const OUTCOME: Words = &[
    ("running", "Running"),
    ("no_response", "No response"),
    ("no_crank", "Did not crank"),
    ("slow_crank", "Cranked slowly"),
    ("no_fire", "Cranked, did not fire"),
    ("started_then_stopped", "Started, then stopped"),
    ("stopped_by_crew", "Stopped by the crew"),
    ("low_oil", "Low oil"),
    ("low_water", "Low water"),
    ("overspeed", "Overspeed"),
    ("crankcase_device", "Crankcase device"),
    ("fuel_cut_off", "Fuel cut off"),
    ("will_not_turn", "Will not turn"),
];
pub const TEST_COCK: Words =
    &[("clear", "Clear"), ("water", "Water"), ("fuel", "Fuel"), ("oil", "Oil"), ("not_looked", "Not looked")];
pub const MOTORS: Words = &[("both", "Both kinds"), ("electric", "Electric"), ("air", "Air")];
pub const CAUSE: Words = &[
    ("crew", "By the crew"),
    ("low_oil", "Low oil"),
    ("low_water", "Low water"),
    ("overspeed", "Overspeed"),
    ("crankcase_device", "Crankcase device"),
    ("fuel_cut_off", "Fuel cut off"),
    ("electrical", "Electrical"),
    ("other", "Something else"),
    ("not_known", "Not known"),
];
pub const MAY_GO_ON: Words = &[("yes", "Yes"), ("restricted", "Restricted"), ("no", "No")];
pub const SEEN: Words = &[("on", "On"), ("off", "Off"), ("tripped", "Tripped"), ("not_looked", "Not looked")];
pub const SEEN_SWITCH: Words = &[("closed", "Closed"), ("open", "Open"), ("not_looked", "Not looked")];
pub const OCCASION: Words = &[
    ("run", "A run"),
    ("yard", "Yard work"),
    ("hostling", "Hostling"),
    ("daily_inspection", "Daily inspection"),
    ("in_shop", "In the shop"),
];
pub const RUN_POSITION: Words = &[
    ("lead", "Lead"),
    ("trail", "Trail"),
    ("single", "Single"),
    ("dead", "Dead in tow"),
    ("distributed", "Distributed"),
];

/// The words for one of the contract's, for lists of what was written; the word itself if we have none.
pub fn say(words: Words, word: &str) -> String {
    words
        .iter()
        .find(|(w, _)| *w == word)
        .map_or_else(|| word.replace('_', " "), |(_, said)| (*said).to_owned())
}
