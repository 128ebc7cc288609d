//! The sentences of the reader, for somebody tired: what is wrong, and what to do.
use crate::base::text;

pub const TEXT: &str = "This should be text, in quotes.";
pub const NUMBER: &str = "This should be a number, without quotes.";
pub const WHOLE: &str = "This should be a whole number, without quotes.";
pub const TRUE_FALSE: &str = "This should be true or false, without quotes.";

pub fn missing(name: &str) -> String {
    let says = match name {
        "id" => "Give this an id of its own, a UUID.",
        "unit" => "Say which unit, by mark and road number.",
        "author" => "Say who writes this, by sign-in name.",
        "started" => "Say when the run started.",
        "entries" => "Give the entries. An empty list means 'nothing to report'.",
        "signed_at" => "Say when this was signed.",
        "kind" => "Say what kind of entry this is.",
        "at" => "Say when it happened or, if you found it so, when you found it.",
        "opened_at" => "Say when it was opened or, if you found it open, when you found it.",
        "device" => "Say which device. If it is not listed, write what its plate says.",
        "not_listed" => "Write what the device's plate says.",
        "name" => "Write the person's name, or not_known.",
        "left" => "Say how it was left.",
        "result" => "Say what the check found.",
        "outcome" => "Say how the start ended.",
        "seen" => "Say how the device was seen.",
        "report" => "Say which report this corrects, by its id.",
        "entry" => "Say which entry this corrects, by its id.",
        "reason" => "Say why this is corrected.",
        _ => "This must be filled in.",
    };
    says.to_owned()
}

pub fn unknown_field(name: &str, likely: Option<&str>) -> String {
    let name = text::quoted(name);
    match likely {
        Some(likely) => format!("There is no field {name} here. Did you mean \"{likely}\"?"),
        None => format!("There is no field {name} here. Take it out, or put what it says in \"note\"."),
    }
}

/// The names of the time fields differ between a bypass and the rest, which is easily forgotten.
pub fn other_name<'n>(typed: &str, mut known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let other = match typed {
        "at" => "opened_at",
        "found_at" => "found_open_at",
        "opened_at" => "at",
        "found_open_at" => "found_at",
        _ => return None,
    };
    known.find(|name| *name == other)
}

pub fn not_allowed(typed: &str, spellings: &str) -> String {
    let likely = text::nearest(typed, spellings.split(", "));
    let likely = likely.map(|word| format!(" Did you mean {word}?")).unwrap_or_default();
    format!("{} is not one of the words here.{likely} They are: {spellings}.", text::quoted(typed))
}

pub fn one_of(says: &str, spellings: &str) -> String {
    format!("{} One of: {spellings}.", says)
}

pub const NOT_A_TIME: &str = "This is not a time. Write it as 2026-03-02T23:12:00-06:00, with its offset.";
pub const NO_OFFSET: &str =
    "This time has no offset. Add how far it is from UTC, as in 2026-03-02T23:12:00-06:00, or Z for UTC.";
pub const NO_SUCH_YEAR: &str = "No report can be of that year. Check the date.";
pub const NOT_A_UUID: &str = "This is not a UUID. It looks like 0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10.";
pub const NOT_A_UNIT: &str =
    "This is not a unit. Write its mark, a space and its road number, as in QHB 412.";
pub const NOT_A_SIGN_IN: &str =
    "This is not a sign-in name (letters, digits, dots, dashes; 2 to 40 of them).";
pub const NOT_A_PERSON: &str =
    "This is not a sign-in name. For somebody without one write {\"name\": \"...\"}, or \"not_known\".";
pub const NOT_A_DEVICE: &str = "Write the device's tag, or {\"not_listed\": \"what its plate says\"}.";
pub const OWN_NAME: &str = "The book itself uses this name. Write the tag on the device's plate.";
pub const SEAL_AS_TEXT: &str =
    "Write the seal's number as text, in quotes, so that zeros in front of it are kept.";
pub const BOTH_TIMES: &str =
    "Give one time only: when it happened, or when you found it so. Take the other one out.";
pub const NO_BASIS: &str =
    "It does not say on what ground the circuit was closed again. Stored as not_determined.";
pub const OTHER_ENTRY: &str =
    "The replacement must keep the id of the entry it replaces. Use the same id in both places.";

pub fn too_long(most: usize, is: usize) -> String {
    format!("This is {is} characters long and {most} is the most. Shorten it.")
}
