//! Holds what was typed against the contract, with the very reader and rules that programs and files meet.
use serde_json::{Value, json};

use super::answers::{About, Says, Scene, entry, field_of};
use super::asking::{Answer, parts};
use super::doubts::doubts;
use super::typed::Typed;
use crate::{
    base::{Code, EntryId, Instant, Problem, Problems, SignIn, Stamp, Tag},
    desk::World,
    reports::{
        Report, json,
        kinds::Kind,
        reading,
        store::EntryRow,
        validity::{self, same_again},
    },
    roster::Device,
};

use super::unit_of::UnitHere;

/// One form as it came: what it is about and what was typed.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub kind: Kind,
    pub about: About,
    pub entry: EntryId,
    pub typed: Typed,
    /// Of the draft, when the form of an entry that lay in it was opened.
    pub version: Option<i64>,
}

#[derive(Debug, Default)]
pub struct Checked {
    /// Refused: beside their fields.
    pub says: Says,
    /// Asked once.
    pub asks: Vec<String>,
}

impl Sheet {
    pub fn device<'a>(&self, here: &'a UnitHere) -> Option<&'a Device> {
        match &self.about {
            About::Device(tag) => here.schedule()?.device(&Tag::from(tag.as_str())),
            About::Nothing | About::NotListed => None,
        }
    }

    /// The entry in the contract's field names.
    pub fn json(&self, here: &UnitHere, me: &SignIn) -> (Value, Says) {
        let World { people, railway, .. } = &*here.world;
        let scene = Scene { me, people, zone: &railway.zone, now: here.now };
        entry(self.kind, self.entry, &self.about, self.device(here), &self.typed, &scene)
    }

    pub fn check(&self, here: &UnitHere, me: &SignIn, others: &[EntryRow]) -> Checked {
        let (entry, mut says) = self.json(here, me);
        let report = json!({
            "id": EntryId(uuid::Uuid::nil()), "unit": here.unit, "author": me, "occasion": "not_known",
            "entries": [entry], "signed_at": stamp(here, here.now),
        });
        let (report, mut problems) = read(&report);
        if let Some(report) = &report {
            let World { roster, people, railway, .. } = &*here.world;
            join(&mut problems, validity::check(report, roster, people, &railway.zone, here.now, true));
            join(&mut problems, same_again(&report.entries, me, &told(others), &railway.zone));
        }
        // Every form of ours asks for the words; left empty, the entry says nothing.
        if self.kind == Kind::Defect && self.typed.asked("text") && self.typed.stated("text").is_none() {
            says.insert("text".to_owned(), "Say in a few words what is wrong.".to_owned());
        }
        let device = self.device(here);
        for problem in problems.refusals.into_iter().filter(|p| p.path.starts_with("entries[0]")) {
            // The form's own sentence about a field is nearer to what was typed.
            let field = field_of(self.kind, device, &problem.path);
            let keys = keys_of(self.kind, device, &field);
            says.entry(field).or_insert(keys.unwrap_or(problem.says));
        }
        let asks = doubts(self.kind, &self.typed).into_iter().chain(asked(problems.warnings)).collect();
        Checked { says, asks }
    }
}

/// What can be tapped, in the words on the keys.
fn keys_of(kind: Kind, device: Option<&Device>, field: &str) -> Option<String> {
    let parts = parts(kind, device);
    let question = parts.iter().flat_map(|part| part.questions).find(|q| q.name == field)?;
    let (Answer::Words(words) | Answer::Few(words)) = question.answer else { return None };
    let keys: Vec<_> = words.iter().map(|(_, said)| format!("'{said}'")).collect();
    Some(format!("Tap one of the keys: {}.", keys.join(", ")))
}

/// What a page asks about; that nothing was stated is no question.
pub fn asked(warnings: Vec<Problem>) -> Vec<String> {
    let odd = warnings.into_iter().filter(|p| p.code != Code::Missing && p.path.starts_with("entries["));
    odd.map(|p| p.says).collect()
}

pub fn stamp(here: &UnitHere, at: Instant) -> String {
    Stamp { at, offset_min: here.world.railway.zone.offset_min(at) }.to_string()
}

/// Our own JSON through the contract's reader.
pub fn read(value: &Value) -> (Option<Report>, Problems) {
    let text = value.to_string();
    match json::parse(text.as_bytes()) {
        Ok(tree) => match reading::read_report(&tree) {
            Ok((report, problems)) => (Some(report), problems),
            Err(problems) => (None, problems),
        },
        Err(unreadable) => {
            let mut problems = Problems::default();
            problems.refusals.push(unreadable.problem());
            (None, problems)
        }
    }
}

pub fn join(all: &mut Problems, more: Problems) {
    all.refusals.extend(more.refusals);
    all.warnings.extend(more.warnings);
}

/// What others wrote about this unit, as the question 'the same one?' wants it.
fn told(others: &[EntryRow]) -> Vec<(Tag, Instant, SignIn)> {
    let one = |row: &EntryRow| {
        let tag = match Kind::parse(&row.kind) {
            Some(Kind::GroundRelay) => Tag::from(Tag::GROUND_RELAY),
            Some(Kind::EngineStart) => Tag::from(Tag::ENGINE_START),
            _ => Tag::from(row.device.as_deref()?),
        };
        Some((tag, Instant(row.at), SignIn::from(row.author.as_str())))
    };
    others.iter().filter_map(one).collect()
}
