//! The rules in words: a short name for lists, and the rule spelled out so that it can be checked with a pencil.
use crate::rules::Rule;

/// As lists say it.
pub fn name(rule: Rule) -> &'static str {
    match rule {
        Rule::Burst => "operates in a burst",
        Rule::Often => "operates often",
        Rule::Worsening => "gets worse",
        Rule::DidNotHold => "repair did not hold",
        Rule::Proving => "repair on trial",
        Rule::Held => "repair held",
        Rule::ClassWide => "the whole class",
        Rule::SharedCause => "one cause for several",
        Rule::Wet => "more when wet",
        Rule::StartingWeakens => "starting weakens",
        Rule::WrongFuse => "wrong fuse",
        Rule::ReclosedAgain => "closed again, reason not found",
        Rule::MustStayOn => "must stay on, was opened",
        Rule::Reported => "reported by a crew",
        Rule::KeptTripping => "kept tripping in one run",
        Rule::SafetyDevice => "safety device cut out",
        Rule::NotAuthorised => "not authorised",
        Rule::NobodyNamed => "nobody named",
        Rule::StillOpen => "still open",
        Rule::SecondGround => "second ground",
        Rule::PositionDoubtful => "position doubtful",
        Rule::NoPurpose => "no purpose given",
        Rule::NoAuthority => "no authority given",
        Rule::WrongOrder => "wrong order",
        Rule::Seal => "seal",
        Rule::SameHand => "reviewed by one with a hand in it",
        Rule::NotReviewed => "not reviewed",
        Rule::Expiring => "authorisation runs out",
    }
}

/// The rule itself. Its figures stand beside it on the page.
pub fn spelled(rule: Rule) -> &'static str {
    SPELLED.iter().find(|(known, _)| *known == rule).map_or("", |(_, says)| says)
}

