//! Reports signed by a tablet's key: the key put on record or revoked, the report that comes without a session, and
//! its author's word for it afterwards.
use sqlx::{Row, SqliteConnection};
use uuid::Uuid;

use super::{
    act::{Act, Decided},
    apply::author,
    body::{Body, TabletAnswered, TabletKeyRegistered, TabletKeyRevoked, TabletSigned},
    draft::{Draft, Filed, Page},
    load::{damaged, fetch},
    refused::Refused,
    reports::{FileReport, Receipt},
    tables::{self, json},
    wanted::Wanted,
};
use crate::{
    base::{Code, Instant, Problem, ReportId, SignIn, Stamp},
    book::{Channel, Heading},
    people::{
        Permit,
        tablet::{self, SIGNS_FOR, TabletAnswer, TabletKey, TabletReport},
    },
};

fn page(by: &SignIn, now: Instant, body: Body) -> Page {
    Page {
        author: Some(by.clone()),
        channel: Channel::Page,
        on_behalf_of: None,
        happened_at: Some(Stamp::utc(now)),
        body,
    }
}

/// A key made at a sign-in goes on record for its person.
#[derive(Debug)]
pub struct RegisterKey(Page);

impl RegisterKey {
    pub fn of(permit: &Permit, key: Uuid, public_key: String, now: Instant) -> Self {
        let (sign_in, until) = (permit.by().clone(), now.plus(SIGNS_FOR));
        let body = TabletKeyRegistered { key, sign_in, public_key, until };
        Self(page(permit.by(), now, Body::TabletKeyRegistered(Box::new(body))))
    }
}

impl Act for RegisterKey {
    /// Until when it signs.
    type Answer = Option<Instant>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::TabletKeyRegistered(wanted) = &self.0.body else { return Ok(Decided::default()) };
        match draft.tablet_keys.get(&wanted.key) {
            None => Ok(Decided::all(1)),
            Some(known) if known.sign_in == wanted.sign_in && known.public_key == wanted.public_key => {
                Ok(Decided::default())
            }
            Some(_) => Err(Refused::Conflict(vec![problem(
                "key",
                Code::IdInUse,
                "Another key is on record under this id: make a new one.",
            )])),
        }
    }

    fn answer(&self, draft: &Draft, _: &[Filed]) -> Option<Instant> {
        let Body::TabletKeyRegistered(wanted) = &self.0.body else { return None };
        draft.tablet_keys.get(&wanted.key).map(|key| key.until)
    }
}

/// A lost tablet signs no more.
#[derive(Debug)]
pub struct RevokeKey {
    page: Page,
    /// May revoke anybody's, not only their own.
    keeps_people: bool,
}

impl RevokeKey {
    pub fn of(by: &SignIn, keeps_people: bool, key: Uuid, reason: String, now: Instant) -> Self {
        let body = Body::TabletKeyRevoked(Box::new(TabletKeyRevoked { key, reason }));
        Self { page: page(by, now, body), keeps_people }
    }
}

