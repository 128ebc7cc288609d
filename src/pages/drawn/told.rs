//! An entry in a sentence or two, as every list shows it. The contract's words, read aloud.
use crate::{
    base::{Instant, Stamp, Tag, UnitName, Zone, text},
    desk::world::{World, is_late},
    reports::{
        Entry, What,
        entry::{DeviceRef, Who},
        kinds::{
            BreakerTrip, Bypass, Defect, EngineStart, Fuse, FuseCheck, GroundRelay, Position, Reset, Shutdown,
        },
        store::EntryRow,
        stored,
        vocabulary::{MayGoOn, Outcome, Seen, Signs, TestCock},
    },
    roster::Schedule,
    web::paths,
};

/// A word of the contract as people say it: `looked_no_sign` is `looked, no sign`.
pub fn said(word: &str) -> String {
    match word {
        "looked_no_sign" => "looked, no sign".into(),
        "de_energised" => "de-energised".into(),
        "energised_no_tool" => "energised, no insulated tool".into(),
        _ => word.replace('_', " "),
    }
}

/// What one entry tells, in words. Legends come from the schedule in force then, if there is one.
pub fn told(entry: &Entry, schedule: Option<&Schedule>, zone: &Zone) -> String {
    let quiet = |s: &Signs| !matches!(s, Signs::None | Signs::NotLooked | Signs::NotKnown);
    let signs = entry.signs.filter(quiet).map(|s| format!(" Signs of {}.", said(s.as_str())));
    ended(Context { schedule, zone }.what(entry) + signs.unwrap_or_default().as_str(), entry)
}

/// Everything that was stated, with its circumstances: what somebody signs, and reads back.
pub fn told_in_full(entry: &Entry, schedule: Option<&Schedule>, zone: &Zone) -> String {
    let mut says = Context { schedule, zone }.what(entry);
    put(
        &mut says,
        "Signs",
        entry.signs.map(|s| if s == Signs::None { "nothing".into() } else { said(s.as_str()) }),
    );
    put(&mut says, "At", entry.place.as_ref());
    put(&mut says, "Throttle", entry.throttle.map(|t| said(t.as_str())));
    put(&mut says, "Speed", entry.speed_mph.map(|mph| format!("{mph} mph")));
    put(&mut says, "Load", entry.load_a.map(|a| format!("{a} A")));
    put(&mut says, "Tractive effort", entry.load_klbf.map(|klbf| format!("{klbf} klbf")));
    put(&mut says, "Weather", entry.weather.map(|w| said(w.as_str())));
    ended(says, entry)
}

fn ended(says: String, entry: &Entry) -> String {
    entry.note.as_ref().map_or_else(|| says.clone(), |note| format!("{says} “{note}”"))
}

/// ` Name: value.`, if it was stated.
fn put(says: &mut String, name: &str, value: Option<impl std::fmt::Display>) {
    if let Some(value) = value {
        says.push_str(&format!(" {name}: {}.", value.to_string().trim_end_matches('.')));
    }
}

struct Context<'a> {
    schedule: Option<&'a Schedule>,
    zone: &'a Zone,
}

