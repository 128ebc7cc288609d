//! From an entry back to what would be typed in its form, and from a form that was changed to the entry again: what the form
//! does not ask, and times that nobody touched, stay as they were.
use std::collections::BTreeSet;

use serde_json::Value;

use super::super::{
    answers::About,
    asking::{Answer, Question, parts},
    typed::Typed,
};
use crate::{
    base::{SignIn, Stamp, Zone},
    reports::{kinds::Kind, vocabulary::SealWord},
    roster::Device,
};

/// What the entry is about, as its form has it.
pub fn about(entry: &Value) -> About {
    let device = &entry["device"];
    match (device.as_str(), device["not_listed"].as_str()) {
        (Some(tag), _) => About::Device(tag.to_owned()),
        (None, Some(_)) => About::NotListed,
        (None, None) => About::Nothing,
    }
}

/// The form of an entry, filled in as it stands. `me`: to whom the form is shown.
pub fn typed(kind: Kind, device: Option<&Device>, entry: &Value, me: &SignIn, zone: &Zone) -> Typed {
    let mut typed = Typed::default();
    put_when(kind, entry, zone, &mut typed);
    if let Some(legend) = entry["device"]["not_listed"].as_str() {
        typed.set("device.not_listed", legend);
    }
    for question in parts(kind, device).into_iter().flat_map(|part| part.questions) {
        put(question, at(entry, question.name), entry, (me, zone), &mut typed);
    }
    typed
}

fn put_when(kind: Kind, entry: &Value, zone: &Zone, typed: &mut Typed) {
    let (at, found) = kind.time_fields();
    let is_found = entry[found].is_string();
    let time = entry[if is_found { found } else { at }].as_str().and_then(Stamp::parse);
    let how = entry["at_how"].as_str();
    let key = match (is_found, how) {
        (true, _) => "found",
        (false, Some("not_known")) => "not_known",
        _ => "set",
    };
    typed.set("when", key);
    typed.set("when.set", time.map(|stamp| zone.local_input(stamp.at)).unwrap_or_default());
    typed.set("when.about", if how == Some("about") { "yes" } else { "" });
}

fn put(
    question: &Question,
    value: Option<&Value>,
    entry: &Value,
    (me, zone): (&SignIn, &Zone),
    typed: &mut Typed,
) {
    let name = question.name;
    match question.answer {
        Answer::Gate(_) => {
            let yes = match name {
                "closed" => entry["closed_at"].is_string(),
                _ => entry["replaced_by"].is_object(),
            };
            typed.set(name, if yes { "yes" } else { "no" });
        }
        Answer::Who => put_who(name, value.map(person), me, typed),
        Answer::Person => typed.set(name, value.map(person).unwrap_or_default()),
        Answer::Seal => match value.and_then(Value::as_str) {
            Some(word) if SealWord::parse(word).is_some() => typed.set(name, word),
            Some(number) => typed.set(&format!("{name}.number"), number),
            None => {}
        },
        Answer::Time => {
            let stamp = value.and_then(Value::as_str).and_then(Stamp::parse);
            typed.set(name, stamp.map(|stamp| zone.local_input(stamp.at)).unwrap_or_default());
        }
        Answer::List => {
            let items = value.and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
            typed.set(name, items.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", "));
        }
        _ => typed.set(name, value.map(plain).unwrap_or_default()),
    }
    // A trip that nobody reset says so by having none.
    if name == "resets[0].result" && value.is_none() && entry["resets"].as_array().is_none_or(Vec::is_empty) {
        typed.set(name, "none");
    }
}

fn put_who(name: &str, who: Option<String>, me: &SignIn, typed: &mut Typed) {
    match who {
        None => {}
        Some(who) if who == me.as_str() => typed.set(name, "me"),
        Some(who) if who == "not_known" => typed.set(name, "not_known"),
        Some(who) => {
            typed.set(name, "other");
            typed.set(&format!("{name}.name"), who);
        }
    }
}

/// A sign-in name, somebody's own words, or `not_known`.
fn person(value: &Value) -> String {
    value.as_str().or_else(|| value["name"].as_str()).unwrap_or_default().to_owned()
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// The value at `resets[0].basis`; `None` where nothing is stated.
fn at<'a>(entry: &'a Value, path: &str) -> Option<&'a Value> {
    let pointer = format!("/{}", path.replace(['.', '['], "/").replace(']', ""));
    entry.pointer(&pointer).filter(|value| !value.is_null())
}

