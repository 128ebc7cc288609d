//! The sentences of the reset answer and the start answer, each written once: the rules fill them in here, and a tablet's
//! picture of a unit takes them along for `static/answers.js`.
use std::fmt::Display;

macro_rules! sentences {
    ($($name:ident = $words:literal;)*) => {
        $(pub const $name: &str = $words;)*
        /// By name, as the script asks for them.
        pub const ALL: &[(&str, &str)] = &[$((stringify!($name), $words)),*];
    };
}

sentences! {
    TICKED = "Do not reset: {} is ticked on this entry. Leave it off and call the shop.";
    SIGN = "Do not reset: {} was written {}. Leave it off and call.";
    UNMENDED = "Do not reset. It {} on {} and nothing written since says it was repaired: leave it off and call the shop.{}";
    TRIPPED_AGAIN = "was reset and tripped again";
    WOULD_NOT_LATCH = "would not latch";
    NEVER_HOLD = " Never hold a breaker in.";
    LEFT_OFF = "was left off";
    LEFT_CUT_OUT = "was left cut out";
    LEFT_TRIPPED = "was left tripped";
    NOT_LISTED = "Do not reset: the schedule does not have it. Ask first.";
    NOT_SAID = "Do not reset: the schedule does not say whether a crew may. Ask first.";
    SHOP_ONLY = "Do not reset: the schedule leaves it to the shop.";
    USED_UP = "Do not reset: reset {} since {}{}; the schedule allows {} in {} h.";
    BY_OTHERS = ", {} by others";
    ALLOWED = "{} allowed by the schedule: {} trip of this device on this unit in {} h.{} If it trips again{}, leave it off.";
    WAIT = " Wait {} first.";
    AFTER_THAT = " after that";
    OLD = " This picture is old: others' resets not known.";
    ALWAYS = "Not if you smell, see or feel anything burning, hot or wet.";
    RESET_DEFERS = "Your railway's instructions decide; if they say otherwise, follow them.";

    NOT_NOW = "Not now. {}";
    HELD = "The shop holds it since {}.";
    RELEASE = "The shop releases it.";
    REPAIR_OPEN = "A repair of {} is open since {}.";
    THE_UNIT = "the unit";
    CLOSE = "The shop closes the repair.";
    NOTICE = "A warning notice was hung on it, written {}: read it.";
    NOTICE_OFF = "What it warns of is repaired, the repair closed and the notice taken off.";
    GUARD = "A {} at {} was written {}: somebody may be working on it.";
    GUARD_OFF = "Whoever put it there takes it off.";
    CRANKCASE_DEVICE = "It was stopped by the crankcase device, {}: stay away, open nothing, no restart.";
    OVERSPEED = "It was stopped by the overspeed device, {}: no restart.";
    LOW_OIL = "It was stopped for low oil, {}.";
    LOW_WATER = "It was stopped for low water, {}.";
    REPAIR = "Qualified people find the cause, and the shop closes a repair.";
    COCK = "{} at a test cock: do not start.";
    COCK_WRITTEN = "{} at a test cock, written {}: do not start.";
    COCKS = "Before a cold start the test cocks have to be clear, and that is not said yet.";
    BLOW = "Blow the test cocks: all clear.";
    OFF = "{} ({}) was last written {}, {}.";
    ON_AGAIN = "What is off is looked at, closed as the schedule says, and written down.";
    NOT_RIGHT = "Not right: {}.";
    PUT_RIGHT = "What is not right is put right.";
    ATTEMPTS = "{} failed since {}; the schedule allows {}.";
    LOOKED_AT = "The shop looks at it and closes a repair.";
    REST = "The starting motors rest {} s after an attempt: {} s more.";
    RESTED = "The rest is over.";
    NO_SCHEDULE = "The book has no schedule of it.";
    ASK = "Ask the shop what a start of this unit takes.";
    NO_MOTORS = "The schedule does not say which motors start it.";
    UNREAD = "The battery at rest is not read: without volts nothing starts, on air neither.";
    READ_VOLTS = "Read the battery's volts from the gauge, never probe.";
    NO_CONTROL = "The schedule does not say how many volts the controls need.";
    UNDER_CONTROL = "Battery {} V at rest, under {}: nothing starts, on air neither, for the controls and the fuel pump need it.";
    CHARGE = "Charge the battery.";
    NO_CRANKING = "the schedule does not say how many volts cranking needs";
    VOLTS_UNDER = "battery {} V at rest, under {}";
    VOLTS_FELL = "the battery fell to {} V while cranking, {}, under {}";
    VOLTS = "battery {} V at rest, at least {}";
    PRACTICE = " (common practice, no source)";
    PSI_UNREAD = "the main reservoir is not read";
    READ_PSI = "Read the main reservoir.";
    PSI_UNDER = "main reservoir {} psi, under {}{}";
    COUPLE = "Couple main-reservoir hoses to another unit, as local instructions say.";
    PSI = "main reservoir {} psi, at least {}{}";
    BOTH = "Nothing in the book is against a start now, with both kinds of motors: {}; {}.";
    ELECTRIC = "Nothing in the book is against a start now, with its electric motors: {}.";
    AIR = "Nothing in the book is against a start now, with its air motors: {}.";
    ELECTRIC_ONLY = "Nothing in the book is against a start now on the electric motors only: {}. Not on air: {}.";
    AIR_ONLY = "Nothing in the book is against a start now on the air motors only: {}. Not on the electric motors: {}.";
    NOT_ELECTRIC = "Not on the electric motors: {}.";
    NOT_AIR = "Not on air: {}.";
    COLD = "{}: the cold-engine procedure applies.";
    LONG_TOLD = "Shut down long, as told";
    LONG_NOT_SAID = "The schedule does not say which shutdown is long";
    LONG_UNKNOWN = "Shut down for an unknown time, which counts as long";
    LONG = "Shut down {}, and from {} h on it is long";
    CRANK_REST = "Crank at most {} s, then rest {} s.";
    CRANK = "Crank at most {} s.";
    REST_ONLY = "Rest {} s after each attempt. The schedule does not say how long to crank.";
    CRANK_NOT_SAID = "The schedule does not say how long to crank.";
    ATTEMPT_OF = " Attempt {} of {}.";
    ATTEMPT = " Attempt {}; the schedule does not say how many.";
    PICTURE = "This picture of the book is from {}: what was written since is not in it.";
    START_DEFERS = "Your railway's instructions and qualified people decide; if they say otherwise, follow them.";
}

/// A sentence with what belongs in its gaps, in order.
pub fn fill(words: &str, with: &[&dyn Display]) -> String {
    let mut with = with.iter();
    let mut parts = words.split("{}");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |mut said, part| {
        said.extend(with.next().map(ToString::to_string));
        said.push_str(part);
        said
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_are_filled_in_order() {
        assert_eq!(fill("{} of {}.", &[&1, &"it"]), "1 of it.");
        assert_eq!(fill("nothing", &[]), "nothing");
        // What is filled in is not filled again.
        assert_eq!(fill("{}, {}", &[&"{}", &2]), "{}, 2");
    }

    #[test]
    fn no_sentence_says_what_no_book_can_know() {
        for (name, words) in ALL {
            let words = words.to_lowercase();
            assert!(!words.contains("safe") && !words.contains("fit"), "{name}: {words}");
        }
        assert!(START_DEFERS.contains("instructions") && RESET_DEFERS.contains("instructions"));
    }
}