impl Context<'_> {
    fn what(&self, entry: &Entry) -> String {
        match &entry.what {
            What::BreakerTrip(x) => self.trip(x, entry.when.is_found()),
            What::GroundRelay(x) => self.ground(x),
            What::Bypass(x) => self.bypass(x, entry.when.is_found()),
            What::FuseCheck(x) => self.fuse(x),
            What::EngineStart(x) => start(x),
            What::Shutdown(x) => shutdown(x),
            What::Defect(x) => defect(x),
            What::Position(x) => self.position(x),
        }
    }

    /// `TC2 Traction inverter 2`.
    fn device(&self, device: &DeviceRef) -> String {
        match device {
            DeviceRef::Tag(tag) => named(tag, self.schedule),
            DeviceRef::NotListed(legend) => format!("“{legend}” (not on the schedule)"),
        }
    }

    fn at(&self, stamp: Stamp) -> String {
        self.zone.in_words(stamp.at)
    }

    fn trip(&self, x: &BreakerTrip, found: bool) -> String {
        let device = self.device(&x.device);
        let mut says = if found { format!("{device} found tripped.") } else { format!("{device} tripped.") };
        for reset in &x.resets {
            says.push_str(&self.reset_says(reset));
        }
        if x.resets.is_empty() {
            says.push_str(" No reset written.");
        }
        says.push_str(&format!(" Left {}.", said(x.left.as_str())));
        says
    }

    fn reset_says(&self, reset: &Reset) -> String {
        let result = reset.result.map_or("result not stated", |r| match r.as_str() {
            "held" => "held",
            "tripped_again" => "tripped again",
            "would_not_latch" => "would not latch",
            _ => "result not known",
        });
        let at = reset.at.map(|at| format!(" {}", self.at(at))).unwrap_or_default();
        let told = reset.told_by.as_ref().map(|w| format!(", told by {}", w.in_words())).unwrap_or_default();
        format!(" Closed again{at} ({}{told}): {result}.", said(reset.basis.as_str()))
    }

    fn ground(&self, x: &GroundRelay) -> String {
        let times = x.operations.map_or_else(
            || "operated".into(),
            |n| format!("operated {}", text::count(n.into(), "time", "times")),
        );
        let named = x.device.as_ref().map(|d| format!(" {}", self.device(d))).unwrap_or_default();
        let mode = x.mode.map(|m| format!(", {}", said(m.as_str()))).unwrap_or_default();
        let circuit = x.circuit.map(|c| format!(", {} circuit", said(c.as_str()))).unwrap_or_default();
        let mut says = format!("Ground relay{named} {times}{mode}{circuit}.");
        put(&mut says, "Last of them", x.last_at.map(|at| self.at(at)));
        put(&mut says, "Reset", x.reset.map(|reset| said(reset.as_str())));
        put(&mut says, "After it", x.after.map(|after| said(after.as_str())));
        let cut_out = (!x.motors_cut_out.is_empty()).then(|| x.motors_cut_out.join(", "));
        put(&mut says, "Motors cut out", cut_out);
        says
    }

    fn bypass(&self, x: &Bypass, found: bool) -> String {
        let device = self.device(&x.device);
        let by = x.by.as_ref().map_or("not stated", Who::in_words);
        let mut says = if found {
            format!("{device} found open, opened by: {by}.")
        } else {
            format!("{device} opened by {by}.")
        };
        if let Some(who) = &x.authorised_by {
            let how = x.authorised_how.map(|how| format!(", {}", said(how.as_str()))).unwrap_or_default();
            let at = x.authorised_at.map(|at| format!(", {}", self.at(at))).unwrap_or_default();
            says.push_str(&format!(" On the word of {}{how}{at}.", who.in_words()));
        } else {
            put(&mut says, "Authority given", x.authorised_how.map(|how| said(how.as_str())));
            put(&mut says, "Authority given at", x.authorised_at.map(|at| self.at(at)));
        }
        put(&mut says, "Number of the order", x.reference.as_ref());
        put(&mut says, "Purpose", x.purpose.map(|purpose| said(purpose.as_str())));
        put(&mut says, "At the switch", x.protection.map(|p| said(p.as_str())));
        put(&mut says, "Engine running", x.engine_running.map(|x| said(x.as_str())));
        put(&mut says, "Power taken", x.power_taken.map(|x| said(x.as_str())));
        put(&mut says, "Seal found", x.seal_found.as_ref().map(|seal| said(seal.in_words())));
        match x.closed_at {
            Some(closed) => {
                let by = x.closed_by.as_ref().map_or("not stated", Who::in_words);
                says.push_str(&format!(" Closed {} by {by}.", self.at(closed)));
            }
            None => says.push_str(" Still open when written."),
        }
        put(&mut says, "Seal put on", x.seal_applied.as_ref().map(|seal| said(seal.in_words())));
        says
    }

    fn fuse(&self, x: &FuseCheck) -> String {
        let mut says = format!("{}: {}.", self.device(&x.device), said(x.result.as_str()));
        if let Some(fitted) = &x.fitted {
            says.push_str(&format!(" In it: {}.", four_figures(fitted)));
        }
        if let Some(replaced) = &x.replaced_by {
            says.push_str(&format!(" Replaced by {}.", four_figures(replaced)));
        }
        put(&mut says, "Put in because", x.basis.map(|basis| said(basis.as_str())));
        put(&mut says, "Tested with", x.tested_with.map(|with| said(with.as_str())));
        put(&mut says, "Handled", x.handling.map(|how| said(how.as_str())));
        says
    }

    fn position(&self, x: &Position) -> String {
        let mut says = format!("{} seen {}", self.device(&x.device), said(x.seen.as_str()));
        if let Some(moved) = x.moved_to {
            says.push_str(&format!(", moved to {}", said(moved.as_str())));
        }
        if let Some(by) = &x.by {
            says.push_str(&format!(" by {}", by.in_words()));
        }
        says.push('.');
        put(&mut says, "Why", x.why.as_ref());
        put(&mut says, "Number of the order", x.reference.as_ref());
        put(&mut says, "Seal", x.seal.as_ref().map(|seal| said(seal.in_words())));
        says
    }
}