const SPELLED: &[(Rule, &str)] = &[
    (
        Rule::Burst,
        "A score for each device of each unit weighs 'four and a half times the sister units' rate, for a year or so, since some day' against \
             'their rate', over all days on which that may have begun (Shiryaev and Roberts). Every operation multiplies it by 4.5; \
             every service day without one adds a day and takes a share away. A line is written once the score passes a height \
             that chance alone would pass about 46 times a year in a fleet of 20,000 devices, and never for fewer than 3 \
             operations, counted since the score last stood near what it comes to without any. Operations within 60 minutes of the \
             first count as one. The score starts afresh when a repair closes. The numbers are those that come with the \
             program; the Thresholds page has those in force.",
    ),
    (
        Rule::Reported,
        "Somebody wrote that the unit may not go on or only with a restriction, left a device off or cut out without a standing \
             reason, found the ground relay locked out, or had a crankcase-device or overspeed shutdown. It stays until a repair or a \
             later position ends it. No statistics.",
    ),
    (
        Rule::WrongFuse,
        "The fuse in the holder, or the one put in, does not carry the schedule's four figures: amperes above, volts below, \
             slower, another body, or bridged is certain; lower or faster is a caution; any figure unknown is 'cannot say'.",
    ),
    (
        Rule::ReclosedAgain,
        "A device was closed again without the reason for its opening being determined, within 24 hours after another such \
             closing by any crew, or more often than the schedule lets a crew. About the device, naming nobody \
             (practice of 29 CFR 1910.334(b)(2)).",
    ),
    (
        Rule::MustStayOn,
        "The schedule says this device stays on while the engine runs, or for some minutes after shutdown; it, or something up \
             its feed, was opened by hand in that time.",
    ),
    (Rule::KeptTripping, "The device operated three times or more in one run. Certain until answered."),
    (
        Rule::SafetyDevice,
        "A device that 49 CFR 218 subpart D protects (alerter, event recorder, cab signal cutouts) was cut out on a controlling \
             unit. It is never mixed with ground protection.",
    ),
    (
        Rule::Wet,
        "Of a ground relay's operations in 365 service days with their weather told, so many fell on wet days that chance alone \
             would do it once in a hundred, each weighed by how many of that month's days were wet on this unit; and on wet days it \
             operates at least twice as often as on dry ones. A note of where to look; it stays while that is so, and until two \
             average gaps without an operation or a repair. The weather is what this unit's own reports tell.",
    ),
    (
        Rule::StartingWeakens,
        "Cranking volts, less the median of the class in the same fortnight (six units or more): the line through at least 8, and the latest 60 at most, \
             electric starts of one life falls for certain (95 %) and meets the schedule's least volts within 60 days. The line is the \
             median of all slopes between two starts (Theil and Sen). Or two failed starts of one kind in 14 days, attempts within an \
             hour counting as one. A repair of the unit or of its starting begins afresh.",
    ),
    (
        Rule::SharedCause,
        "Three or more different devices of one panel, or of one feed, operated on one unit within 10 minutes, or one device \
             on two or more units of a consist within 15, and chance alone would bring fewer than one such group in 20 years of \
             the whole fleet. By chance: the devices' average rates on the other units, any so many of them within that time, \
             times the fleet's units and 365 days; a device of which too little is known counts with the most that is likely \
             (80 % bound). Only times read off a clock count, and the same quarter hour in two reports is taken for two memories. \
             The line replaces those about its single devices. It stays until a repair of one of them, of the feed or of the \
             unit closes, or until 90 service days pass without another group.",
    ),
    (
        Rule::Often,
        "Three or more in the 365 service days up to an operation, and 9 chances in 10 that the rate is over twice the class's. \
             The class counts as half an operation to two operations of evidence, by how unlike its units are; the unit's own \
             year counts as what it is. Units differ by less than this without anything being wrong.",
    ),
    (
        Rule::Worsening,
        "Looked for once a month, at the month's first class figures and up to that day, over all devices with five or more \
             operations in one life. Laplace's trend, divided by the spread of the gaps where that is over 1, has to reach 1.645; \
             a steady device looks like it once in twenty at most; and of all such lines together one in ten may be wrong \
             (Benjamini and Hochberg). A burst alone is no trend.",
    ),
    (
        Rule::DidNotHold,
        "After a repair closed, the first operation came so soon that a unit at the class's rate would come back that soon one \
             time in twenty at most (less where many repairs are closed), or two and more came where such a unit would have so many \
             one time in a hundred. Held against the class, not against the bad run before: shops repair after a bad run, and \
             the next spell is better whatever they did.",
    ),
    (
        Rule::Proving,
        "Silence proves a repair once a device with its rate from before would be silent so long one time in twenty at most. \
             Its rate before: the class as half an operation to two operations of evidence, and its own last 365 service days. \
             Over 730 service days silence cannot prove it.",
    ),
    (
        Rule::Held,
        "The device was silent since its repair for as long as proves it: with its rate from before, one time in twenty at most. \
             Told for 30 service days.",
    ),
    (
        Rule::ClassWide,
        "Looked for once a month: a device of one class against the devices with the same legend in all other classes. Its rate \
             has to be one and a half times theirs, with the spread that units have anyway allowed for; three units or more have to be \
             in it, and it has to be so still without the worst of them; of all such lines together one in twenty may be wrong \
             (Benjamini and Hochberg). It ends when class figures taken later no longer say so.",
    ),
    (
        Rule::NotAuthorised,
        "Whoever opened the ground-relay cutout held no authorisation for that class at that moment. Own right: no finding. \
             Ordered by one who holds it: said so. Neither: said so. Closing is open to anyone and never a finding. Grants and \
             revocations made later change nothing.",
    ),
    (
        Rule::NobodyNamed,
        "The cutout was found open, or its opener is not known: the line says since when it can have been open, and who had the unit.",
    ),
    (
        Rule::StillOpen,
        "Open while the engine runs, power is taken or the unit moves, or opened to keep moving: at once. For an insulation test, \
             locating a ground or a repair, engine shut down, lock or tag on record: after 8 hours, and each 8 hours again. Otherwise, \
             and where no purpose is stated, after 1 hour. The hours are this book's own, no source; they are when it begins to ask, never permissions.",
    ),
    (
        Rule::SecondGround,
        "Power was taken, or there were signs of arcing, smoke or flash, while ground protection was bypassed; or the ground relay \
             operated within 24 hours after closing.",
    ),
    (
        Rule::PositionDoubtful,
        "A ground-relay operation is recorded while the cutout is recorded open, which silences the relay: a time is wrong, or \
             somebody closed it unrecorded. Treat as open until looked at.",
    ),
    (
        Rule::NoPurpose,
        "No purpose was given for opening the cutout; 'to keep moving' is its own, loud purpose.",
    ),
    (
        Rule::NoAuthority,
        "Nobody was named on whose word the cutout was opened, by one without a right of their own.",
    ),
    (
        Rule::WrongOrder,
        "The acts are recorded in an order that cannot be right: an insulation test with the engine running, say.",
    ),
    (
        Rule::Seal,
        "The seal found is not the one last applied, was broken with no opening on record, or none was applied at closing. The \
             first number seen is the baseline.",
    ),
    (Rule::SameHand, "The review is signed by somebody who opened, closed, authorised or granted."),
    (
        Rule::NotReviewed,
        "Nobody with no hand in it signed a review within 7 days of the opening. A later entry, amendment or statement about it \
             counts again from the day it was written: a review answers only what its writer can have seen.",
    ),
    (
        Rule::Expiring,
        "An authorisation to open ground-relay cutouts that ends within 60 days: until it has ended, was revoked, or another one \
             for the same classes goes on from the next day. Of somebody who has left it is not told.",
    ),
];

