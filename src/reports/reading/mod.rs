//! From a tree to a report, an entry or an amendment: all problems at once, each a sentence beside its field.
//! Pure, and without the roster: what needs to know devices, people or the time is in `validity`.
pub mod fields;
mod sentences;
mod values;

pub(super) use values::most_letters;

use self::fields::{Fields, Path, Value, refuse};
use super::{
    amendment::Amendment,
    entry::{AtHow, Entry, When},
    json::{self, Json},
    kinds::{Kind, What},
    report::{Report, Run},
    vocabulary::{Basis, Occasion},
};
use crate::base::{Code, Problems, Stamp};

/// What was read, with the warnings; or all that is wrong with it.
pub type Read<T> = Result<(T, Problems), Problems>;

/// A report as it was sent or stands on a line of a file. What cannot even be parsed is one problem of the whole;
/// who must tell 400, 413 and 422 apart parses first, see [`json::parse`].
pub fn read_report_bytes(bytes: &[u8]) -> Read<Report> {
    match json::parse(bytes) {
        Ok(tree) => read_report(&tree),
        Err(unreadable) => Err(Problems { refusals: vec![unreadable.problem()], warnings: Vec::new() }),
    }
}

pub fn read_report(json: &Json) -> Read<Report> {
    whole(json)
}

/// One entry by itself, as a form or an amendment has it.
pub fn read_entry(json: &Json) -> Read<Entry> {
    whole(json)
}

pub fn read_amendment(json: &Json) -> Read<Amendment> {
    whole(json)
}

fn whole<T: Value>(json: &Json) -> Read<T> {
    let mut problems = Problems::default();
    match T::value(json, &Path::Whole, &mut problems) {
        Some(read) if !problems.is_refused() => Ok((read, problems)),
        _ => Err(problems),
    }
}

const REPORT: &[&str] = &[
    "id",
    "unit",
    "author",
    "occasion",
    "final",
    "run",
    "position",
    "consist",
    "weather",
    "remarks",
    "entries",
    "signed_at",
];

impl Value for Report {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let mut fields = Fields::of(json, at, problems)?;
        let id = fields.required("id");
        let unit = fields.required("unit");
        let author = fields.required("author");
        let occasion: Option<Option<Occasion>> = fields.take("occasion");
        let is_final: Option<Option<bool>> = fields.take("final");
        let run = run(&mut fields, at, occasion.flatten().unwrap_or(Occasion::Run));
        let position = fields.take("position");
        let consist = fields.take("consist");
        let weather = fields.take("weather");
        let remarks = fields.take("remarks");
        let entries = entries(&mut fields, at);
        let signed_at = fields.required("signed_at");
        fields.no_others(&[REPORT])?;
        Some(Self {
            id: id?,
            unit: unit?,
            author: author?,
            occasion: occasion?.unwrap_or(Occasion::Run),
            is_final: is_final?.unwrap_or(true),
            run: run?,
            position: position?,
            consist: consist?,
            weather: weather?,
            remarks: remarks?,
            entries: entries?,
            signed_at: signed_at?,
        })
    }
}

/// Unlike other lists this one must be there: 'nothing to report' is said, not left out.
fn entries(fields: &mut Fields, at: &Path) -> Option<Vec<Entry>> {
    match fields.stated("entries") {
        Some(json) => fields::list(json, &Path::Field(at, "entries"), fields.problems),
        None => fields.refuse("entries", Code::Missing, sentences::missing("entries")),
    }
}

/// A run has a start. On other occasions there need be no run, and one that says nothing is none.
fn run(fields: &mut Fields, at: &Path, occasion: Occasion) -> Option<Option<Run>> {
    let here = Path::Field(at, "run");
    let Some(json) = fields.stated("run") else {
        if occasion != Occasion::Run {
            return Some(None);
        }
        let started = Path::Field(&here, "started");
        return refuse(fields.problems, &started, Code::Missing, sentences::missing("started"));
    };
    let mut fields = Fields::of(json, &here, fields.problems)?;
    let symbol: Option<Option<String>> = fields.take("symbol");
    let from: Option<Option<String>> = fields.take("from");
    let to: Option<Option<String>> = fields.take("to");
    let started: Option<Option<Stamp>> = fields.take("started");
    let ended: Option<Option<Stamp>> = fields.take("ended");
    fields.no_others(&[&["symbol", "from", "to", "started", "ended"]])?;
    let (symbol, from, to, started, ended) = (symbol?, from?, to?, started?, ended?);
    if started.is_none() && occasion == Occasion::Run {
        return fields.refuse("started", Code::Missing, sentences::missing("started"));
    }
    let run = Run { symbol, from, to, started, ended };
    Some((run != Run::default()).then_some(run))
}