/// `TC2 Traction inverter 2`, or the tag alone where no schedule has it.
pub fn named(tag: &Tag, schedule: Option<&Schedule>) -> String {
    match tag.as_str() {
        Tag::GROUND_RELAY => "Ground relay".into(),
        Tag::ENGINE_START => "Engine start".into(),
        _ => schedule
            .and_then(|s| s.device(tag))
            .map_or_else(|| tag.to_string(), |device| format!("{tag} {}", device.legend)),
    }
}

fn four_figures(fuse: &Fuse) -> String {
    let parts = [
        fuse.rating_a.map(|a| format!("{a} A")),
        fuse.rating_v.map(|v| format!("{v} V")),
        fuse.speed.map(|s| said(s.as_str())),
        fuse.body.as_ref().map(|b| format!("body {b}")),
    ];
    let known: Vec<_> = parts.into_iter().flatten().collect();
    if known.is_empty() { "a fuse whose figures were not stated".into() } else { known.join(", ") }
}

fn start(x: &EngineStart) -> String {
    let attempt = x.attempt.map(|n| format!(", attempt {n}")).unwrap_or_default();
    let mut says = format!("Engine start{attempt}: {}.", said(x.outcome.as_str()));
    let readings = [
        x.battery_rest_v.map(|v| format!("battery {v} V at rest")),
        x.battery_cranking_v.map(|v| format!("{v} V cranking")),
        x.main_reservoir_psi.map(|p| format!("main reservoir {p} psi")),
        x.test_cock_result.map(|t| format!("test cocks: {}", said(t.as_str()))),
    ];
    let readings: Vec<_> = readings.into_iter().flatten().collect();
    if !readings.is_empty() {
        says.push_str(&format!(" Read: {}.", readings.join(", ")));
    }
    put(&mut says, "Cranked with", x.motors.map(|motors| said(motors.as_str())));
    put(&mut says, "After a long shutdown", x.after_long_shutdown.map(|long| said(long.as_str())));
    says
}

fn shutdown(x: &Shutdown) -> String {
    let cause = x.cause.map_or_else(|| "cause not stated".into(), |c| said(c.as_str()));
    let mut says = format!("Engine shut down: {cause}.");
    put(&mut says, "Water drained", x.water_drained.map(|drained| said(drained.as_str())));
    put(&mut says, "Warning notice", x.warning_notice.as_ref());
    says
}

fn defect(x: &Defect) -> String {
    let system = x.system.as_deref().map(|s| format!(", {}", said(s))).unwrap_or_default();
    let mut says =
        format!("Defect{system}: {}.", x.text.as_deref().unwrap_or("not described").trim_end_matches('.'));
    let restriction = x.restriction.as_ref();
    match x.may_go_on {
        Some(MayGoOn::Yes) => says.push_str(" May go on."),
        Some(MayGoOn::No) => says.push_str(" May not go on."),
        Some(MayGoOn::Restricted) if restriction.is_none() => says.push_str(" May go on with a restriction."),
        Some(MayGoOn::Restricted) => {}
        Some(MayGoOn::NotKnown) => says.push_str(" Whether it may go on is not known."),
        None => {}
    }
    let restricted = x.may_go_on == Some(MayGoOn::Restricted);
    put(&mut says, if restricted { "May go on with a restriction" } else { "Restriction" }, restriction);
    put(&mut says, "Warning notice", x.warning_notice.as_ref());
    says
}

