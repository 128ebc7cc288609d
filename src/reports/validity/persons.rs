//! Names of people. Only the author must be in the book: who opened a cutout may be somebody the office has not
//! entered yet, and that it was opened must be on record all the same.
use super::{Around, ask};
use crate::{
    base::{Code, Problems, SignIn, text},
    reports::{
        Entry, What,
        entry::Who,
        kinds::{BreakerTrip, Bypass, Position},
        reading::fields::{Path, refuse},
    },
};

pub fn author(author: &SignIn, around: &Around, problems: &mut Problems) {
    if around.people.person(author).is_none() {
        let says =
            format!("{} They have to be entered before they can sign anything.", nobody(author, around));
        refuse::<()>(problems, &Path::Field(&Path::Whole, "author"), Code::UnknownPerson, says);
    }
}

pub fn of_entry(entry: &Entry, at: &Path, around: &Around, problems: &mut Problems) {
    match &entry.what {
        What::BreakerTrip(BreakerTrip { resets, .. }) => {
            let list = Path::Field(at, "resets");
            for (place, reset) in resets.iter().enumerate() {
                named(reset.told_by.as_ref(), "told_by", &Path::Item(&list, place), around, problems);
            }
        }
        What::Bypass(Bypass { by, authorised_by, closed_by, .. }) => {
            named(by.as_ref(), "by", at, around, problems);
            named(authorised_by.as_ref(), "authorised_by", at, around, problems);
            named(closed_by.as_ref(), "closed_by", at, around, problems);
        }
        What::Position(Position { by, .. }) => named(by.as_ref(), "by", at, around, problems),
        _ => {}
    }
}

fn named(who: Option<&Who>, field: &str, at: &Path, around: &Around, problems: &mut Problems) {
    let Some(person) = who.and_then(Who::person) else { return };
    // To look for the likely name takes time, and a hostile report could name very many.
    if around.people.person(person).is_none() && problems.has_room_to_ask() {
        let says = format!("{} If they have no sign-in name, write their name.", nobody(person, around));
        ask(problems, at, field, Code::UnknownPerson, says);
    }
}

fn nobody(person: &SignIn, around: &Around) -> String {
    let known = around.people.persons.keys().map(SignIn::as_str);
    let likely = text::nearest(person.as_str(), known);
    let likely = likely.map(|name| format!(" Did you mean {name}?")).unwrap_or_default();
    format!("Nobody has the sign-in name {person}.{likely}")
}
