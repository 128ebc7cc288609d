//! From what was typed to the entry as the interchange contract has it. Only what is no figure, no time or no
//! choice at all is caught here; what a figure may be is the contract's business, see `reports::reading`.
use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::{
    asking::{Answer, Question, parts},
    typed::Typed,
};
use crate::{
    base::{EntryId, Instant, SignIn, Stamp, Zone, instant::MINUTE},
    people::{People, person},
    reports::kinds::Kind,
    roster::Device,
};

/// A sentence beside a field, by the field's name; under the empty name, one about the whole.
pub type Says = BTreeMap<String, String>;

/// Where an entry is about a device: on the schedule, by the words on its plate, or none was named.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    Nothing,
    Device(String),
    NotListed,
}

impl About {
    /// As it stands in an address and in the form: `TC2`, `?` for one not listed, nothing.
    pub fn parse(text: &str) -> Self {
        match text {
            "" => Self::Nothing,
            "?" => Self::NotListed,
            tag => Self::Device(tag.to_owned()),
        }
    }

    pub fn as_str(&self) -> &str {
        match self {
            Self::Nothing => "",
            Self::NotListed => "?",
            Self::Device(tag) => tag,
        }
    }
}

pub struct Scene<'a> {
    pub me: &'a SignIn,
    pub people: &'a People,
    pub zone: &'a Zone,
    pub now: Instant,
}

impl Scene<'_> {
    fn stamp(&self, at: Instant) -> String {
        Stamp { at, offset_min: self.zone.offset_min(at) }.to_string()
    }
}

/// Fixes the moment that `now` and `15 minutes ago` count from, once, when a form is first taken. What was tapped
/// stays tapped: a form that comes back still says `now`, and means that moment.
pub fn settle(typed: &mut Typed, scene: &Scene<'_>) {
    if typed.stated("when.now").is_none() {
        typed.set("when.now", scene.zone.local_input(scene.now));
    }
    match typed.raw("when") {
        "" => typed.set("when", "now"),
        "found" | "not_known" if typed.stated("when.set").is_none() => {
            typed.set("when.set", typed.raw("when.now").to_owned());
        }
        _ => {}
    }
}

/// The same answers with their times written out, for a form that is opened again later.
pub fn with_times(typed: &mut Typed, zone: &Zone) {
    if let (Some(minutes), Some(at)) = (ago(typed), when(typed, zone)) {
        typed.set("when", "set");
        typed.set("when.set", zone.local_input(at));
        typed.set("when.about", if minutes > 0 { "yes" } else { "" });
    }
    let now = typed.remove("when.now").unwrap_or_default();
    if typed.raw("closed") == "yes" && typed.stated("closed_at").is_none() {
        typed.set("closed_at", now);
    }
}

/// The minutes of `now` and `15 minutes ago`.
fn ago(typed: &Typed) -> Option<i64> {
    match typed.raw("when") {
        "now" => Some(0),
        minutes @ ("5" | "15" | "30") => minutes.parse().ok(),
        _ => None,
    }
}

fn when(typed: &Typed, zone: &Zone) -> Option<Instant> {
    match ago(typed) {
        Some(minutes) => Some(zone.parse_local(typed.raw("when.now"))?.minus(minutes * MINUTE)),
        None => zone.parse_local(typed.raw("when.set")),
    }
}