const COMMON: &[&str] = &[
    "id",
    "kind",
    "at_how",
    "place",
    "throttle",
    "speed_mph",
    "load_a",
    "load_klbf",
    "weather",
    "signs",
    "note",
];

impl Value for Entry {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let mut fields = Fields::of(json, at, problems)?;
        let id = fields.required("id");
        let kind: Option<Kind> = fields.required("kind");
        let when = kind.and_then(|kind| when(&mut fields, kind));
        let at_how: Option<Option<AtHow>> = fields.take("at_how");
        let place = fields.take("place");
        let throttle = fields.take("throttle");
        let speed_mph = fields.take("speed_mph");
        let load_a = fields.take("load_a");
        let load_klbf = fields.take("load_klbf");
        let weather = fields.take("weather");
        let signs = fields.take("signs");
        let what = kind.and_then(|kind| What::read(kind, &mut fields));
        let note = fields.take("note");
        // Without its kind nobody can say which fields an entry may have.
        let kind = kind?;
        let (happened, found) = kind.time_fields();
        fields.no_others(&[COMMON, &[happened, found], kind.own_fields()])?;
        Some(Self {
            id: id?,
            when: when?,
            at_how: at_how?.unwrap_or(AtHow::Clock),
            place: place?,
            throttle: throttle?,
            speed_mph: speed_mph?,
            load_a: load_a?,
            load_klbf: load_klbf?,
            weather: weather?,
            signs: signs?,
            what: with_basis(what?, &mut fields),
            note: note?,
        })
    }
}

/// Exactly one of the two times of a kind.
fn when(fields: &mut Fields, kind: Kind) -> Option<When> {
    let (happened, found) = kind.time_fields();
    let at: Option<Stamp> = fields.take(happened)?;
    let found_at: Option<Stamp> = fields.take(found)?;
    match (at, found_at) {
        (Some(at), None) => Some(When::At(at)),
        (None, Some(found)) => Some(When::Found(found)),
        (None, None) => fields.refuse(happened, Code::Missing, sentences::missing(happened)),
        (Some(_), Some(_)) => fields.refuse(found, Code::NotAllowed, sentences::BOTH_TIMES),
    }
}

/// A fuse put in closes a circuit, as a reset does, and needs a ground; a fuse only looked at needs none.
fn with_basis(mut what: What, fields: &mut Fields) -> What {
    if let What::FuseCheck(check) = &mut what
        && check.replaced_by.is_some()
        && check.basis.is_none()
    {
        fields.ask("basis", Code::Missing, sentences::NO_BASIS);
        check.basis = Some(Basis::NotDetermined);
    }
    what
}

const AMENDMENT: &[&str] = &["id", "report", "entry", "author", "at", "reason", "replacement"];

impl Value for Amendment {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let mut fields = Fields::of(json, at, problems)?;
        let id = fields.required("id");
        let report = fields.required("report");
        let entry = fields.required("entry");
        let author = fields.required("author");
        let time = fields.required("at");
        let reason = fields.required("reason");
        let replacement: Option<Option<Entry>> = fields.take("replacement");
        fields.no_others(&[AMENDMENT])?;
        if let (Some(entry), Some(Some(replacement))) = (entry, &replacement)
            && replacement.id != entry
        {
            return fields.refuse("replacement.id", Code::NotAllowed, sentences::OTHER_ENTRY);
        }
        Some(Self {
            id: id?,
            report: report?,
            entry: entry?,
            author: author?,
            at: time?,
            reason: reason?,
            replacement: replacement?,
        })
    }
}

#[cfg(test)]
mod tests;
