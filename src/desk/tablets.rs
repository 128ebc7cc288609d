//! Keys that tablets sign with, put on record and revoked, and what the projections hold of them and of what they signed.
use sqlx::{Row, SqliteConnection};
use uuid::Uuid;

use super::{
    act::{Act, Decided},
    apply::author,
    body::{Body, TabletAnswered, TabletKeyRegistered, TabletKeyRevoked, TabletSigned},
    draft::{Draft, Filed, Page},
    load::{damaged, fetch},
    refused::Refused,
    tables::{self, json},
    wanted::Wanted,
};
use crate::{
    base::{Code, Instant, Problem, ReportId, SignIn, Stamp},
    book::{Channel, Heading},
    people::{
        Permit,
        tablet::{SIGNS_FOR, TabletAnswer, TabletKey, TabletReport},
    },
};

pub(super) fn page(by: &SignIn, now: Instant, body: Body) -> Page {
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

pub(super) fn problem(path: &str, code: Code, says: &str) -> Problem {
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

    pub(super) fn revoke_tablet_key(&mut self, filed: Filed, heading: &Heading, revoked: &TabletKeyRevoked) {
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
    let sql =
        "SELECT card FROM tablet_key WHERE (?1 IS NULL OR sign_in = ?1) AND until > ?2 AND revoked_at IS NULL
        ORDER BY sign_in, until DESC LIMIT 1000";
    let query = sqlx::query_scalar::<_, String>(sql).bind(of.map(SignIn::as_str)).bind(now.0);
    query.fetch_all(db).await?.iter().map(|text| card(text)).collect()
}

/// What a tablet sent for somebody that they have not answered for, the oldest first.
pub async fn unanswered(db: &mut SqliteConnection, of: &SignIn) -> Result<Vec<TabletReport>, sqlx::Error> {
    let sql = "SELECT card FROM tablet_report WHERE author = ? AND answered_at IS NULL ORDER BY received_at, report";
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
