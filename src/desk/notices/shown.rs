//! Notices as pages show them: somebody's inbox, what was sent, and a trial of every way.
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    Matter, Notice,
    look::{Way, deliver, put, ways_to},
    outbox::read_notice,
    what::{About, What},
    wishes::{self, Wishes},
};
use crate::{
    base::{Instant, SignIn, words::words},
    desk::World,
    people::Person,
};

type Sql<T> = Result<T, sqlx::Error>;

words! {
    pub enum Channel { Inbox = "inbox", Mail = "mail", Hook = "hook", }
}
words! {
    pub enum State { Waiting = "waiting", Sent = "sent", GivenUp = "given_up", Dropped = "dropped", }
}

/// One line of an inbox.
#[derive(Clone, Debug)]
pub struct Lying {
    pub notice: Notice,
    pub read: bool,
}

/// One delivery, and what became of it.
#[derive(Clone, Debug)]
pub struct Delivery {
    pub notice: Notice,
    pub channel: Channel,
    pub to: String,
    pub state: State,
    pub due_at: Instant,
    pub tries: i64,
    pub says: Option<String>,
    pub sent_at: Option<Instant>,
}

/// The sorts that this person may read now: what they were told as somebody else stays shut.
fn theirs(person: &Person) -> String {
    let may = What::ALL.iter().filter(|what| wishes::may_be_told(person, **what));
    serde_json::json!(may.map(|what| what.as_str()).collect::<Vec<_>>()).to_string()
}

/// What they have not read, counted up to a hundred: on every page.
pub async fn unread(db: &mut SqliteConnection, person: &Person) -> Sql<u32> {
    let sql = "SELECT count(*) FROM (SELECT 1 FROM notice_delivery WHERE to_whom = ? AND channel = 'inbox'
        AND read_at IS NULL AND what IN (SELECT value FROM json_each(?)) LIMIT 100)";
    sqlx::query_scalar(sql).bind(person.sign_in.as_str()).bind(theirs(person)).fetch_one(db).await
}

pub async fn inbox_size(db: &mut SqliteConnection, person: &Person) -> Sql<usize> {
    let sql = "SELECT count(*) FROM notice_delivery WHERE to_whom = ? AND channel = 'inbox'
        AND what IN (SELECT value FROM json_each(?))";
    let n: i64 =
        sqlx::query_scalar(sql).bind(person.sign_in.as_str()).bind(theirs(person)).fetch_one(db).await?;
    Ok(usize::try_from(n).unwrap_or(0))
}

/// Unread first, then the latest first.
pub async fn inbox(db: &mut SqliteConnection, person: &Person, from: usize, most: usize) -> Sql<Vec<Lying>> {
    let sql = "SELECT d.read_at IS NOT NULL, n.id, n.what, n.unit, n.at, n.about, n.made_at
        FROM notice_delivery d JOIN notice n ON n.id = d.notice
        WHERE d.to_whom = ?1 AND d.channel = 'inbox' AND d.what IN (SELECT value FROM json_each(?2))
        ORDER BY d.read_at IS NOT NULL, d.notice DESC LIMIT ?3 OFFSET ?4";
    let rows = sqlx::query(sql).bind(person.sign_in.as_str()).bind(theirs(person));
    let rows = rows.bind(most as i64).bind(from as i64).fetch_all(db).await?;
    let one = |row: &SqliteRow| Ok(read_notice(row, 1)?.map(|notice| (notice, row.try_get(0))));
    let one = |row| {
        one(row).and_then(|found: Option<(Notice, Sql<bool>)>| match found {
            Some((notice, read)) => Ok(Some(Lying { notice, read: read? })),
            None => Ok(None),
        })
    };
    rows.iter().filter_map(|row| one(row).transpose()).collect()
}

