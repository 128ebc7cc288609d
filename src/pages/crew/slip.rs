//! The report's own fields: the run, the consist, how the ground-relay cutout was left.
use std::collections::BTreeSet;

use serde_json::{Map, Value, json};

use super::{
    answers::Says,
    asking::{Words, words},
    checking::stamp,
    draft::fresh_id,
    picture::Picture,
    store,
    typed::Typed,
    unit_of::UnitHere,
};
use crate::{
    base::{EntryId, Instant, SignIn, UnitName},
    pages::drawn::{
        form::{Choice, Field},
        state::State as Drawn,
    },
    web::{App, Oops},
};

/// The last look at a cutout before leaving, one tap each.
pub const CUTOUT: Words = &[
    ("closed_sealed", "Closed and sealed"),
    ("closed_broken", "Closed, seal broken"),
    ("open", "Open"),
    ("not_looked", "Not looked"),
];

#[derive(Clone, Debug)]
pub struct SlipView {
    pub cutouts: Vec<CutoutView>,
    pub occasion: Choice,
    pub started: Field,
    pub ended: Field,
    pub symbol: Field,
    pub from: Field,
    pub to: Field,
    pub position: Choice,
    pub weather: Choice,
    pub consist: Field,
    pub remarks: Field,
    pub password: Field,
    /// What is still open is handed over, and to whom.
    pub hand_over: bool,
    pub handed_to: Field,
    /// Something in the folded part is stated or wrong.
    pub more_open: bool,
}

#[derive(Clone, Debug)]
pub struct CutoutView {
    pub keys: Choice,
    pub seal: Field,
    /// The entry it becomes: its id travels with the form, so that sending twice stays one entry.
    pub entry: (String, String),
}

impl SlipView {
    /// The same fields under names of one unit's own, on a page that has several units.
    pub fn under(mut self, unit: &UnitName) -> Self {
        let own = |name: &mut String| *name = format!("{}.{name}", unit.slug());
        own(&mut self.position.name);
        for cutout in &mut self.cutouts {
            own(&mut cutout.keys.name);
            own(&mut cutout.seal.name);
            own(&mut cutout.entry.0);
        }
        self
    }

    pub fn of(here: &UnitHere, typed: &Typed, says: &Says) -> Self {
        let say = |name: &str| says.get(name).cloned();
        let text = |name: &str, label: &str| Field::text(name, label, typed.raw(name)).says(say(name));
        let time = |name: &str, label: &str| Field::time(name, label, typed.raw(name)).says(say(name));
        let keys = |name: &str, label: &str, words: Words| {
            Choice::of(name, label, typed.raw(name), words).few().says(say(name))
        };
        let mut occasion = keys("occasion", "What was it?", words::OCCASION);
        if occasion.value.is_empty() {
            "run".clone_into(&mut occasion.value);
        }
        let folded = ["position", "weather", "consist", "remarks"];
        Self {
            cutouts: cutouts(here, typed, says),
            occasion,
            started: time("run.started", "Run started"),
            ended: time("run.ended", "Run ended"),
            symbol: text("run.symbol", "Train symbol"),
            from: text("run.from", "From"),
            to: text("run.to", "To"),
            position: keys("position", "Position in the consist", words::RUN_POSITION),
            weather: keys("weather", "Weather", words::WEATHER),
            consist: text("consist", "Units of the consist").hint("Commas between: QHB 412, QHB 431"),
            remarks: text("remarks", "Remarks"),
            password: Field::password("password", "Your password, as your signature").says(say("password")),
            hand_over: typed.raw("hand_over") == "yes",
            handed_to: text("handed_to", "Handed over to").hint("Sign-in name or name, if you met them"),
            more_open: folded.iter().any(|name| typed.stated(name).is_some() || says.contains_key(*name)),
        }
    }
}