impl Act for RevokeKey {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::TabletKeyRevoked(revoked) = &self.page.body else { return Ok(Decided::default()) };
        let mine = |key: &&TabletKey| self.keeps_people || Some(&key.sign_in) == self.page.author.as_ref();
        match draft.tablet_keys.get(&revoked.key).filter(mine) {
            None => Err(Refused::NotThere("You have no such tablet key on record.".to_owned())),
            Some(known) if known.revoked_at.is_some() => Ok(Decided::default()),
            Some(_) => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

/// A report as a tablet sent it: read and checked like any other, its signature found to hold.
#[derive(Debug)]
pub struct FileSigned {
    report: FileReport,
    signed: Page,
    signed_at: Instant,
}

impl FileSigned {
    /// `signed` names the key; whoever makes this has held the signature against it.
    pub fn of(report: FileReport, by: &SignIn, signed_at: Instant, signed: TabletSigned) -> Self {
        let signed = Page {
            channel: Channel::Device,
            happened_at: signed.clock,
            ..page(by, signed_at, Body::TabletSigned(Box::new(signed)))
        };
        Self { report, signed, signed_at }
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

pub fn not_on_record() -> Refused {
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

fn problem(path: &str, code: Code, says: &str) -> Problem {
    Problem { path: path.to_owned(), code, says: says.to_owned() }
}

impl Draft {
    pub(super) fn put_tablet_key(&mut self, filed: Filed, wanted: &TabletKeyRegistered) {
        self.keep_tablet_key(TabletKey {
            id: wanted.key,
            sign_in: wanted.sign_in.clone(),
            public_key: wanted.public_key.clone(),
            registered_at: filed.recorded_at,
            until: wanted.until,
            revoked_at: None,
            revoked_by: None,
            reason: None,
        });
    }

    pub(super) fn revoke_tablet_key(
        &mut self,
        filed: Filed,
        heading: &Heading,
        revoked: &TabletKeyRevoked,
    ) {
        let Some(known) = self.tablet_keys.get(&revoked.key).cloned() else { return };
        self.keep_tablet_key(TabletKey {
            revoked_at: Some(filed.recorded_at),
            revoked_by: Some(author(heading)),
            reason: Some(revoked.reason.clone()),
            ..known
        });
    }

    fn keep_tablet_key(&mut self, key: TabletKey) {
        self.rows.tablet_keys.add(&tables::TabletKeyRow {
            id: key.id,
            sign_in: key.sign_in.clone(),
            until: key.until,
            revoked_at: key.revoked_at,
            card: json(&key),
        });
        self.tablet_keys.insert(key.id, key);
    }

    pub(super) fn put_tablet_report(&mut self, filed: Filed, heading: &Heading, signed: &TabletSigned) {
        self.keep_tablet_report(TabletReport {
            report: signed.report,
            author: author(heading),
            key: signed.key,
            clock: signed.clock,
            received_at: filed.recorded_at,
            answer: None,
        });
    }

    pub(super) fn answer_tablet_report(&mut self, filed: Filed, answered: &TabletAnswered) {
        let Some(known) = self.tablet_reports.get(&answered.report).cloned() else { return };
        let answer =
            TabletAnswer { mine: answered.mine, at: filed.recorded_at, words: answered.words.clone() };
        self.keep_tablet_report(TabletReport { answer: Some(answer), ..known });
    }

    fn keep_tablet_report(&mut self, report: TabletReport) {
        self.rows.tablet_reports.add(&tables::TabletReportRow {
            report: report.report,
            author: report.author.clone(),
            received_at: report.received_at,
            answered_at: report.answer.as_ref().map(|answer| answer.at),
            card: json(&report),
        });
        self.tablet_reports.insert(report.report, report);
    }

    pub(super) async fn load_tablets(
        &mut self,
        db: &mut SqliteConnection,
        wanted: &Wanted,
    ) -> Result<(), sqlx::Error> {
        let sql = "SELECT card FROM tablet_key WHERE id IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, &wanted.tablet_keys).await? {
            let key: TabletKey = card(row.try_get("card")?)?;
            self.tablet_keys.insert(key.id, key);
        }
        let sql = "SELECT card FROM tablet_report WHERE report IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, &wanted.tablet_reports).await? {
            let report: TabletReport = card(row.try_get("card")?)?;
            self.tablet_reports.insert(report.report, report);
        }
        Ok(())
    }
}

fn card<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, sqlx::Error> {
    serde_json::from_str(text).map_err(|why| damaged(why.to_string()))
}

/// A key on record, if there is one.
pub async fn key(db: &mut SqliteConnection, id: Uuid) -> Result<Option<TabletKey>, sqlx::Error> {
    let sql = "SELECT card FROM tablet_key WHERE id = ?";
    let text: Option<String> = sqlx::query_scalar(sql).bind(id.to_string()).fetch_optional(db).await?;
    text.as_deref().map(card).transpose()
}

/// Keys that still sign, of one person or of all, the latest first.
pub async fn live_keys(
    db: &mut SqliteConnection,
    of: Option<&SignIn>,
    now: Instant,
) -> Result<Vec<TabletKey>, sqlx::Error> {
    let sql = "SELECT card FROM tablet_key WHERE (?1 IS NULL OR sign_in = ?1) AND until > ?2 AND revoked_at IS NULL
        ORDER BY sign_in, until DESC LIMIT 1000";
    let query = sqlx::query_scalar::<_, String>(sql).bind(of.map(SignIn::as_str)).bind(now.0);
    query.fetch_all(db).await?.iter().map(|text| card(text)).collect()
}

/// What a tablet sent for somebody that they have not answered for, the oldest first.
pub async fn unanswered(db: &mut SqliteConnection, of: &SignIn) -> Result<Vec<TabletReport>, sqlx::Error> {
    let sql =
        "SELECT card FROM tablet_report WHERE author = ? AND answered_at IS NULL ORDER BY received_at, report";
    let cards = sqlx::query_scalar::<_, String>(sql).bind(of.as_str()).fetch_all(db).await?;
    cards.iter().map(|text| card(text)).collect()
}

/// How a report from a tablet stands; `None`: it came another way.
pub async fn of_report(
    db: &mut SqliteConnection,
    report: ReportId,
) -> Result<Option<TabletReport>, sqlx::Error> {
    let sql = "SELECT card FROM tablet_report WHERE report = ?";
    let text: Option<String> = sqlx::query_scalar(sql).bind(report.to_string()).fetch_optional(db).await?;
    text.as_deref().map(card).transpose()
}

/// Holds the signature against the key on record.
pub fn holds(key: &TabletKey, signed: &TabletSigned) -> bool {
    tablet::signed_by(&key.public_key, signed.signed.as_bytes(), &signed.signature)
}
