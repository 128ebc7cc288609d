//! What a line about a shared cause says, so that the entries it names bear it out.
use super::{
    case::Case,
    coincident::Operation,
    shared_cause::{Group, Source},
};
use crate::{
    base::{Tag, UnitName, text::count},
    roster::DeviceKind,
};

pub struct Words {
    /// What operated, within how long, and when each.
    pub what: String,
    /// Where to look first.
    pub advice: String,
}

/// About the last of a line's groups.
pub fn sentence(case: &Case<'_>, groups: &[Group<'_>], last: &Group<'_>) -> Words {
    let kind = Kind::of(case, &last.operations);
    let day = |group: &Group<'_>| {
        group.operations.first().map_or_else(String::new, |o| case.ground.zone.day_in_words(o.at))
    };
    let before = match groups {
        [earliest, _, ..] => {
            let many = count(groups.len() as u64, "such group", "such groups");
            format!("{many} since {}, the last: ", day(earliest))
        }
        _ => String::new(),
    };
    let (what, each, advice) = match &last.source {
        Source::Consist(tag) => on_units(case, tag, last, &kind),
        Source::Panel(name) => {
            let (what, each) = of_devices(case, last, &kind, &format!("of panel {name}"));
            (what, each, "the feed or the panel's wiring".to_owned())
        }
        Source::Feed(tag) => {
            let (what, each) = of_devices(case, last, &kind, &format!("fed by {tag}"));
            (what, each, format!("{tag} and its wiring"))
        }
    };
    let within = count(last.minutes(), "minute", "minutes");
    Words {
        what: format!("{before}{what} within {within} on {}: {each}.", day(last)),
        advice: format!("Look at what they share, {advice}, before the {}.", kind.many),
    }
}

/// What happened, and when to each device.
fn of_devices(case: &Case<'_>, group: &Group<'_>, kind: &Kind, shared: &str) -> (String, String) {
    let firsts = first_of_each(&group.operations, |o| o.device.as_str());
    let when = |o: &&Operation<'_>| format!("{} {}", o.device, case.ground.zone.time_in_words(o.at));
    let each: Vec<String> = firsts.iter().map(when).collect();
    (format!("{} {} {shared} {}", firsts.len(), kind.many, kind.did), each.join(", "))
}

/// What happened, when on each unit, and what they share.
fn on_units(case: &Case<'_>, tag: &Tag, group: &Group<'_>, kind: &Kind) -> (String, String, String) {
    let firsts = first_of_each(&group.operations, |o| o.unit.as_str());
    let when = |o: &&Operation<'_>| format!("{} {}", o.unit, case.ground.zone.time_in_words(o.at));
    let each: Vec<String> = firsts.iter().map(when).collect();
    let units: Vec<&UnitName> = firsts.iter().map(|o| o.unit).collect();
    let own = firsts.iter().find(|o| o.unit == case.unit());
    let named = own.map_or_else(|| tag.to_string(), |o| case.named(tag, o.at));
    let did = if tag.as_str() == Tag::ENGINE_START { "failed" } else { kind.did };
    let what = format!("{named} {did} on {} units of one consist", units.len());
    (what, each.join(", "), format!("the jumper between {}", list(&units)))
}

/// The first operation of each, oldest first.
fn first_of_each<'o, 'a, 'k>(
    all: &'o [Operation<'a>],
    told_apart: impl Fn(&Operation<'a>) -> &'k str,
) -> Vec<&'o Operation<'a>> {
    let mut seen = Vec::new();
    let mut firsts = Vec::new();
    for o in all {
        let name = told_apart(o).to_owned();
        if !seen.contains(&name) {
            seen.push(name);
            firsts.push(o);
        }
    }
    firsts
}

fn list(units: &[&UnitName]) -> String {
    let names: Vec<&str> = units.iter().map(|unit| unit.as_str()).collect();
    match names.as_slice() {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// What kind of devices they are, and what such do.
struct Kind {
    many: &'static str,
    did: &'static str,
}

impl Kind {
    fn of(case: &Case<'_>, all: &[Operation<'_>]) -> Self {
        let every = |kind: DeviceKind| {
            all.iter().all(|o| {
                case.ground
                    .roster
                    .device_at(o.unit, o.device, o.at)
                    .or_else(|| case.device(o.device, o.at))
                    .is_some_and(|d| d.kind == kind)
            })
        };
        if every(DeviceKind::Breaker) {
            Self { many: "breakers", did: "tripped" }
        } else if every(DeviceKind::Fuse) {
            Self { many: "fuses", did: "blew" }
        } else {
            Self { many: "devices", did: "operated" }
        }
    }
}

/// Never a bare p-value: how many years a fleet like this would wait for it.
pub fn by_chance_in_words(expected: f64) -> String {
    let years = 1.0 / expected;
    if years >= 1e6 {
        return "By chance less than once in a million fleet-years.".to_owned();
    }
    if years < 1.5 {
        return format!("By chance about {expected:.1} times in a fleet-year.");
    }
    let digit = 10_f64.powf(years.log10().floor() - 1.0);
    let shown = (years / digit).round() * digit;
    if shown < 10.0 {
        format!("By chance about once in {shown:.1} fleet-years.")
    } else {
        format!("By chance about once in {shown:.0} fleet-years.")
    }
}
