//! The class's checks as they are walked: stop by stop, each right or not right, and where to write down what is not.
use serde_json::{Map, Value, json};

use super::{picture::Picture, typed::Typed, unit_of::UnitHere};
use crate::{
    base::{UnitName, text},
    pages::drawn::{
        form::Choice,
        state::{State, face_of},
    },
    reports::kinds::Kind,
    roster::{
        Check, Device, DeviceKind, Schedule,
        check::{AppliesWhen, Prevents},
    },
    web::paths,
};

/// Where one stands, and what is looked at from there.
#[derive(Clone, Debug)]
pub struct Stop {
    pub place: String,
    pub cautions: Vec<&'static str>,
    pub checks: Vec<CheckView>,
}

#[derive(Clone, Debug)]
pub struct CheckView {
    pub keys: Choice,
    /// How the device was last written to stand, if it was not right then.
    pub book: String,
}

/// One check that was marked not right, or that the book has otherwise than it was seen.
#[derive(Clone, Debug)]
pub struct ToWrite {
    pub says: String,
    pub href: String,
}

/// A check under its name in the form.
pub struct Marked<'a> {
    name: String,
    pub check: &'a Check,
    pub right: Option<bool>,
}

/// Those that are made before something, in the schedule's order, as marked.
pub fn marked<'a>(schedule: Option<&'a Schedule>, when: AppliesWhen, typed: &Typed) -> Vec<Marked<'a>> {
    let all = schedule.map_or(&[][..], |s| &s.checks).iter().enumerate();
    let of_it = all.filter(|(_, check)| check.applies_when == when);
    let one = |(place, check)| {
        let name = format!("check.{place}");
        let right = match typed.raw(&name) {
            "right" => Some(true),
            "not_right" => Some(false),
            _ => None,
        };
        Marked { name, check, right }
    };
    of_it.map(one).collect()
}

const LOCAL: &str = "Local instructions and qualified people decide.";

pub fn stops(marked: &[Marked<'_>], here: &UnitHere, picture: &Picture) -> Vec<Stop> {
    let mut stops: Vec<Stop> = Vec::new();
    for one in marked {
        let device = one.check.device.as_ref().and_then(|tag| here.schedule()?.device(tag));
        let view = view(one, device, here, picture);
        let place = &one.check.place;
        if stops.last().is_none_or(|stop| stop.place != *place) {
            stops.push(Stop { place: place.clone(), cautions: Vec::new(), checks: Vec::new() });
        }
        let Some(stop) = stops.last_mut() else { continue };
        for caution in device.map_or(&[][..], cautions) {
            if !stop.cautions.contains(caution) {
                stop.cautions.push(caution);
            }
        }
        stop.checks.push(view);
    }
    stops.iter_mut().filter(|stop| !stop.cautions.is_empty()).for_each(|stop| stop.cautions.push(LOCAL));
    stops
}

/// What stands before a control of this kind, wherever a page has one.
fn cautions(device: &Device) -> &'static [&'static str] {
    match device.kind {
        _ if device.ground_protection => &[
            "Cutout found open: look for a tag, lock or blue signal; leave it and call, somebody may be testing.",
            "Opening a cutout makes nothing dead and may silence the warning.",
        ],
        DeviceKind::Fuse => &["Fuses: de-energised, same four figures, insulated tool."],
        DeviceKind::Breaker => &[
            "Before the cabinet: train stopped and secured, dispatcher told; push fully off, then on; never hold a breaker in.",
        ],
        DeviceKind::Switch | DeviceKind::Relay => {
            &["Before the cabinet: train stopped and secured, dispatcher told."]
        }
    }
}

fn view(one: &Marked<'_>, device: Option<&Device>, here: &UnitHere, picture: &Picture) -> CheckView {
    let value = match one.right {
        Some(true) => "right",
        Some(false) => "not_right",
        None => "",
    };
    let keys = [("right", "Right"), ("not_right", "Not right")];
    let named = device.map(|d| format!(" ({})", d.tag)).unwrap_or_default();
    let label = format!("{}{named}", one.check.text);
    CheckView {
        keys: Choice::of(&one.name, &label, value, &keys).few().hint(&one.check.right),
        book: device.map(|device| in_book(device, here, picture)).unwrap_or_default(),
    }
}