/// The entry in the contract's field names, and what could not be read.
pub fn entry(
    kind: Kind,
    id: EntryId,
    about: &About,
    device: Option<&Device>,
    typed: &Typed,
    scene: &Scene<'_>,
) -> (Value, Says) {
    let mut says = Says::new();
    let mut map = Map::new();
    map.insert("id".into(), json!(id));
    map.insert("kind".into(), json!(kind.as_str()));
    put_when(kind, typed, scene, &mut map, &mut says);
    put_about(about, typed, &mut map, &mut says);
    let counting = parts(kind, device).into_iter().filter(|part| part.only_if.met(typed));
    for question in counting.flat_map(|part| part.questions) {
        match answer(question, typed, scene) {
            Ok(Some(value)) => put(&mut map, question.name, value),
            Ok(None) => {}
            Err(sentence) => say(&mut says, question.name, sentence),
        }
    }
    if let (false, Some(left)) = (map.contains_key("left"), left_by_reset(kind, typed)) {
        map.insert("left".into(), json!(left));
    }
    if let Some(closed) = super::doubts::closing_time_of_an_open_one(kind, typed) {
        let note = typed.stated("note").map(|note| format!("{note} ")).unwrap_or_default();
        map.insert(
            "note".into(),
            json!(format!("{note}Closing time as typed, with 'still open': {closed}.")),
        );
    }
    (Value::Object(map), says)
}

fn put_about(about: &About, typed: &Typed, map: &mut Map<String, Value>, says: &mut Says) {
    match about {
        About::Nothing => {}
        About::Device(tag) => drop(map.insert("device".into(), json!(tag))),
        About::NotListed => match typed.stated("device.not_listed") {
            Some(legend) => drop(map.insert("device".into(), json!({ "not_listed": legend }))),
            None => say(says, "device.not_listed", "Write the words on its plate."),
        },
    }
}

/// How a breaker stands after the last reset, where nothing else was tapped: one that held is on, and any other is
/// as its trip left it.
fn left_by_reset(kind: Kind, typed: &Typed) -> Option<&'static str> {
    let last = match typed.raw("resets[1].result") {
        "" | "none" => typed.raw("resets[0].result"),
        second => second,
    };
    match (kind, last) {
        (Kind::BreakerTrip, "held") => Some("on"),
        (Kind::BreakerTrip, "none" | "tripped_again" | "would_not_latch") => Some("tripped"),
        _ => None,
    }
}

fn say(says: &mut Says, name: &str, sentence: &str) {
    says.insert(name.to_owned(), sentence.to_owned());
}

fn put_when(kind: Kind, typed: &Typed, scene: &Scene<'_>, map: &mut Map<String, Value>, says: &mut Says) {
    let Some(at) = when(typed, scene.zone) else {
        say(says, "when", "Set a date and a time, or choose one of the keys.");
        return;
    };
    let (at_field, found_field) = kind.time_fields();
    let field = if typed.raw("when") == "found" { found_field } else { at_field };
    let how = match typed.raw("when") {
        "not_known" => "not_known",
        "5" | "15" | "30" => "about",
        "set" | "found" if typed.raw("when.about") == "yes" => "about",
        _ => "clock",
    };
    map.insert(field.into(), json!(scene.stamp(at)));
    map.insert("at_how".into(), json!(how));
}