/// What a changed form makes of the entry it was filled in from.
pub fn changed(kind: Kind, device: Option<&Device>, mut new: Value, old: &Value, zone: &Zone) -> Value {
    let parts = parts(kind, device);
    let names = parts.iter().flat_map(|part| part.questions).map(|question| question.name);
    let (at, found) = kind.time_fields();
    let asked: BTreeSet<&str> = names.chain([at, found, "at_how", "device", "id", "kind"]).collect();
    keep_unasked(&mut new, old, "", &asked);
    keep_times(&mut new, old, zone);
    new
}

fn keep_unasked(new: &mut Value, old: &Value, path: &str, asked: &BTreeSet<&str>) {
    match (new, old) {
        (Value::Object(new), Value::Object(old)) => {
            for (name, value) in old {
                let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
                let inside = asked
                    .iter()
                    .any(|a| a.starts_with(&format!("{path}.")) || a.starts_with(&format!("{path}[")));
                match new.get_mut(name) {
                    Some(there) => keep_unasked(there, value, &path, asked),
                    None if asked.contains(path.as_str()) || inside => {}
                    None => drop(new.insert(name.clone(), value.clone())),
                }
            }
        }
        (Value::Array(new), Value::Array(old)) => {
            for (n, (new, old)) in new.iter_mut().zip(old).enumerate() {
                keep_unasked(new, old, &format!("{path}[{n}]"), asked);
            }
        }
        _ => {}
    }
}

/// A form shows minutes: of a time that still says the same minute the seconds, and the offset, stay.
fn keep_times(new: &mut Value, old: &Value, zone: &Zone) {
    match (new, old) {
        (Value::Object(new), Value::Object(old)) => {
            for (name, value) in new.iter_mut() {
                old.get(name).into_iter().for_each(|old| keep_times(value, old, zone));
            }
        }
        (Value::Array(new), Value::Array(old)) => {
            new.iter_mut().zip(old).for_each(|(new, old)| keep_times(new, old, zone));
        }
        (Value::String(new), Value::String(old)) => {
            let minute = |text: &str| Stamp::parse(text).map(|stamp| zone.local_input(stamp.at));
            if minute(new).is_some() && minute(new) == minute(old) {
                new.clone_from(old);
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::{
        base::{EntryId, Instant},
        pages::crew::answers::{Scene, entry, settle},
        people::People,
        reports::stored,
    };

    /// Every kind, filled in and sent back untouched, is the entry it was.
    #[test]
    fn an_untouched_form_changes_nothing() {
        let zone = Zone::named("America/Chicago").unwrap();
        let text = include_str!("../../../reports/example.json");
        let report: Value = serde_json::from_str(text).unwrap();
        let me = SignIn::from("n.okafor");
        let mut kinds = BTreeSet::new();
        let more = json!([{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b30", "kind": "breaker_trip", "at": "2026-03-02T23:12:41-06:00",
            "at_how": "about", "device": {"not_listed": "AUX COMPR"}, "resets": [{"at": "2026-03-02T23:15:07-06:00", "basis": "told_by_shop",
            "told_by": {"name": "the night foreman"}, "result": "held"}, {"basis": "examined", "result": "tripped_again"}], "left": "off"},
            {"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b31", "kind": "shutdown", "found_at": "2026-03-02T23:12:00-06:00", "cause": "low_oil",
            "warning_notice": "do not start"},
            {"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b32", "kind": "breaker_trip", "at": "2026-03-02T23:12:00-06:00", "device": "TC2", "left": "on"}]);
        for written in report["entries"].as_array().unwrap().iter().chain(more.as_array().unwrap()) {
            let kind = Kind::parse(written["kind"].as_str().unwrap()).unwrap();
            kinds.insert(kind);
            let mut form = typed(kind, None, written, &me, &zone);
            let people = People::default();
            let now = Instant::parse("2026-03-05T12:00:00Z").unwrap();
            let scene = Scene { me: &me, people: &people, zone: &zone, now };
            settle(&mut form, &scene);
            let id: EntryId = written["id"].as_str().unwrap().parse().unwrap();
            let (new, says) = entry(kind, id, &about(written), None, &form, &scene);
            assert!(says.is_empty(), "{says:?} of {written}");
            let again = changed(kind, None, new, written, &zone);
            // Without a list of people, a sign-in name typed in a line stays somebody's own words.
            let names = |text: String| {
                text.replace("{\"name\":\"m.ruiz\"}", "\"m.ruiz\"")
                    .replace("{\"name\":\"a.lind\"}", "\"a.lind\"")
            };
            let (then, now) = (
                stored::entry(&written.to_string()).unwrap(),
                stored::entry(&names(again.to_string())).unwrap(),
            );
            assert_eq!(serde_json::to_value(&then).unwrap(), serde_json::to_value(&now).unwrap());
        }
        assert_eq!(kinds.len(), Kind::ALL.len(), "{kinds:?}");
    }
}