/// Figures' names on a page.
const FIGURES: &[(&str, &str)] = &[
    ("occurrences", "Occurrences counted (operations within 60 minutes of the first are one)"),
    ("operations", "Operations written down (a reset that tripped again is one more)"),
    ("service_days", "Service days from the first to the last, both counted"),
    ("normal_gap_days", "Sister units: service days from one to the next, on average"),
    ("others_occurrences", "Sister units: occurrences in 365 days"),
    ("others_service_days", "Sister units: service days in 365 days"),
    ("rate_per_day", "Sister units: occurrences and one more, a service day (the score uses this)"),
    ("looks_for_times", "Looks for so many times that rate"),
    ("score_before", "Score before the first, service days"),
    ("score", "Highest score reached, service days"),
    ("threshold", "Score at which a line is written, service days"),
    ("year_occurrences", "This unit: occurrences in its last 365 service days"),
    ("year_service_days", "This unit: service days of those that are known"),
    ("class_counts_as_occurrences", "The class counts as evidence: occurrences"),
    ("class_counts_as_days", "The class counts as evidence: service days"),
    ("extra_in_30_days", "Occurrences to expect in the next 30 service days beyond a sister unit's"),
    ("told_operations", "Operations in 365 service days with their day's weather told"),
    ("wet_operations", "Operations on wet days"),
    ("wet_to_expect", "Operations on wet days to expect: the shares of wet days in their months, added up"),
    ("untold_operations", "Operations of which nobody told the weather"),
    ("chance_one_in", "By chance alone: one healthy unit in"),
    ("starts", "Electric starts with the class's volts known"),
    ("fall_in_30_days_v", "Fall against the class in 30 days, volts"),
    ("fall_at_least_v", "Fall in 30 days, volts: at least (95 % interval)"),
    ("fall_at_most_v", "Fall in 30 days, volts: at most (95 % interval)"),
    ("line_now_v", "Volts at the last start by the line"),
    ("class_now_v", "The class's median volts in that fortnight"),
    ("minimum_v", "The schedule's least cranking volts"),
    ("days_to_minimum", "Days from the last start until the line meets them"),
    ("starts_under_minimum_in_30_days", "Starts under them to expect in the next 30 days"),
    ("start_faults", "Failed starts of that kind (attempts within an hour are one)"),
    ("kind", "How they failed"),
    ("calendar_days", "Days from the first to the last, both counted"),
    ("person", "Whose authorisation"),
    ("last_day", "Its last day"),
    ("class_rate_per_day", "The class's rate, this unit counted in: occurrences a service day"),
    ("expected", "A unit at the class's rate would have"),
    ("certainty", "How sure that the rate is over so many times the class's (1 is certain)"),
    ("in_last_third", "Occurrences in the last third of the life's service days"),
    ("laplace_u", "Laplace's trend (0 for a steady device)"),
    ("variation_of_gaps", "Spread of the gaps over their mean (1 for a steady device)"),
    ("trend", "The trend over that spread, where it is over 1"),
    ("returns", "Occurrences since the repair"),
    ("chance", "The chance of that in a unit at the class's rate"),
    ("no_fault_found", "The repair found no fault"),
    ("days_of_silence", "Service days of silence that prove it"),
    ("class_service_days", "The class: service days in 365 days"),
    ("units_with_any", "Units with any of them"),
    ("ordinary_classes", "Ordinary classes of which one would stand out so far"),
    ("rest_occurrences", "The same device elsewhere: occurrences in 365 days"),
    ("rest_service_days", "The same device elsewhere: service days"),
    ("ratio", "So many times the rate elsewhere"),
    ("ratio_without_worst", "The same without the worst unit"),
    ("groups", "Groups so far"),
    ("devices", "Devices in them"),
    ("units", "Units in them"),
    ("minutes", "Minutes from the first to the last of the latest group"),
    ("among", "Devices that hang on the panel or feed, or units in the consist"),
    ("fleet_units", "Units of the fleet that were in service"),
    ("expected_per_fleet_year", "Groups like the latest to be expected by chance, per fleet and year"),
    ("one_in", "Healthy units that would do this in a year: one in"),
    ("remind_every_hours", "The book asks again every so many hours"),
    ("hours_since_closed", "Hours since the cutout was closed"),
];

/// A figure's name on a page. A rule that brings a new one is read out as it stands.
pub fn figure_name(name: &str) -> String {
    let known = FIGURES.iter().find(|(known, _)| *known == name);
    known.map_or_else(|| name.replace('_', " "), |(_, says)| (*says).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_spelled_out_once() {
        for rule in Rule::ALL {
            let found = SPELLED.iter().filter(|(known, _)| known == rule).count();
            assert_eq!(found, 1, "{rule}");
            assert!(spelled(*rule).len() > 40, "{rule}: {}", spelled(*rule));
        }
    }
}
