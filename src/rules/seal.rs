//! *seal*: the numbered wire through a cutout's guard tells whether anybody opened it unrecorded.
use super::{
    case::Case,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    occurrence::seen_closed,
};
use crate::{
    base::{Instant, Tag, text::own_words},
    reports::vocabulary::SealWord,
};

/// What is known of the seal before an entry is read.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Known<'a> {
    /// Nothing: the next number seen is the baseline.
    Nothing,
    Number(&'a str),
    /// The cutout is open, so its seal is rightly broken.
    Opened,
}

pub fn seal(case: &Case<'_>, tag: &Tag, facts: &[&Fact], out: &mut Vec<Finding>) {
    let mut known = Known::Nothing;
    for look in looks(facts, tag) {
        match look {
            Look::Found(fact, seal) => {
                if let (Known::Number(last), Some(says)) = (&known, found_wrong(&known, seal)) {
                    out.push(told(case, tag, fact, fact.at, "found", &says).figure("last_applied", *last));
                }
                if let Some(number) = number(seal) {
                    known = Known::Number(number);
                }
            }
            Look::Opened => known = Known::Opened,
            Look::Closed(fact, at, seal) => {
                known = seal.and_then(number).map_or(Known::Nothing, Known::Number);
                let says = match seal.map(|s| (number(s), SealWord::parse(s))) {
                    None => Some("closed, and no seal written down".to_owned()),
                    Some((None, Some(SealWord::None | SealWord::Missing | SealWord::Broken))) => {
                        Some("closed with no seal applied".to_owned())
                    }
                    _ => None,
                };
                out.extend(says.map(|says| told(case, tag, fact, at, "applied", &says)));
            }
        }
    }
}

/// How a closed cutout is told to lack its seal, and since when; `None`: it is not, or it stands open.
pub fn lacking(facts: &[&Fact], tag: &Tag) -> Option<(Instant, String)> {
    let mut lacks = None;
    for look in looks(facts, tag) {
        let (at, seal) = match look {
            Look::Opened => {
                lacks = None;
                continue;
            }
            Look::Found(fact, seal) => (fact.at, Some(seal)),
            Look::Closed(_, at, seal) => (at, seal),
        };
        lacks = match (seal, seal.and_then(SealWord::parse)) {
            (None, _) => Some((at, "closed, and no seal written down".to_owned())),
            (_, Some(word @ (SealWord::Broken | SealWord::Missing | SealWord::None))) => {
                Some((at, format!("seal told as {word}")))
            }
            // Nobody looked at it, or could not read it.
            (_, Some(SealWord::NotLooked | SealWord::Illegible)) => lacks,
            _ => None,
        };
    }
    lacks
}

/// One look at the seal, or an act that changes what it should be.
enum Look<'a> {
    Found(&'a Fact, &'a str),
    Opened,
    Closed(&'a Fact, Instant, Option<&'a str>),
}

fn looks<'a>(facts: &[&'a Fact], tag: &Tag) -> Vec<Look<'a>> {
    let mut out: Vec<(Instant, Look<'a>)> = Vec::new();
    for fact in facts.iter().copied() {
        match &fact.told {
            Told::Bypass(b) if b.device == *tag => {
                // Found open: whatever is left of the seal says nothing new.
                if let Some(seal) = b.seal_found.as_deref().filter(|_| !fact.found) {
                    out.push((fact.at, Look::Found(fact, seal)));
                }
                out.push((fact.at, Look::Opened));
                if let Some(at) = b.end(fact.at) {
                    out.push((at, Look::Closed(fact, at, b.seal_applied.as_deref())));
                }
            }
            Told::Position(p) if p.device == *tag => {
                let seal = p.seal.as_deref();
                if p.closed() {
                    out.push((fact.at, Look::Closed(fact, fact.at, seal)));
                } else if p.opened() {
                    out.extend(seal.map(|seal| (fact.at, Look::Found(fact, seal))));
                    out.push((fact.at, Look::Opened));
                } else if seen_closed(p.seen) == Some(false) {
                    out.push((fact.at, Look::Opened));
                } else if let Some(seal) = seal {
                    out.push((fact.at, Look::Found(fact, seal)));
                }
            }
            _ => {}
        }
    }
    out.sort_by_key(|(at, _)| *at);
    out.into_iter().map(|(_, look)| look).collect()
}

fn found_wrong(known: &Known<'_>, seal: &str) -> Option<String> {
    let Known::Number(last) = known else { return None };
    match (number(seal), SealWord::parse(seal)) {
        (Some(found), _) if found != *last => {
            Some(format!("found {}, the one last on record is {}", own_words(found), own_words(last)))
        }
        (_, Some(word @ (SealWord::Broken | SealWord::Missing | SealWord::None))) => Some(format!(
            "found {word} with no opening on record; the one last on record is {}",
            own_words(last)
        )),
        _ => None,
    }
}

/// The number itself; `None` for a word about a seal.
fn number(seal: &str) -> Option<&str> {
    let seal = seal.trim();
    (!seal.is_empty() && SealWord::parse(seal).is_none()).then_some(seal)
}

fn told(case: &Case<'_>, tag: &Tag, fact: &Fact, at: Instant, mark: &str, says: &str) -> Finding {
    let name = case.named(tag, at);
    case.finding(Rule::Seal, Some(tag), &format!("{}:{mark}", fact.entry), at)
        .weighs(5.0)
        .says(format!("Seal of {name}: {says}. {}.", case.when(at)))
        .rests_on([fact.entry])
}