/// Marks these as read; all up to the last of them where `all` says so.
pub async fn mark_read(
    db: &mut SqliteConnection,
    of: &SignIn,
    up_to: i64,
    all: bool,
    now: Instant,
) -> Sql<()> {
    let which = if all { "notice <= ?3" } else { "notice = ?3" };
    let sql = format!(
        "UPDATE notice_delivery SET read_at = ?1 WHERE to_whom = ?2 AND channel = 'inbox' AND read_at IS NULL AND {which}"
    );
    let mark = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(now.0).bind(of.as_str()).bind(up_to);
    mark.execute(db).await.map(drop)
}

const SENT: &str = "FROM notice_delivery d JOIN notice n ON n.id = d.notice
    WHERE d.channel != 'inbox' AND (?1 IS NULL OR d.to_whom = ?1 AND d.channel = 'mail')";

pub async fn sent_size(db: &mut SqliteConnection, to: Option<&SignIn>) -> Sql<usize> {
    let sql = format!("SELECT count(*) {SENT}");
    let n: i64 =
        sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).bind(to.map(|to| to.as_str())).fetch_one(db).await?;
    Ok(usize::try_from(n).unwrap_or(0))
}

/// What left or is to leave by e-mail or webhook, the latest first: to one person, or to all and every webhook.
pub async fn sent(
    db: &mut SqliteConnection,
    to: Option<&SignIn>,
    from: usize,
    most: usize,
) -> Sql<Vec<Delivery>> {
    let sql = format!(
        "SELECT d.channel, d.to_whom, d.state, d.due_at, d.tries, d.says, d.sent_at,
            n.id, n.what, n.unit, n.at, n.about, n.made_at {SENT}
        ORDER BY d.notice DESC, d.channel, d.to_whom LIMIT ?2 OFFSET ?3"
    );
    let rows = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(to.map(|to| to.as_str()));
    let rows = rows.bind(most as i64).bind(from as i64).fetch_all(db).await?;
    rows.iter().filter_map(|row| delivery(row).transpose()).collect()
}

fn delivery(row: &SqliteRow) -> Sql<Option<Delivery>> {
    let (channel, state) = (Channel::parse(row.try_get(0)?), State::parse(row.try_get(2)?));
    let (Some(channel), Some(state), Some(notice)) = (channel, state, read_notice(row, 7)?) else {
        return Ok(None);
    };
    Ok(Some(Delivery {
        notice,
        channel,
        to: row.try_get(1)?,
        state,
        due_at: Instant(row.try_get(3)?),
        tries: row.try_get(4)?,
        says: row.try_get(5)?,
        sent_at: row.try_get::<Option<i64>, _>(6)?.map(Instant),
    }))
}

/// Whom a trial goes to.
#[derive(Clone, Debug)]
pub enum TrialTo {
    /// By every way that leads to them.
    Person {
        person: Person,
        wishes: Wishes,
        mail: bool,
    },
    Hook(String),
}

/// Makes one, unless one is still on its way there: a button that is pressed often sends once.
pub async fn trial(db: &mut SqliteConnection, to: TrialTo, world: &World, now: Instant) -> Sql<bool> {
    let (name, ways) = match to {
        TrialTo::Hook(id) => (id.clone(), vec![Way { channel: "hook", to: id, due: now }]),
        TrialTo::Person { person, wishes, mail } => {
            let ways = ways_to(&person.sign_in, person.role, What::Trial, &wishes, mail, world, now);
            (person.sign_in.to_string(), ways)
        }
    };
    let waits =
        "SELECT count(*) > 0 FROM notice_delivery WHERE to_whom = ? AND what = 'trial' AND state = 'waiting'";
    if sqlx::query_scalar::<_, bool>(waits).bind(&name).fetch_one(&mut *db).await? {
        return Ok(false);
    }
    let key = format!("trial:{name}:{}", now.0);
    let matter = Matter { what: What::Trial, key, unit: None, at: now, about: About::Notices };
    let Some(id) = put(db, &matter, now).await? else { return Ok(false) };
    for way in &ways {
        deliver(db, id, What::Trial, way, now).await?;
    }
    Ok(true)
}
