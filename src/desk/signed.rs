//! A report signed by a tablet's key, which comes without a session, and its author's word for it afterwards.
use serde::Deserialize;
use uuid::Uuid;

use super::{
    Desk,
    act::{Act, Decided},
    body::{Body, TabletAnswered, TabletSigned},
    draft::{Draft, Filed, Page},
    refused::Refused,
    reports::{FileReport, Filer, ReadingFailed, Receipt},
    tablets::{self, page, problem},
};
use crate::{
    base::{Code, EntryId, Instant, ReportId, SignIn, Stamp, UnitName},
    book::Channel,
    people::tablet,
    reports::json::Unreadable,
};

/// One record of a tablet's queue. The version is the record's, not the program's: add, never rename.
#[derive(Debug, Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sent {
    #[schemars(schema_with = "first_version")]
    v: u32,
    key: Uuid,
    /// The very text that was signed: the contract's JSON.
    report: String,
    /// By the tablet's P-256 key: r and s, in hexadecimal.
    signature: String,
    /// The tablet's clock when it was sent.
    #[serde(default)]
    clock: Option<String>,
}

fn first_version(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
    schemars::json_schema!({ "const": 1 })
}

impl Sent {
    /// `None`: no record of a queue.
    pub fn read(bytes: &[u8]) -> Option<Self> {
        serde_json::from_slice(bytes).ok()
    }

    /// Holds the signature against the key on record, and reads the report like any other.
    pub async fn check(self, desk: &Desk) -> Result<FileSigned, ReadingFailed> {
        let refused = ReadingFailed::Refused;
        if self.v != 1 {
            let says = format!("This program knows no queue of version {}: it keeps it as a draft.", self.v);
            return Err(refused(not_allowed("v", &says)));
        }
        let mut db = desk.read().await.map_err(|why| refused(Refused::Trouble(why)))?;
        let key = tablets::key(&mut db, self.key).await;
        let key = key.map_err(|why| refused(Refused::Trouble((&why).into())))?;
        let key = key.ok_or_else(|| refused(not_on_record()))?;
        if !tablet::signed_by(&key.public_key, self.report.as_bytes(), &self.signature) {
            return Err(refused(not_allowed("signature", "The signature does not belong to this report.")));
        }
        let filer = Filer { by: Some(key.sign_in.clone()), channel: Channel::Device };
        let report = FileReport::read(self.report.as_bytes(), &filer, &desk.world(), desk.clock().now())?;
        FileSigned::of(report, key.sign_in, self).ok_or(ReadingFailed::Unreadable(Unreadable::TooLarge))
    }
}

fn not_allowed(path: &str, says: &str) -> Refused {
    Refused::Problems(vec![problem(path, Code::NotAllowed, says)])
}

/// A report as a tablet sent it: read and checked like any other, its signature found to hold.
#[derive(Debug)]
pub struct FileSigned {
    report: FileReport,
    signed: Page,
    signed_at: Instant,
    /// Whose, about what, and which entries: what a draft of theirs no longer has to hold.
    pub about: About,
}

#[derive(Clone, Debug)]
pub struct About {
    pub author: SignIn,
    pub unit: UnitName,
    pub report: ReportId,
    pub entries: Vec<EntryId>,
    /// Nothing more is to come of the run on this unit.
    pub is_final: bool,
    /// By the tablet's clock, and what that clock said when it was sent.
    signed_at: Instant,
    clock: Option<Instant>,
}

impl About {
    /// When it was signed by the book's clock; `received` is when it came.
    pub fn signed_at(&self, received: Instant) -> Instant {
        self.clock.map_or(self.signed_at, |clock| self.signed_at.plus(received.since(clock)))
    }
}

impl FileSigned {
    fn of(report: FileReport, author: SignIn, sent: Sent) -> Option<Self> {
        let read = report.report()?;
        let (signed_at, id) = (read.signed_at.at, read.id);
        let entries = read.entries.iter().map(|entry| entry.id).collect();
        let clock = sent.clock.as_deref().and_then(Stamp::parse);
        let about = About {
            author,
            unit: read.unit.clone(),
            report: id,
            entries,
            is_final: read.is_final,
            signed_at,
            clock: clock.map(|clock| clock.at),
        };
        let signed =
            TabletSigned { report: id, key: sent.key, signed: sent.report, signature: sent.signature, clock };
        let signed = Page {
            channel: Channel::Device,
            happened_at: clock,
            ..page(&about.author, signed_at, Body::TabletSigned(Box::new(signed)))
        };
        Some(Self { report, signed, signed_at, about })
    }
}

impl Act for FileSigned {
    type Answer = Receipt;

    fn pages(&self) -> Vec<&Page> {
        self.report.pages().into_iter().chain([&self.signed]).collect()
    }

    /// What is in the book already stays as it is, whatever has become of the key.
    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let decided = self.report.decide(draft, now)?;
        if decided.file.is_empty() {
            return Ok(decided);
        }
        let Body::TabletSigned(signed) = &self.signed.body else { return Ok(Decided::default()) };
        let key = draft.tablet_keys.get(&signed.key);
        let key = key.filter(|key| Some(&key.sign_in) == self.signed.author.as_ref());
        let Some(key) = key else { return Err(not_on_record()) };
        match key.refuses(self.signed_at, now) {
            Some(says) => Err(Refused::Problems(vec![problem("", Code::NotAllowed, says)])),
            None => Ok(Decided::all(2)),
        }
    }

    fn answer(&self, draft: &Draft, filed: &[Filed]) -> Receipt {
        self.report.answer(draft, filed)
    }
}

fn not_on_record() -> Refused {
    let says = "This tablet's key is not on record in this book, so the report was not taken. It is kept as a draft: sign in and sign it with your password.";
    Refused::Problems(vec![problem("", Code::NotAllowed, says)])
}

/// 'Is this yours?', answered by its author under their password.
#[derive(Debug)]
pub struct AnswerReport(Page);

impl AnswerReport {
    pub fn of(by: &SignIn, report: ReportId, mine: bool, words: Option<String>, now: Instant) -> Self {
        Self(page(by, now, Body::TabletAnswered(Box::new(TabletAnswered { report, mine, words }))))
    }
}

impl Act for AnswerReport {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::TabletAnswered(answered) = &self.0.body else { return Ok(Decided::default()) };
        let known = draft.tablet_reports.get(&answered.report);
        match known.filter(|known| Some(&known.author) == self.0.author.as_ref()) {
            None => Err(Refused::NotThere("No such report of yours came from a tablet.".to_owned())),
            // The first word stands; a later one is a statement beside the entry.
            Some(known) if known.answer.is_some() => Ok(Decided::default()),
            Some(_) => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}