fn in_book(device: &Device, here: &UnitHere, picture: &Picture) -> String {
    let known = picture.known(device).filter(|known| !matches!(known.state, State::On | State::NotKnown));
    known.map_or_else(String::new, |known| {
        let word = face_of(device, Some(known.state)).word;
        format!("Last written {word}, {} ago.", text::span(here.now.since(known.at)))
    })
}

/// Every check by its name in the form, for a tablet: what it says, the device it looks at, whether a start hangs on it,
/// and what there is to write down if it is seen not right, or right.
pub fn to_keep(here: &UnitHere, picture: &Picture) -> Map<String, Value> {
    let checks = here.schedule().map_or(&[][..], |s| &s.checks).iter().enumerate();
    let one = |(place, check): (usize, &Check)| {
        let name = format!("check.{place}");
        let marked = |right| [Marked { name: name.clone(), check, right: Some(right) }];
        let line = |lines: Vec<ToWrite>| lines.into_iter().next().map(|line| [line.href, line.says]);
        let about = json!({
            "text": check.text.trim_end_matches('.'), "device": check.device,
            "starts": check.prevents.contains(&Prevents::Start),
            "not_right": line(not_right(&marked(false), here)),
            "right": line(otherwise(&marked(true), here, picture)),
        });
        (name, about)
    };
    checks.map(one).collect()
}

/// Each check that is not right, with what it stands against.
pub fn not_right(marked: &[Marked<'_>], here: &UnitHere) -> Vec<ToWrite> {
    let wrong = marked.iter().filter(|one| one.right == Some(false));
    wrong
        .map(|one| {
            let Check { text, right, prevents, .. } = one.check;
            let against = against(prevents);
            let says = format!("{}: not as it has to be ({right}). {against}", text.trim_end_matches('.'));
            ToWrite { says, href: href(&here.unit, one.check, here.schedule()) }
        })
        .collect()
}

/// Seen right, while the book has it off: somebody has to write that it is on.
pub fn otherwise(marked: &[Marked<'_>], here: &UnitHere, picture: &Picture) -> Vec<ToWrite> {
    let right = marked.iter().filter(|one| one.right == Some(true));
    let line = |one: &Marked<'_>| {
        let device = here.schedule()?.device(one.check.device.as_ref()?)?;
        let book = Some(in_book(device, here, picture)).filter(|book| !book.is_empty())?;
        let position = paths::WriteKind(here.unit.clone(), Kind::Position.as_str().to_owned());
        let seen = if device.kind == DeviceKind::Switch { "closed" } else { "on" };
        let says = format!("{} ({}) is right. {book} Write down how it is.", device.tag, device.legend);
        Some(ToWrite { says, href: position.with(&[("device", device.tag.as_str()), ("seen", seen)]) })
    };
    right.filter_map(line).collect()
}

fn against(prevents: &[Prevents]) -> String {
    if prevents.is_empty() {
        return "The schedule does not say what it stands against. Ask.".to_owned();
    }
    let word = |prevents: &Prevents| match prevents {
        Prevents::Start => "starting it",
        Prevents::Lead => "leading with it",
        Prevents::Load => "loading it",
        Prevents::Move => "moving it",
    };
    let words: Vec<&str> = prevents.iter().map(word).collect();
    format!("It stands against {}.", words.join(", "))
}

/// The form to write it down on, filled in as far as the check tells.
fn href(unit: &UnitName, check: &Check, schedule: Option<&Schedule>) -> String {
    let form = |kind: Kind| paths::WriteKind(unit.clone(), kind.as_str().to_owned());
    let what = format!("Check: {}; not as it has to be ({}).", check.text.trim_end_matches('.'), check.right);
    let device = check.device.as_ref().and_then(|tag| schedule?.device(tag));
    let Some(device) = device else { return form(Kind::Defect).with(&[("text", &what)]) };
    let tag = device.tag.as_str();
    match device.kind {
        _ if device.ground_protection => {
            form(Kind::Bypass).with(&[("device", tag), ("when", "found"), ("note", &what)])
        }
        DeviceKind::Fuse => form(Kind::FuseCheck).with(&[("device", tag), ("note", &what)]),
        _ => form(Kind::Position).with(&[("device", tag), ("note", &what)]),
    }
}
