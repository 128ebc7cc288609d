//! Whether the one who opened a cutout held the right to, as of the act: later grants and revocations never
//! change what was so.
use super::{case::Case, fact::Hand, register::Authorised};
use crate::{
    base::{Instant, SignIn, text::own_words},
    people::Authorisation,
};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authority {
    pub authorised: Authorised,
    pub why: String,
    /// Who granted the authorisation it rests on: not to review it either.
    pub granted_by: Vec<SignIn>,
}

pub fn authority(case: &Case<'_>, opener: &Hand, act: Instant, ordered_by: Option<&Hand>) -> Authority {
    let none = |authorised, why| Authority { authorised, why, granted_by: Vec::new() };
    let own = match opener {
        Hand::NotKnown => return none(Authorised::NotKnown, "who opened it is not known".to_owned()),
        Hand::Named(_) => Err("no sign-in name, so no authorisation in the book".to_owned()),
        Hand::Person(person) => right(case, person, act),
    };
    match (own, ordered_by) {
        (Ok(own), ordered_by) => Authority {
            authorised: Authorised::OwnRight,
            why: format!("{}{}", words(case, own), note(case, ordered_by, act)),
            granted_by: own.granters().cloned().collect(),
        },
        (Err(why_not), Some(Hand::Person(person))) => match right(case, person, act) {
            Ok(theirs) => Authority {
                authorised: Authorised::Ordered,
                why: format!("{why_not}; ordered by {person}, {}", words(case, theirs)),
                granted_by: theirs.granters().cloned().collect(),
            },
            Err(nor_they) => {
                none(Authorised::Neither, format!("{why_not}; {person}, named as ordering it: {nor_they}"))
            }
        },
        (Err(why_not), Some(Hand::Named(name))) => none(
            Authorised::Neither,
            format!("{why_not}; {}, named as ordering it, has no sign-in name", own_words(name)),
        ),
        (Err(why_not), _) => none(Authorised::Neither, why_not),
    }
}

/// A named authoriser without a right is a note, no more, where the opener had one.
fn note(case: &Case<'_>, ordered_by: Option<&Hand>, act: Instant) -> String {
    match ordered_by {
        Some(Hand::Person(person)) => match right(case, person, act) {
            Ok(_) => String::new(),
            Err(why_not) => format!("; note: {person}, named as authorising it: {why_not}"),
        },
        _ => String::new(),
    }
}

/// The authorisation that gave this person the right then, or why none did.
fn right<'a>(case: &Case<'a>, person: &SignIn, act: Instant) -> Result<&'a Authorisation, String> {
    let theirs = case.ground.people.authorisations.iter().map(AsRef::as_ref).filter(|a| a.person == *person);
    let mut nearest: Option<&Authorisation> = None;
    for one in theirs {
        if one.holds(case.class(), act, case.ground.zone) {
            return Ok(one);
        }
        if nearest.is_none_or(|n| (n.from, n.seq) < (one.from, one.seq)) {
            nearest = Some(one);
        }
    }
    Err(nearest.map_or_else(|| "no authorisation in the book".to_owned(), |one| why_not(case, one, act)))
}

fn why_not(case: &Case<'_>, one: &Authorisation, act: Instant) -> String {
    let zone = case.ground.zone;
    let day = zone.day_of(act);
    if !one.scope.covers(case.class()) {
        let class = case.class().map_or("a unit off the roster".to_owned(), |c| format!("class {c}"));
        format!("authorised for other classes, not for {class}")
    } else if one.from > day {
        format!("authorisation begins {}", one.from.in_words())
    } else if let Some(to) = one.to.filter(|to| *to < day) {
        format!("authorisation ended {}", to.in_words())
    } else if let Some(revoked) = one.revoked_at.filter(|at| *at <= act) {
        let reason = one.revoked.as_ref().map(|revoked| format!(" ({})", own_words(&revoked.reason)));
        format!("authorisation revoked {}{}", zone.in_words(revoked), reason.unwrap_or_default())
    } else {
        format!("authorisation entered {}, after the act", zone.in_words(one.recorded_at))
    }
}

fn words(case: &Case<'_>, one: &Authorisation) -> String {
    let span = match one.to {
        Some(to) => format!("{} to {}", one.from.in_words(), to.in_words()),
        None => format!("from {}", one.from.in_words()),
    };
    if one.from_list {
        let entered = case.ground.zone.day_in_words(one.recorded_at);
        format!("authorised {span} (from a list entered on {entered} by {})", one.granted_by)
    } else {
        format!("authorised {span} by {}", one.granted_by)
    }
}
