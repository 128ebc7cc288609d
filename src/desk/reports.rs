//! Filing a report, amending an entry, a statement beside one.
use serde::Serialize;

use super::{
    act::{Act, Decided},
    body::{Body, Statement},
    draft::{Draft, Filed, KnownAmendment, KnownReport, Page},
    refused::Refused,
    world::World,
};
use crate::{
    base::{Code, Instant, Problem, Problems, ReportId, SignIn, Stamp, Tag},
    book::Channel,
    people::{self, Permit, Role},
    reports::{Report, amendment::Amendment, content, json, reading, validity},
    rules::{DossierKey, dossier::Subject},
};

/// What a crew takes away: where their report stands in the book, and the tree's root with it.
#[derive(Clone, Debug, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Receipt {
    /// The page's number.
    pub receipt: u64,
    pub report: ReportId,
    /// Of the report's canonical JSON, in hexadecimal.
    pub content_sha256: String,
    pub recorded_at: Instant,
    /// How many pages the book had with it.
    pub tree_size: u64,
    /// The tree's root at that size, in hexadecimal.
    pub root: String,
    /// What was taken all the same, and should be looked at.
    pub warnings: Vec<Problem>,
    /// False when this very report was in the book already.
    #[serde(skip)]
    pub is_new: bool,
}

/// A report that was read and checked, ready to be filed.
#[derive(Debug)]
pub struct FileReport {
    page: Page,
    warnings: Vec<Problem>,
    /// The world it was checked against; if that has changed by its turn, it is checked again.
    checked_at: u64,
    live: bool,
}

/// Who hands a report in, and how.
#[derive(Clone, Debug)]
pub struct Filer {
    /// The signed-in person; `None` for a file that the console imports.
    pub by: Option<SignIn>,
    pub channel: Channel,
}

impl FileReport {
    /// Reads and checks the contract's JSON. Nobody files as another: by page and token the author is the one who
    /// sends it, an import says on whose behalf.
    pub fn read(bytes: &[u8], filer: &Filer, world: &World, now: Instant) -> Result<Self, ReadingFailed> {
        let tree = json::parse(bytes).map_err(ReadingFailed::Unreadable)?;
        let (report, problems) =
            reading::read_report(&tree).map_err(|p| ReadingFailed::Refused(Refused::Problems(p.refusals)))?;
        Self::of(report, problems, filer, world, now).map_err(ReadingFailed::Refused)
    }

    pub fn of(
        report: Report,
        mut problems: Problems,
        filer: &Filer,
        world: &World,
        now: Instant,
    ) -> Result<Self, Refused> {
        let live = matches!(filer.channel, Channel::Page);
        let mine = filer.by.as_ref() == Some(&report.author);
        if !mine && !matches!(filer.channel, Channel::Import) {
            return Err(Refused::NotYours(format!(
                "This report is signed {}: nobody files as another. Send it with that person's own name or token.",
                report.author
            )));
        }
        let checked = validity::check(&report, &world.roster, &world.people, &world.railway.zone, now, live);
        problems.absorb(checked);
        if problems.is_refused() {
            return Err(Refused::Problems(problems.refusals));
        }
        let page = Page {
            author: filer.by.clone(),
            channel: filer.channel,
            on_behalf_of: (!mine).then(|| report.author.clone()),
            happened_at: Some(report.signed_at),
            body: Body::ReportFiled(Box::new(report)),
        };
        Ok(Self { page, warnings: problems.warnings, checked_at: world.seq, live })
    }

    pub fn report(&self) -> Option<&Report> {
        if let Body::ReportFiled(report) = &self.page.body { Some(report) } else { None }
    }
}

/// The bytes could not be read as a report at all, or were refused.
#[derive(Debug)]
pub enum ReadingFailed {
    Unreadable(json::Unreadable),
    Refused(Refused),
}

impl Act for FileReport {
    type Answer = Receipt;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Some(report) = self.report() else { return Ok(Decided::default()) };
        if let Some(known) = draft.reports.get(&report.id) {
            return same_again(known, report);
        }
        let used: Vec<Problem> = report
            .entries
            .iter()
            .enumerate()
            .filter_map(|(n, entry)| draft.entries.get(&entry.id).map(|known| entry_in_use(n, known.report)))
            .collect();
        if !used.is_empty() {
            return Err(Refused::Conflict(used));
        }
        if draft.world.seq != self.checked_at {
            let again = validity::check(
                report,
                &draft.world.roster,
                &draft.world.people,
                &draft.world.railway.zone,
                now,
                self.live,
            );
            if again.is_refused() {
                return Err(Refused::Problems(again.refusals));
            }
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, draft: &Draft, filed: &[Filed]) -> Receipt {
        let report = self.report();
        let known = report.and_then(|r| draft.reports.get(&r.id));
        let place = known.map(|k| k.filed).or_else(|| filed.first().copied());
        let mut warnings = self.warnings.clone();
        if let Some(report) = report
            && !filed.is_empty()
        {
            warnings.extend(told_by_another(draft, report));
        }
        Receipt {
            receipt: place.map_or(0, |p| p.seq),
            report: report.map_or(ReportId(uuid::Uuid::nil()), |r| r.id),
            content_sha256: known.map(|k| k.sha256.clone()).unwrap_or_default(),
            recorded_at: place.map_or(Instant(0), |p| p.recorded_at),
            tree_size: place.map_or(0, |p| p.seq + 1),
            root: place.map(|p| p.root.to_string()).unwrap_or_default(),
            warnings,
            is_new: !filed.is_empty(),
        }
    }
}