fn cutouts(here: &UnitHere, typed: &Typed, says: &Says) -> Vec<CutoutView> {
    let Some(schedule) = here.schedule() else { return Vec::new() };
    let view = |tag: &str| {
        let name = format!("cutout.{tag}");
        let (seal, entry) = (format!("{name}.seal"), format!("{name}.entry"));
        let label = format!("Ground-relay cutout {tag} as you leave it");
        let id = typed.stated(&entry).unwrap_or_else(|| fresh_id(here.now).to_string());
        let number = Field { mode: "numeric", ..Field::text(&seal, "Number on the seal", typed.raw(&seal)) };
        CutoutView {
            keys: Choice::of(&name, &label, typed.raw(&name), CUTOUT)
                .hint("If it was open, 'Closed and sealed' says that you closed it. Somebody else: write that down first")
                .says(says.get(&name).cloned()),
            seal: number.hint("If you can read it"),
            entry: (entry, id),
        }
    };
    schedule.cutouts().map(|cutout| view(cutout.tag.as_str())).collect()
}

/// The report in the contract's field names, with these entries and those of the cutouts.
pub fn report_json(
    here: &UnitHere,
    me: &SignIn,
    id: &Value,
    is_final: bool,
    typed: &Typed,
    mut entries: Vec<Value>,
    open: &BTreeSet<String>,
) -> (Value, Says) {
    let mut says = Says::new();
    let mut map = Map::new();
    let mut put = |name: &str, value: Value| drop(map.insert(name.to_owned(), value));
    let occasion = typed.stated("occasion").unwrap_or_else(|| "run".to_owned());
    put("id", id.clone());
    put("unit", json!(here.unit));
    put("author", json!(me));
    put("final", json!(is_final));
    let run = run(here, typed, &mut says);
    if occasion == "run" || !run.is_empty() {
        put("run", Value::Object(run));
    }
    put("occasion", json!(occasion));
    for name in ["position", "weather", "remarks"] {
        if let Some(text) = typed.stated(name) {
            put(name, json!(text));
        }
    }
    put("consist", consist(typed, &mut says));
    if is_final {
        entries.extend(cutout_entries(here, me, typed, open));
    }
    put("entries", Value::Array(entries));
    put("signed_at", json!(stamp(here, here.now)));
    (Value::Object(map), says)
}

fn run(here: &UnitHere, typed: &Typed, says: &mut Says) -> Map<String, Value> {
    let mut run = Map::new();
    for (name, field) in [("run.symbol", "symbol"), ("run.from", "from"), ("run.to", "to")] {
        if let Some(text) = typed.stated(name) {
            run.insert(field.to_owned(), json!(text));
        }
    }
    for (name, field) in [("run.started", "started"), ("run.ended", "ended")] {
        let Some(text) = typed.stated(name) else { continue };
        match here.world.railway.zone.parse_local(&text) {
            Some(at) => drop(run.insert(field.to_owned(), json!(stamp(here, at)))),
            None => {
                drop(says.insert(name.to_owned(), "Set a date and a time, like 2026-03-03T05:14.".to_owned()))
            }
        }
    }
    run
}

fn consist(typed: &Typed, says: &mut Says) -> Value {
    let text = typed.stated("consist").unwrap_or_default();
    let units = text.split([',', ';', '\n']).map(str::trim).filter(|unit| !unit.is_empty());
    if units.clone().any(|unit| UnitName::tidy(unit).is_none()) {
        let sentence = "Write each unit as its mark and road number, with commas between: QHB 412, QHB 431.";
        says.insert("consist".to_owned(), sentence.to_owned());
    }
    json!(units.collect::<Vec<_>>())
}

pub fn cutout_entries(here: &UnitHere, me: &SignIn, typed: &Typed, open: &BTreeSet<String>) -> Vec<Value> {
    let Some(schedule) = here.schedule() else { return Vec::new() };
    let tags = schedule.cutouts().map(|cutout| cutout.tag.as_str());
    tags.filter_map(|tag| cutout_entry(here, me, tag, typed, open.contains(tag))).collect()
}