/// One entry, ready to print in a list.
#[derive(Clone, Debug)]
pub struct EntryLine {
    pub unit: String,
    pub unit_path: String,
    /// Of the entry with everything that was ever said of it; empty where it cannot be addressed.
    pub path: String,
    /// When it happened, or `found` and when.
    pub at: String,
    pub says: String,
    pub author: String,
    /// `written by n.okafor`, and when it was not signed by them.
    pub by: String,
    /// Recorded more than a day after it happened: when.
    pub late: Option<String>,
    pub amended: bool,
    pub withdrawn: bool,
    /// Seen where it belongs and nothing done: such lines can be told together, see [`fold`].
    pub routine: bool,
}

/// What was seen in place, told together: `GRC Ground relay cutout seen closed, 3 times: …`. The rest stays a
/// line each, in its order.
pub fn fold(lines: Vec<EntryLine>) -> (Vec<EntryLine>, Vec<String>) {
    let (routine, telling): (Vec<_>, Vec<_>) = lines.into_iter().partition(|line| line.routine);
    let mut alike: Vec<(String, Vec<String>)> = Vec::new();
    for line in routine {
        let late = if line.late.is_some() { ", written late" } else { "" };
        let seen = format!("{} ({}{late})", line.at, line.author);
        match alike.iter_mut().find(|(says, _)| *says == line.says) {
            Some((_, all)) => all.push(seen),
            None => alike.push((line.says, vec![seen])),
        }
    }
    let told = |(says, all): (String, Vec<String>)| {
        let says = says.trim_end_matches('.');
        let times = if all.len() == 1 { String::new() } else { format!(", {} times", all.len()) };
        format!("{says}{times}: {}.", all.join(", "))
    };
    (telling, alike.into_iter().map(told).collect())
}

/// Nothing was moved, nothing was out of place, or the engine ran at the first attempt; and nobody added a word.
fn is_routine(entry: &Entry, row: &EntryRow) -> bool {
    let usual = match &entry.what {
        What::Position(seen) => {
            matches!(seen.seen, Seen::On | Seen::Closed) && seen.moved_to.is_none() && seen.why.is_none()
        }
        What::EngineStart(start) => {
            start.outcome == Outcome::Running
                && start.attempt.is_none_or(|n| n == 1)
                && start.test_cock_result.is_none_or(|cocks| cocks == TestCock::Clear)
        }
        _ => false,
    };
    let wordless = entry.note.is_none() && matches!(entry.signs, None | Some(Signs::None));
    usual && wordless && row.amended.is_none() && !row.withdrawn
}

impl EntryLine {
    pub fn of(row: &EntryRow, world: &World) -> Self {
        let zone = &world.railway.zone;
        let unit = UnitName::from(row.unit.as_str());
        let (at, recorded) = (Instant(row.at), Instant(row.recorded_at));
        let schedule = world.roster.schedule_at(&unit, at);
        // What cannot be read any more is shown as it stands, rather than not at all.
        let entry = stored::entry(&row.detail).ok();
        let says = entry.as_ref().map_or_else(|| row.detail.clone(), |e| told(e, schedule, zone));
        let when = zone.in_words(at);
        Self {
            unit_path: paths::Handover(unit).to_string(),
            path: row.id.parse().map(|id| paths::Entry(id).to_string()).unwrap_or_default(),
            unit: row.unit.clone(),
            at: if row.found { format!("found {when}") } else { when },
            says,
            author: row.author.clone(),
            by: written_by(row),
            late: is_late(at, recorded).then(|| zone.in_words(recorded)),
            amended: row.amended.is_some(),
            withdrawn: row.withdrawn,
            routine: entry.is_some_and(|e| is_routine(&e, row)),
        }
    }
}

fn written_by(row: &EntryRow) -> String {
    match row.channel.as_str() {
        "import" => format!("entered from a file for {}, not signed by them", row.author),
        "token" => format!("sent by a program of {}", row.author),
        "device" => format!("written by {}{}", row.author, super::tablet::signed_how(row.confirmed)),
        _ => format!("written by {}", row.author),
    }
}

#[cfg(test)]
mod tests;