fn same_again(known: &KnownReport, report: &Report) -> Result<Decided, Refused> {
    if known.author == report.author && known.sha256 == hex::encode(content::content_sha256(report)) {
        return Ok(Decided::default());
    }
    Err(Refused::Conflict(vec![Problem {
        path: "id".to_owned(),
        code: Code::IdInUse,
        says: format!(
            "A report with this id is in the book already (page {}) and says something else: it stays as it is. Give the new one an id of its own, or amend the entry.",
            known.filed.seq
        ),
    }]))
}

fn entry_in_use(n: usize, report: ReportId) -> Problem {
    Problem {
        path: format!("entries[{n}].id"),
        code: Code::IdInUse,
        says: format!("An entry with this id is in report {report} already: give this one an id of its own."),
    }
}

/// 'The same one?': somebody else told of this device within ten minutes.
fn told_by_another(draft: &Draft, report: &Report) -> Vec<Problem> {
    let mut others: Vec<(Tag, Instant, SignIn)> = Vec::new();
    for entry in &report.entries {
        let Some(tag) = entry.what.device().and_then(|d| d.tag()) else { continue };
        let key = DossierKey { unit: report.unit.clone(), subject: Subject::Device(tag.clone()) };
        let (from, to) =
            (entry.when.at().minus(validity::SAME_TIME), entry.when.at().plus(validity::SAME_TIME));
        let facts = draft.dossiers.get(&key).map_or(&[][..], |kept| kept.dossier.between(from, to));
        let theirs = facts.iter().filter(|f| f.report != report.id && f.author != report.author);
        others.extend(theirs.map(|f| (tag.clone(), f.at, f.author.clone())));
    }
    if others.is_empty() {
        return Vec::new();
    }
    validity::same_again(&report.entries, &report.author, &others, &draft.world.railway.zone).warnings
}

/// A later correction of one whole entry.
#[derive(Debug)]
pub struct AmendEntry {
    page: Page,
    role: Role,
}

impl AmendEntry {
    pub fn of(amendment: Amendment, permit: &Permit, role: Role, channel: Channel) -> Self {
        let page = Page {
            author: Some(permit.by().clone()),
            channel,
            on_behalf_of: None,
            happened_at: Some(amendment.at),
            body: Body::EntryAmended(Box::new(amendment)),
        };
        Self { page, role }
    }
}

impl Act for AmendEntry {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Body::EntryAmended(amendment) = &self.page.body else { return Ok(Decided::default()) };
        if let Some(known) = draft.amendments.get(&amendment.id) {
            return amended_again(known, amendment);
        }
        let known = draft.entries.get(&amendment.entry).filter(|known| known.report == amendment.report);
        let Some(known) = known else {
            return Err(Refused::NotThere(
                "The book holds no such entry in that report: look it up again.".to_owned(),
            ));
        };
        let mine = self.page.author.as_ref() == Some(&known.author);
        if !mine && !matches!(self.role, Role::Shop | Role::Supervisor) {
            return Err(Refused::NotYours(
                "Only the author of a report, the shop or a supervisor may amend it. Add a statement beside the entry instead.".to_owned(),
            ));
        }
        let Some(replacement) = &amendment.replacement else { return Ok(Decided::all(1)) };
        if replacement.id != amendment.entry {
            return Err(Refused::Conflict(vec![Problem {
                path: "replacement.id".to_owned(),
                code: Code::IdInUse,
                says: "The replacement keeps the id of the entry it replaces.".to_owned(),
            }]));
        }
        let checked = {
            let world = &draft.world;
            validity::check_amendment(
                amendment,
                (&known.unit, None),
                &world.roster,
                &world.people,
                &world.railway.zone,
                now,
                false,
            )
        };
        if checked.is_refused() { Err(Refused::Problems(checked.refusals)) } else { Ok(Decided::all(1)) }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// Handed in twice, it is in the book once.
fn amended_again(known: &KnownAmendment, amendment: &Amendment) -> Result<Decided, Refused> {
    if *known == KnownAmendment::of(amendment) {
        return Ok(Decided::default());
    }
    let says = "An amendment with this id is in the book already and says something else: it stays as it is. Give the new one an id of its own.";
    Err(Refused::Conflict(vec![Problem {
        path: "id".to_owned(),
        code: Code::IdInUse,
        says: says.to_owned(),
    }]))
}

/// A named person's own words beside an entry about them.
#[derive(Debug)]
pub struct AddStatement(Page);

impl AddStatement {
    pub fn of(statement: Statement, permit: &Permit, channel: Channel, now: Instant) -> Self {
        Self(Page {
            author: Some(permit.by().clone()),
            channel,
            on_behalf_of: None,
            happened_at: Some(Stamp::utc(now)),
            body: Body::StatementAdded(Box::new(statement)),
        })
    }
}

impl Act for AddStatement {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::StatementAdded(said) = &self.0.body else { return Ok(Decided::default()) };
        if draft.entries.contains_key(&said.entry) {
            Ok(Decided::all(1))
        } else {
            Err(Refused::NotThere("The book holds no such entry: look it up again.".to_owned()))
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// The role a person has now, for acts that depend on it.
pub fn role_of(world: &World, person: &SignIn) -> Option<Role> {
    world.people.person(person).map(|p: &people::Person| p.role)
}
