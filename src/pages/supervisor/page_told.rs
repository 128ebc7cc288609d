//! A page of the book in words: on the book's own pages and in an evidence pack.
use serde_json::Value;

use crate::{
    base::{Instant, UnitName, Zone},
    book::{Channel, Envelope},
    desk::{World, body::Body},
    pages::drawn::told::{said, told_in_full},
    reports::{Amendment, Entry, Report, When},
};

/// Ready to print.
#[derive(Clone, Debug, Default)]
pub struct PageTold {
    pub seq: u64,
    pub what: String,
    /// Who and when, in one line.
    pub by: String,
    pub facts: Vec<Fact>,
    /// What it says, a paragraph each.
    pub says: Vec<String>,
    /// How many facts were left out: the page itself has them.
    pub more: usize,
}

#[derive(Clone, Debug)]
pub struct Fact {
    pub name: String,
    pub says: String,
}

/// Beyond it a page is a table, as a class schedule is: nobody reads it here.
const MOST_FACTS: usize = 60;

impl PageTold {
    /// What cannot be read is told as far as it can be.
    pub fn of(seq: u64, blob: &str, world: &World) -> Self {
        let Ok(envelope) = Envelope::read(blob) else {
            return Self { seq, what: "a page that cannot be read".into(), ..Self::default() };
        };
        let mut told = Self {
            seq,
            what: said(&envelope.kind),
            by: by(&envelope, &world.railway.zone),
            ..Self::default()
        };
        match Body::read(&envelope.kind, envelope.body) {
            Ok(Body::ReportFiled(report)) => told.report(&report, world),
            Ok(Body::EntryAmended(amendment)) => told.amendment(&amendment, world),
            _ => told.plainly(envelope.body.get()),
        }
        told
    }

    /// Its file in a pack.
    pub fn file(&self) -> String {
        format!("{:08}.json", self.seq)
    }

    fn fact(&mut self, name: &str, says: Option<String>) {
        self.facts.extend(says.map(|says| Fact { name: name.to_owned(), says }));
    }

    fn report(&mut self, report: &Report, world: &World) {
        let zone = &world.railway.zone;
        self.fact("Unit", Some(report.unit.to_string()));
        self.fact("Author", Some(report.author.to_string()));
        let occasion = said(report.occasion.as_str());
        self.fact(
            "Occasion",
            Some(if report.is_final { occasion } else { format!("{occasion}, sent before its end") }),
        );
        if let Some(run) = &report.run {
            let from_to =
                [&run.from, &run.to].map(|place| place.clone().unwrap_or_else(|| "not stated".into()));
            self.fact("Run", run.symbol.clone());
            self.fact("From, to", (run.from.is_some() || run.to.is_some()).then(|| from_to.join(" to ")));
            self.fact("Began", run.started.map(|at| zone.in_words(at.at)));
            self.fact("Ended", run.ended.map(|at| zone.in_words(at.at)));
        }
        self.fact("Position", report.position.map(|position| said(position.as_str())));
        let consist: Vec<String> = report.consist.iter().map(ToString::to_string).collect();
        self.fact("Consist", (!consist.is_empty()).then(|| consist.join(", ")));
        self.fact("Weather", report.weather.map(|weather| said(weather.as_str())));
        self.fact("Signed", Some(zone.in_words(report.signed_at.at)));
        self.fact("Remarks", report.remarks.clone());
        self.fact("Report", Some(report.id.to_string()));
        self.says = report.entries.iter().map(|entry| entry_says(entry, &report.unit, world)).collect();
        if report.entries.is_empty() {
            self.says.push("Nothing to report.".to_owned());
        }
    }

    fn amendment(&mut self, amendment: &Amendment, world: &World) {
        self.fact("Author", Some(amendment.author.to_string()));
        self.fact("Amended", Some(world.railway.zone.in_words(amendment.at.at)));
        self.fact("Reason", Some(amendment.reason.clone()));
        self.fact("Report", Some(amendment.report.to_string()));
        self.says.push(match &amendment.replacement {
            // Which unit it is of, the report says; without it devices keep their bare tags.
            Some(entry) => format!("It now reads: {}", entry_says(entry, &UnitName::from(""), world)),
            None => format!("Entry {} is withdrawn.", amendment.entry),
        });
    }

    /// Field by field, as it stands.
    fn plainly(&mut self, body: &str) {
        let value: Value = serde_json::from_str(body).unwrap_or_default();
        let mut facts = Vec::new();
        flatten("", &value, &mut facts);
        self.more = facts.len().saturating_sub(MOST_FACTS);
        facts.truncate(MOST_FACTS);
        self.facts = facts;
    }
}

fn entry_says(entry: &Entry, unit: &UnitName, world: &World) -> String {
    let (at, found) = match &entry.when {
        When::At(at) => (at.at, ""),
        When::Found(at) => (at.at, "found "),
    };
    let zone = &world.railway.zone;
    let how = said(entry.at_how.as_str());
    let told = told_in_full(entry, world.roster.schedule_at(unit, at), zone);
    format!("{found}{} (time by: {how}). {told} Entry {}.", zone.in_words(at), entry.id)
}

fn by(envelope: &Envelope<'_>, zone: &Zone) -> String {
    let how = match envelope.channel {
        Channel::Page => "signed with the password on a page",
        Channel::Token => "sent by a program with their token",
        Channel::Device => "signed by the key of a tablet",
        Channel::Import => "from a file",
        Channel::Console => "at the machine's console",
    };
    let by = match &envelope.author {
        Some(author) => format!("{author}, {how}"),
        None if envelope.channel == Channel::Console => {
            "the program itself, or the machine's console".to_owned()
        }
        None => how.to_owned(),
    };
    let of = envelope
        .on_behalf_of
        .as_ref()
        .map(|who| format!(" for {who}, not signed by them"))
        .unwrap_or_default();
    format!("{by}{of}; recorded {}", precisely(envelope.recorded_at.at, zone))
}

/// To the second: that is what pages are told apart by.
fn precisely(at: Instant, zone: &Zone) -> String {
    format!("{} ({})", zone.in_words(at), at.to_z())
}

fn flatten(name: &str, value: &Value, facts: &mut Vec<Fact>) {
    let under = |key: &str| if name.is_empty() { said(key) } else { format!("{name}, {}", said(key)) };
    match value {
        Value::Object(fields) => fields.iter().for_each(|(key, value)| flatten(&under(key), value, facts)),
        Value::Array(all) if all.iter().any(|one| one.is_object() || one.is_array()) => {
            all.iter().zip(1..).for_each(|(one, n)| flatten(&under(&n.to_string()), one, facts));
        }
        Value::Array(all) => {
            let each: Vec<String> = all.iter().map(plain).collect();
            let says = if each.is_empty() { "none".to_owned() } else { each.join(", ") };
            facts.push(Fact { name: name.to_owned(), says });
        }
        one => facts.push(Fact { name: name.to_owned(), says: plain(one) }),
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "not stated".to_owned(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
