//! Devices, by the schedule that was in force when the entry's thing happened.
use super::{Around, ask};
use crate::{
    base::{Code, Problems, Tag, text},
    reports::{
        Entry, What,
        entry::DeviceRef,
        kinds::Position,
        reading::fields::{Path, refuse},
        vocabulary::Seen,
    },
    roster::{Device, DeviceKind, Schedule},
};

pub fn of_entry(entry: &Entry, at: &Path, around: &Around, problems: &mut Problems) {
    let Some(device) = entry.what.device() else { return };
    // A unit that is not on the roster has no schedule to be held against; its entries are kept as they are.
    let Some(schedule) = around.roster.schedule_at(around.unit, entry.when.at()) else { return };
    match device {
        DeviceRef::Tag(tag) => match schedule.device(tag) {
            Some(device) => fits(&entry.what, device, schedule, at, problems),
            None => {
                let says = no_such_device(tag, schedule);
                refuse::<()>(problems, &Path::Field(at, "device"), Code::UnknownDevice, says);
            }
        },
        DeviceRef::NotListed(legend) => {
            let same = |text: &str| text.eq_ignore_ascii_case(legend);
            let listed = schedule.devices.iter().find(|d| same(&d.legend) || same(d.tag.as_str()));
            if let Some(device) = listed {
                let says = format!(
                    "{} is on the schedule as {}. If it is the same one, choose it there.",
                    device.legend, device.tag
                );
                ask(problems, at, "device", Code::Unusual, says);
            }
        }
    }
}

fn no_such_device(tag: &Tag, schedule: &Schedule) -> String {
    let likely = text::nearest(tag.as_str(), schedule.devices.iter().map(|d| d.tag.as_str()));
    let likely = likely.map(|tag| format!(" Did you mean {tag}?")).unwrap_or_default();
    format!(
        "There is no {} on the schedule of class {}.{likely} If it is on the unit all the same, write what its plate says as not listed.",
        text::quoted(tag.as_str()),
        schedule.class
    )
}

/// Whether the kind of entry is one for this kind of device. Schedules have mistakes too, so most of it only asks.
fn fits(what: &What, device: &Device, schedule: &Schedule, at: &Path, problems: &mut Problems) {
    let tag = &device.tag;
    let is = device.kind;
    let odd = match what {
        What::Bypass(_) => return cutout(device, schedule, at, problems),
        What::Position(position) => return opened(position, device, at, problems),
        What::BreakerTrip(_) if is != DeviceKind::Breaker => "a breaker trip",
        What::FuseCheck(_) if is != DeviceKind::Fuse => "a fuse check",
        What::GroundRelay(_) if is != DeviceKind::Relay => "a ground-relay operation",
        _ => return,
    };
    let says = format!("{tag} is a {is} on the schedule, and this is {odd}. Is it the right device?");
    ask(problems, at, "device", Code::Unusual, says);
}

/// A bypass is the opening of a ground-relay cutout and of nothing else; what was done to any other device is a
/// position entry, and is not lost. A schedule that marks no cutout at all cannot know better than the crew.
fn cutout(device: &Device, schedule: &Schedule, at: &Path, problems: &mut Problems) {
    if device.ground_protection {
        return;
    }
    let tag = &device.tag;
    let cutouts: Vec<&str> = schedule.cutouts().map(|d| d.tag.as_str()).collect();
    if cutouts.is_empty() {
        let says = format!(
            "The schedule of class {} does not say which device is the ground-relay cutout. Is it {tag}?",
            schedule.class
        );
        return ask(problems, at, "device", Code::Unusual, says);
    }
    let says = format!(
        "{tag} is not a ground-relay cutout; on this class that is {}. If {tag} was opened, write it as a position.",
        cutouts.join(" or ")
    );
    refuse::<()>(problems, &Path::Field(at, "device"), Code::NotAllowed, says);
}

/// An open cutout told as a position is kept, but a bypass has more to say.
fn opened(position: &Position, device: &Device, at: &Path, problems: &mut Problems) {
    let open = |seen: Seen| matches!(seen, Seen::Open | Seen::Off);
    let tag = &device.tag;
    if !device.ground_protection {
        return;
    }
    if position.moved_to.is_some_and(open) {
        let says = format!("Opening {tag} is a bypass. Write it as one, with who ordered it and what for.");
        ask(problems, at, "moved_to", Code::Unusual, says);
    } else if open(position.seen) && position.moved_to.is_none() {
        let says = format!("{tag} found open is a bypass. Write it as one, with when you found it.");
        ask(problems, at, "seen", Code::Unusual, says);
    }
}
