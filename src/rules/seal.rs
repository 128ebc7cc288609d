//! *seal*: the numbered wire through a cutout's guard tells whether anybody opened it unrecorded.
use super::{
    case::Case,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    occurrence::seen_closed,
};
use crate::{
    base::{Instant, Tag, text::own_words, words::words},
    reports::vocabulary::SealWord,
};

words! {
    /// What an entry tells of a cutout's seal.
    pub enum SealAct {
        /// Looked at while the cutout stood closed.
        Found = "found",
        /// The cutout was opened, or found open: whatever seal it had is broken.
        Opened = "opened",
        /// The cutout was closed.
        Closed = "closed",
    }
}

/// One link of a cutout's chain of seals.
#[derive(Clone, Debug, PartialEq)]
pub struct Link<'a> {
    pub at: Instant,
    pub fact: &'a Fact,
    pub act: SealAct,
    /// As told: a number, or a word about it.
    pub seal: Option<&'a str>,
    /// The number that was last on record, if there was one and the cutout was not opened since.
    pub before: Option<&'a str>,
    /// Where the chain breaks, in words.
    pub wrong: Option<String>,
}

impl<'a> Link<'a> {
    /// The number told, if it is one.
    pub fn number(&self) -> Option<&'a str> {
        self.seal.and_then(number)
    }

    /// What is on record after it.
    fn leaves(&self) -> Option<&'a str> {
        match self.act {
            SealAct::Found => self.number().or(self.before),
            // Open, its seal is rightly broken.
            SealAct::Opened => None,
            SealAct::Closed => self.number(),
        }
    }
}

/// Everything told of a cutout's seal, oldest first, each held against what was on record before it.
pub fn chain<'a>(facts: &[&'a Fact], tag: &Tag) -> Vec<Link<'a>> {
    let mut known = None;
    let mut links = Vec::new();
    for Look { at, fact, act, seal } in looks(facts, tag) {
        let wrong = match act {
            SealAct::Found => found_wrong(known, seal),
            SealAct::Opened => None,
            SealAct::Closed => applied_wrong(seal),
        };
        let link = Link { at, fact, act, seal, before: known, wrong };
        known = link.leaves();
        links.push(link);
    }
    links
}

pub fn seal(case: &Case<'_>, tag: &Tag, facts: &[&Fact], out: &mut Vec<Finding>) {
    for link in chain(facts, tag) {
        let Some(says) = &link.wrong else { continue };
        let mark = if link.act == SealAct::Closed { "applied" } else { "found" };
        let finding = told(case, tag, link.fact, link.at, mark, says);
        out.push(match link.before.filter(|_| link.act == SealAct::Found) {
            Some(last) => finding.figure("last_applied", last),
            None => finding,
        });
    }
}

/// How a closed cutout is told to lack its seal, and since when; `None`: it is not, or it stands open.
pub fn lacking(facts: &[&Fact], tag: &Tag) -> Option<(Instant, String)> {
    let mut lacks = None;
    for Look { at, act, seal, .. } in looks(facts, tag) {
        if act == SealAct::Opened {
            lacks = None;
            continue;
        }
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
struct Look<'a> {
    at: Instant,
    fact: &'a Fact,
    act: SealAct,
    seal: Option<&'a str>,
}

fn looks<'a>(facts: &[&'a Fact], tag: &Tag) -> Vec<Look<'a>> {
    let mut out: Vec<Look<'a>> = Vec::new();
    for fact in facts.iter().copied() {
        let mut look = |at, act, seal| out.push(Look { at, fact, act, seal });
        match &fact.told {
            Told::Bypass(b) if b.device == *tag => {
                // Found open: whatever is left of the seal says nothing new.
                if let Some(seal) = b.seal_found.as_deref().filter(|_| !fact.found) {
                    look(fact.at, SealAct::Found, Some(seal));
                }
                look(fact.at, SealAct::Opened, b.seal_found.as_deref().filter(|_| fact.found));
                if let Some(at) = b.end(fact.at) {
                    look(at, SealAct::Closed, b.seal_applied.as_deref());
                }
            }
            Told::Position(p) if p.device == *tag => {
                let seal = p.seal.as_deref();
                if p.closed() {
                    look(fact.at, SealAct::Closed, seal);
                } else if p.opened() {
                    if seal.is_some() {
                        look(fact.at, SealAct::Found, seal);
                    }
                    look(fact.at, SealAct::Opened, None);
                } else if seen_closed(p.seen) == Some(false) {
                    look(fact.at, SealAct::Opened, seal);
                } else if seal.is_some() {
                    look(fact.at, SealAct::Found, seal);
                }
            }
            _ => {}
        }
    }
    out.sort_by_key(|look| look.at);
    out
}

fn found_wrong(known: Option<&str>, seal: Option<&str>) -> Option<String> {
    let (last, seal) = (known?, seal?);
    match (number(seal), SealWord::parse(seal)) {
        (Some(found), _) if found != last => {
            Some(format!("found {}, the one last on record is {}", own_words(found), own_words(last)))
        }
        (_, Some(word @ (SealWord::Broken | SealWord::Missing | SealWord::None))) => Some(format!(
            "found {word} with no opening on record; the one last on record is {}",
            own_words(last)
        )),
        _ => None,
    }
}

fn applied_wrong(seal: Option<&str>) -> Option<String> {
    match seal.map(|s| (number(s), SealWord::parse(s))) {
        None => Some("closed, and no seal written down".to_owned()),
        Some((None, Some(SealWord::None | SealWord::Missing | SealWord::Broken))) => {
            Some("closed with no seal applied".to_owned())
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{bypass, position};

    fn seen(when: &str, moved_to: Option<&str>, seal: Option<&str>) -> Fact {
        let mut fact = position(when, "GRC", "closed", moved_to);
        if let Told::Position(p) = &mut fact.told {
            p.seal = seal.map(str::to_owned);
        }
        fact
    }

    #[test]
    fn every_link_is_held_against_the_one_before_it() {
        let opened = bypass("2026-03-03T10:00:00Z", "GRC", |b| {
            b.seal_found = Some("20417".into());
            b.closed_at = Some(crate::rules::sample::at("2026-03-03T11:00:00Z"));
            b.seal_applied = Some("20433".into());
        });
        let facts = [
            seen("2026-03-01T10:00:00Z", None, Some("20417")),
            seen("2026-03-02T10:00:00Z", None, Some("not_looked")),
            opened,
            seen("2026-03-04T10:00:00Z", None, Some("20433")),
            seen("2026-03-05T10:00:00Z", None, None),
            seen("2026-03-06T10:00:00Z", None, Some("missing")),
            seen("2026-03-07T10:00:00Z", Some("closed"), None),
            seen("2026-03-08T10:00:00Z", None, Some("20500")),
        ];
        let all: Vec<&Fact> = facts.iter().collect();
        let told: Vec<_> = chain(&all, &Tag::from("GRC"))
            .iter()
            .map(|l| (l.act.as_str(), l.seal.unwrap_or("-"), l.before.unwrap_or("-"), l.wrong.is_some()))
            .collect();
        assert_eq!(
            told,
            [
                ("found", "20417", "-", false),
                ("found", "not_looked", "20417", false),
                ("found", "20417", "20417", false),
                ("opened", "-", "20417", false),
                ("closed", "20433", "-", false),
                ("found", "20433", "20433", false),
                ("found", "missing", "20433", true),
                ("closed", "-", "20433", true),
                // Nothing is on record any more: a new baseline.
                ("found", "20500", "-", false),
            ]
        );
    }
}