/// `Ok(None)` is 'not stated'; `Err` the sentence beside the field.
fn answer(question: &Question, typed: &Typed, scene: &Scene<'_>) -> Result<Option<Value>, &'static str> {
    let name = question.name;
    if no_such_reset(name, typed) {
        return Ok(None);
    }
    match question.answer {
        Answer::Gate(_) => Ok(None),
        // 'Now, if you leave it.'
        Answer::Time if name == "closed_at" && typed.stated(name).is_none() => {
            typed.stated("when.now").map(|text| stated(question.answer, &text, scene)).transpose()
        }
        Answer::Who => Ok(who(name, typed, scene)),
        Answer::Seal => {
            Ok(typed.stated(&format!("{name}.number")).or_else(|| typed.stated(name)).map(Value::String))
        }
        _ => typed.stated(name).map(|text| stated(question.answer, &text, scene)).transpose(),
    }
}

fn stated(answer: Answer, text: &str, scene: &Scene<'_>) -> Result<Value, &'static str> {
    match answer {
        Answer::Figure => figure(text).ok_or("Write a figure, like 64.5, or leave it empty."),
        Answer::Count => {
            let count = text.parse::<u32>().ok();
            count.map(|n| json!(n)).ok_or("Write a whole number, like 2, or leave it empty.")
        }
        Answer::Time => {
            let at = scene.zone.parse_local(text);
            at.map(|at| json!(scene.stamp(at)))
                .ok_or("Set a date and a time, like 2026-03-03T05:14, or leave it empty.")
        }
        Answer::Person => Ok(named(text, scene)),
        Answer::List => {
            let names = text.split(',').map(str::trim).filter(|name| !name.is_empty());
            Ok(json!(names.collect::<Vec<_>>()))
        }
        _ => Ok(json!(text)),
    }
}

/// `64.5` and `64,5` are the same figure to a cold thumb.
fn figure(text: &str) -> Option<Value> {
    let figure: f64 = text.replace(',', ".").parse().ok()?;
    figure.is_finite().then(|| json!(figure))
}

fn who(name: &str, typed: &Typed, scene: &Scene<'_>) -> Option<Value> {
    match typed.raw(name) {
        "me" => Some(json!(scene.me)),
        "not_known" => Some(json!("not_known")),
        _ => typed.stated(&format!("{name}.name")).map(|text| named(&text, scene)),
    }
}

/// A sign-in name if it is one of the book's, their own words otherwise: nobody is turned away for a name.
fn named(text: &str, scene: &Scene<'_>) -> Value {
    if text.eq_ignore_ascii_case("not known") || text == "not_known" {
        return json!("not_known");
    }
    match person::sign_in(text).filter(|name| scene.people.person(name).is_some()) {
        Some(name) => json!(name),
        None => json!({ "name": text }),
    }
}

/// `resets[1].basis` counts only when there was a second reset.
fn no_such_reset(name: &str, typed: &Typed) -> bool {
    let Some((number, _)) = name.strip_prefix("resets[").and_then(|rest| rest.split_once(']')) else {
        return false;
    };
    matches!(typed.raw(&format!("resets[{number}].result")), "" | "none")
}

/// Puts a value where its path says: `resets[0].basis`, `fitted.rating_a`.
fn put(map: &mut Map<String, Value>, path: &str, value: Value) {
    let (head, rest) = path.split_once('.').map_or((path, None), |(head, rest)| (head, Some(rest)));
    let Some(rest) = rest else {
        map.insert(head.to_owned(), value);
        return;
    };
    let holder = match head.split_once('[') {
        None => map.entry(head).or_insert_with(|| json!({})),
        Some((list, number)) => {
            let number: usize = number.trim_end_matches(']').parse().unwrap_or(0);
            let list = map.entry(list).or_insert_with(|| json!([]));
            let Some(items) = list.as_array_mut() else { return };
            while items.len() <= number {
                items.push(json!({}));
            }
            &mut items[number]
        }
    };
    if let Some(inner) = holder.as_object_mut() {
        put(inner, rest, value);
    }
}

/// The field that a problem of the contract belongs to: `entries[0].resets[0].basis` to `resets[0].basis`,
/// any of the time fields to `when`; the empty name if the form has no such field.
pub fn field_of(kind: Kind, device: Option<&Device>, path: &str) -> String {
    let (at, found) = kind.time_fields();
    let path = path.strip_prefix("entries[").and_then(|p| p.split_once("].")).map_or(path, |(_, rest)| rest);
    if [at, found, "at_how"].contains(&path) {
        return "when".to_owned();
    }
    let names: Vec<_> = parts(kind, device).iter().flat_map(|p| p.questions).map(|q| q.name).collect();
    let mut path = path;
    loop {
        if names.contains(&path) || path == "device.not_listed" {
            return path.to_owned();
        }
        match path.rfind(['.', '[']) {
            Some(cut) => path = &path[..cut],
            None => return String::new(),
        }
    }
}

#[cfg(test)]
mod tests;
