//! The lines of the board: what stands under what, what to test first, where each leads.
use std::collections::BTreeMap;

use super::{ground, inspections::Tracked, looked::Seen, pictures_store::Whereabouts, telling};
use crate::{
    base::{Instant, UnitName, text},
    desk::World,
    pages::drawn::{rules, told},
    people::Act,
    reports::Entry,
    rules::{Finding, Rule, store::State as Standing, test_first::test_first},
    shop::Causes,
    web::{Me, paths},
};

pub struct Line {
    pub path: String,
    pub certain: bool,
    pub unit: String,
    pub device: String,
    pub rule: &'static str,
    pub sentence: String,
    /// `jumper (6 of 9)`.
    pub test_first: Option<String>,
    pub since: String,
    pub rank: String,
    pub state: Option<&'static str>,
    /// Where the unit is at home, where it was last, when it is next in the shop; empty where nobody asked.
    pub there: String,
    pub unit_path: Option<String>,
    /// Not there when this person last looked.
    pub new: bool,
    /// Its key and those of the lines under it.
    pub keys: Vec<String>,
    /// The lines that this one explains, or that say more about the same device.
    pub folded: Vec<Folded>,
}

/// A line that stands under another.
pub struct Folded {
    pub path: String,
    pub device: String,
    pub rule: &'static str,
    pub sentence: String,
}

/// Who reads the board, of what, and when.
pub struct Eyes<'a> {
    pub reads_register: bool,
    pub world: &'a World,
    pub now: Instant,
    causes: &'a Causes,
    /// What this person has looked at, and where units are, as far as a page tells of it.
    pub seen: Seen,
    pub places: BTreeMap<UnitName, Whereabouts>,
    /// When they are due in the shop, of the whole board at once.
    pub due: Tracked,
}

impl<'a> Eyes<'a> {
    pub fn of(me: &Me, world: &'a World, now: Instant, causes: &'a Causes) -> Self {
        Self {
            reads_register: me.may(Act::ReadBypasses),
            world,
            now,
            causes,
            seen: Seen::default(),
            places: BTreeMap::new(),
            due: Tracked::default(),
        }
    }

    /// `Home shop Slate Gap · last run to Quarrow, 25 Nov 2026 14:10 -06:00 · kept from service since 24 November 2026 ·
    /// next in the shop by 2 December 2026: periodic inspection, 6 days left`.
    fn there(&self, finding: &Finding) -> String {
        let Some((unit, there)) = finding.unit.as_ref().and_then(|unit| self.places.get_key_value(unit))
        else {
            return String::new();
        };
        let zone = &self.world.railway.zone;
        let home = self.world.roster.unit(unit).and_then(|card| card.home_shop.as_ref());
        let home =
            home.map_or_else(|| "Home shop not written".to_owned(), |shop| format!("Home shop {shop}"));
        let last = format!("last run to {}", telling::last_place(there, zone));
        let last = there.last.as_ref().map(|_| last);
        let held = there.held.map(|since| format!("kept from service since {}", zone.day_in_words(since)));
        let next = self.due.next_in_the_shop(unit, zone.day_of(self.now));
        [Some(home), last, held, next].into_iter().flatten().collect::<Vec<_>>().join(" · ")
    }

    fn unit_path(&self, finding: &Finding) -> Option<String> {
        let unit = finding.unit.as_ref().filter(|unit| self.world.roster.unit(unit).is_some())?;
        Some(paths::Unit(unit.clone()).to_string())
    }

    fn device(&self, finding: &Finding) -> String {
        let unit = finding.unit.as_ref();
        let schedule = unit.and_then(|unit| self.world.roster.schedule_at(unit, finding.since));
        finding.device.as_ref().map(|tag| told::named(tag, schedule)).unwrap_or_default()
    }
}

/// So many lines of a rule that ask for no work, and where they are listed.
pub struct Note {
    pub path: String,
    pub says: String,
}

/// The notes by rule; a link keeps what the board was narrowed down to.
pub fn notes<'a>(found: impl Iterator<Item = &'a Finding>, link: impl Fn(Rule) -> String) -> Vec<Note> {
    let mut counted: BTreeMap<Rule, usize> = BTreeMap::new();
    found.for_each(|finding| *counted.entry(finding.rule).or_default() += 1);
    let of = |rule: Rule| {
        let (one, many) = match rule {
            Rule::Held => ("repair held, of those closed lately", "repairs held, of those closed lately"),
            _ => ("repair on trial", "repairs on trial"),
        };
        let n = counted.get(&rule).copied().filter(|n| *n > 0)?;
        Some(Note { path: link(rule), says: text::count(n as u64, one, many) })
    };
    Rule::NOTES.into_iter().filter_map(of).collect()
}

impl Folded {
    pub fn of(finding: &Finding, eyes: &Eyes) -> Self {
        Self {
            path: leads_to(finding, eyes),
            device: eyes.device(finding),
            rule: rules::name(finding.rule),
            sentence: finding.sentence.clone(),
        }
    }
}

impl Line {
    pub fn of(
        finding: &Finding,
        state: Standing,
        below: &BTreeMap<String, Vec<Finding>>,
        eyes: &Eyes,
    ) -> Self {
        let folded = below.get(&finding.key).into_iter().flatten();
        Self {
            path: leads_to(finding, eyes),
            certain: finding.rank.is_none(),
            unit: whose(finding),
            device: eyes.device(finding),
            rule: rules::name(finding.rule),
            sentence: if eyes.reads_register {
                finding.sentence.clone()
            } else {
                ground::without_names(finding.rule, &finding.sentence)
            },
            test_first: begin_with(finding, &[], eyes.causes).into_iter().next(),
            since: eyes.world.railway.zone.in_words(finding.since),
            rank: finding.rank.map(text::tenths).unwrap_or_default(),
            state: match state {
                Standing::InRepair => Some("in repair"),
                Standing::Reviewed => Some("reviewed"),
                _ => None,
            },
            there: eyes.there(finding),
            unit_path: eyes.unit_path(finding),
            new: eyes.seen.is_new(finding),
            keys: std::iter::once(finding).chain(folded.clone()).map(|f| f.key.clone()).collect(),
            folded: folded.map(|f| Folded::of(f, eyes)).collect(),
        }
    }
}

/// What to test first: what repairs found before, then what the line and its entries point to.
pub fn begin_with(finding: &Finding, entries: &[Entry], causes: &Causes) -> Vec<String> {
    if finding.rule.is_ground_protection() {
        return Vec::new();
    }
    let found = || causes.in_words(finding.class.as_ref()?, finding.device.as_ref()?);
    let found = found().map(|causes| format!("what repairs of it found in this class: {causes}"));
    found.into_iter().chain(test_first(finding, entries).map(str::to_owned)).collect()
}

/// The finding's own page; where that is the supervisor's, the unit's.
fn leads_to(finding: &Finding, eyes: &Eyes) -> String {
    match &finding.unit {
        Some(unit) if finding.rule.is_ground_protection() && !eyes.reads_register => {
            paths::Handover(unit.clone()).to_string()
        }
        _ => paths::Finding(finding.key.clone()).to_string(),
    }
}

fn whose(finding: &Finding) -> String {
    match (&finding.unit, finding.rule) {
        (Some(unit), _) if finding.units.len() < 2 => unit.to_string(),
        (None, Rule::ClassWide) => {
            finding.class.as_ref().map_or_else(String::new, |class| format!("class {class}"))
        }
        _ => finding.units.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    }
}