/// What one tap says about a cutout is a position entry like any other; of one that was told to be open, it says
/// who closed it.
fn cutout_entry(here: &UnitHere, me: &SignIn, tag: &str, typed: &Typed, was_open: bool) -> Option<Value> {
    let name = format!("cutout.{tag}");
    let number = typed.stated(&format!("{name}.seal"));
    let (seen, seal, note) = match typed.raw(&name) {
        "closed_sealed" if number.is_none() => ("closed", None, Some("Sealed; the number was not read.")),
        "closed_sealed" => ("closed", number, None),
        "closed_broken" => ("closed", Some("broken".to_owned()), None),
        "open" => ("open", None, None),
        "not_looked" => ("not_looked", None, None),
        _ => return None,
    };
    let closes = was_open && typed.raw(&name) == "closed_sealed";
    let id: EntryId = typed.raw(&format!("{name}.entry")).parse().unwrap_or(EntryId(fresh_id(here.now)));
    let mut entry = json!({
        "id": id, "kind": "position", "at": stamp(here, last_look(here, typed)), "device": tag,
        "seen": if closes { "open" } else { seen }, "by": me,
    });
    if closes {
        entry["moved_to"] = json!("closed");
    }
    if let Some(seal) = seal {
        entry["seal"] = json!(seal);
    }
    if let Some(note) = note {
        entry["note"] = json!(note);
    }
    Some(entry)
}

/// Whoever signs after the run looked before it ended.
fn last_look(here: &UnitHere, typed: &Typed) -> Instant {
    let ended = typed.stated("run.ended").and_then(|text| here.world.railway.zone.parse_local(&text));
    ended.map_or(here.now, |ended| ended.min(here.now))
}

/// Cutouts that stand open by the book and this draft.
pub async fn open_cutouts(app: &App, here: &UnitHere, drafted: &[Value]) -> Result<BTreeSet<String>, Oops> {
    let dossiers = store::dossiers_of(&mut *app.desk().read().await?, &here.unit).await?;
    let picture = Picture::of(&dossiers, here.schedule());
    let cutouts = here.schedule().into_iter().flat_map(|schedule| schedule.cutouts());
    let open = cutouts.filter(|cutout| picture.known(cutout).is_some_and(|known| known.state == Drawn::Off));
    Ok(open_after(open.map(|cutout| cutout.tag.to_string()).collect(), drafted))
}

/// Cutouts that are open after these entries, in the order of their times, when those in `open` were before.
fn open_after(mut open: BTreeSet<String>, entries: &[Value]) -> BTreeSet<String> {
    for entry in entries {
        let Some(tag) = entry["device"].as_str() else { continue };
        let stands = entry["moved_to"].as_str().or_else(|| entry["seen"].as_str());
        match (entry["kind"].as_str(), stands) {
            (Some("bypass"), _) if entry["closed_at"].is_null() => drop(open.insert(tag.to_owned())),
            (Some("bypass"), _) | (Some("position"), Some("closed" | "on")) => drop(open.remove(tag)),
            (Some("position"), Some("open" | "off")) => drop(open.insert(tag.to_owned())),
            _ => {}
        }
    }
    open
}

/// Cutouts said to be left open of which nobody wrote that they were opened.
pub fn open_and_untold(here: &UnitHere, typed: &Typed, open: &BTreeSet<String>) -> Vec<String> {
    let tags = here.schedule().into_iter().flat_map(|s| s.cutouts()).map(|cutout| cutout.tag.to_string());
    tags.filter(|tag| typed.raw(&format!("cutout.{tag}")) == "open" && !open.contains(tag)).collect()
}

/// What a form says of a cutout: how it was seen, and whether its seal was whole; empty for nothing.
pub fn says_of_cutout<'a>(typed: &'a Typed, name: &str) -> &'a str {
    let says = typed.raw(name);
    if says == "closed_sealed" { "closed" } else { says }
}

/// The same, of the entry that it became.
pub fn filed_of_cutout(detail: &str) -> &'static str {
    let entry: Value = serde_json::from_str(detail).unwrap_or_default();
    let closed = entry["seen"] == "closed" || entry["moved_to"] == "closed";
    match entry["seen"].as_str() {
        _ if closed && entry["seal"] == "broken" => "closed_broken",
        _ if closed => "closed",
        Some("open") => "open",
        Some("not_looked") => "not_looked",
        _ => "",
    }
}

/// Where the run's start is not typed yet: when the handover was signed as read, if that was for this run.
pub fn suggest_start(here: &UnitHere, typed: &mut Typed, read_at: Option<Instant>) {
    const LONGEST_RUN: i64 = 16 * crate::base::instant::HOUR;
    if let Some(at) = read_at.filter(|at| here.now.since(*at) <= LONGEST_RUN)
        && typed.stated("run.started").is_none()
    {
        typed.set("run.started", here.world.railway.zone.local_input(at));
    }
}
