//! A cutout's chain of seals in words: each link with who told it, and where the chain breaks. What was only looked at and found
//! as it was is told together.
use crate::{
    base::{Instant, Tag, Zone},
    pages::drawn::told::said,
    reports::vocabulary::SealWord,
    rules::{
        Fact, Told,
        seal::{Link, SealAct, chain},
    },
    web::paths,
};

pub(super) struct SealRow {
    pub at: Instant,
    /// The last look of those that are told together.
    pub to: Instant,
    pub when: String,
    pub act: SealAct,
    pub seal: String,
    pub before: String,
    pub says: String,
    pub broken: bool,
    pub by: String,
    pub entry: String,
    pub entry_path: String,
    /// Looks told together, one otherwise.
    pub looks: u64,
}

/// The chain of one cutout, oldest first. A look made at an opening stands by itself: it is what was broken then.
pub(super) fn rows(facts: &[&Fact], tag: &Tag, zone: &Zone) -> Vec<SealRow> {
    let mut rows: Vec<SealRow> = Vec::new();
    let mut last_looked = false;
    for link in chain(facts, tag) {
        let one = row(&link, zone);
        let looked = link.act == SealAct::Found && !one.broken && !matches!(link.fact.told, Told::Bypass(_));
        match rows.last_mut() {
            Some(last) if looked && last_looked && (&last.seal, &last.says) == (&one.seal, &one.says) => {
                last.looks += 1;
                last.to = link.at;
                last.by = format!("{}, last by {}", times(last.looks), link.fact.author);
                last.when = format!("{} to {}", zone.in_words(last.at), one.when);
            }
            _ => rows.push(one),
        }
        last_looked = looked;
    }
    rows
}

fn times(looks: u64) -> String {
    format!("{looks} looks")
}

fn row(link: &Link<'_>, zone: &Zone) -> SealRow {
    SealRow {
        at: link.at,
        to: link.at,
        when: zone.in_words(link.at),
        act: link.act,
        seal: seal_says(link),
        before: link.before.unwrap_or_default().to_owned(),
        says: says(link),
        broken: link.wrong.is_some(),
        by: link.fact.author.to_string(),
        entry: link.fact.entry.to_string(),
        entry_path: paths::Entry(link.fact.entry).to_string(),
        looks: 1,
    }
}

/// A number as it is, a word as people say it.
fn seal_says(link: &Link<'_>) -> String {
    match link.seal {
        None if link.act == SealAct::Opened => String::new(),
        None => "not told".to_owned(),
        Some(seal) if SealWord::parse(seal).is_some() => said(seal),
        Some(seal) => seal.to_owned(),
    }
}

fn says(link: &Link<'_>) -> String {
    if let Some(wrong) = &link.wrong {
        return wrong.clone();
    }
    let word = link.seal.and_then(SealWord::parse);
    match (link.act, link.number(), link.before, word) {
        (SealAct::Opened, _, Some(before), _) if !link.fact.found => {
            format!("cutout opened, {before} broken with it")
        }
        (SealAct::Opened, ..) if link.fact.found => "cutout found open".to_owned(),
        (SealAct::Opened, ..) => "cutout told open".to_owned(),
        (SealAct::Closed, Some(_), ..) => "cutout closed, seal applied".to_owned(),
        (SealAct::Closed, _, _, Some(SealWord::Unnumbered)) => {
            "cutout closed, sealed, number not told".to_owned()
        }
        (SealAct::Closed, ..) => format!("cutout closed, its seal told as {}", seal_says(link)),
        (SealAct::Found, Some(_), Some(_), _) => "as on record".to_owned(),
        (SealAct::Found, Some(_), None, _) => "no number was on record: the chain begins here".to_owned(),
        (SealAct::Found, _, _, Some(SealWord::Unnumbered)) => "whole, its number was not told".to_owned(),
        (SealAct::Found, _, _, Some(SealWord::Broken | SealWord::Missing | SealWord::None)) => {
            "nothing was on record to hold it against".to_owned()
        }
        (SealAct::Found, ..) => "says nothing about the number".to_owned(),
    }
}
