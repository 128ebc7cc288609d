//! Deliveries that wait, and what becomes of them. The only SQL about sending.
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    Notice,
    what::{About, What},
    when::{GIVEN_UP_AFTER, wait_after},
};
use crate::base::{Instant, UnitName};

type Sql<T> = Result<T, sqlx::Error>;

/// One that is to go now.
#[derive(Clone, Debug)]
pub struct Due {
    pub to: String,
    pub letter: Option<String>,
    pub tries: i64,
    pub since: Instant,
    pub notice: Notice,
}

/// As many as one round takes at most; the others are as due in the next.
const ROUND: i64 = 2_000;

pub async fn due(db: &mut SqliteConnection, channel: &str, now: Instant) -> Sql<Vec<Due>> {
    let sql = "SELECT d.to_whom, d.letter, d.tries, d.since, n.id, n.what, n.unit, n.at, n.about, n.made_at
        FROM notice_delivery d JOIN notice n ON n.id = d.notice
        WHERE d.channel = ?1 AND d.state = 'waiting' AND d.due_at <= ?2
        ORDER BY d.to_whom, d.notice LIMIT ?3";
    let rows = sqlx::query(sql).bind(channel).bind(now.0).bind(ROUND).fetch_all(db).await?;
    rows.iter().filter_map(|row| read_due(row).transpose()).collect()
}

fn read_due(row: &SqliteRow) -> Sql<Option<Due>> {
    let Some(notice) = read_notice(row, 4)? else { return Ok(None) };
    Ok(Some(Due {
        to: row.try_get(0)?,
        letter: row.try_get(1)?,
        tries: row.try_get(2)?,
        since: Instant(row.try_get(3)?),
        notice,
    }))
}

/// From six columns: id, what, unit, at, about, made_at. `None`: what it is about is a word of a newer program.
pub(super) fn read_notice(row: &SqliteRow, first: usize) -> Sql<Option<Notice>> {
    let Some(what) = What::parse(row.try_get(first + 1)?) else { return Ok(None) };
    Ok(Some(Notice {
        id: row.try_get(first)?,
        what,
        unit: row.try_get::<Option<String>, _>(first + 2)?.map(UnitName::from),
        at: Instant(row.try_get(first + 3)?),
        about: About::read(row.try_get(first + 4)?),
        made_at: Instant(row.try_get(first + 5)?),
    }))
}

fn ids(of: &[Due]) -> String {
    serde_json::json!(of.iter().map(|due| due.notice.id).collect::<Vec<_>>()).to_string()
}

const OF: &str = " WHERE channel = ?1 AND to_whom = ?2 AND state = 'waiting'
    AND notice IN (SELECT value FROM json_each(?3))";

async fn change(
    db: &mut SqliteConnection,
    set: &str,
    channel: &str,
    of: &[Due],
    says: Option<&str>,
    at: i64,
) -> Sql<()> {
    let Some(first) = of.first() else { return Ok(()) };
    let sql = format!("UPDATE notice_delivery SET {set}{OF}");
    let query = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(channel).bind(&first.to).bind(ids(of));
    query.bind(says).bind(at).execute(db).await.map(drop)
}

/// Puts them into one letter before it goes out. All are one person's.
pub async fn compose(db: &mut SqliteConnection, of: &[Due], letter: &str) -> Sql<()> {
    change(db, "letter = ?4", "mail", of, Some(letter), 0).await
}

/// They arrived.
pub async fn sent(db: &mut SqliteConnection, channel: &str, of: &[Due], now: Instant) -> Sql<()> {
    change(db, "state = 'sent', tries = tries + 1, says = ?4, sent_at = ?5", channel, of, None, now.0).await
}

/// They will never arrive, and nothing is tried any more.
pub async fn given_up(db: &mut SqliteConnection, channel: &str, of: &[Due], says: &str) -> Sql<()> {
    change(db, "state = 'given_up', tries = tries + 1, says = ?4", channel, of, Some(says), 0).await
}

/// They are not theirs any more, or lead nowhere.
pub async fn dropped(db: &mut SqliteConnection, channel: &str, of: &[Due], says: &str) -> Sql<()> {
    change(db, "state = 'dropped', says = ?4", channel, of, Some(says), 0).await
}

/// A try that failed: the next one waits longer, and after three days there is none. What cannot have arrived is free
/// for another letter; what may have is sent again as the same one.
pub async fn failed(
    db: &mut SqliteConnection,
    channel: &str,
    of: &[Due],
    (says, may_have_arrived): (&str, bool),
    now: Instant,
) -> Sql<()> {
    let (over, on): (Vec<Due>, Vec<Due>) =
        of.iter().cloned().partition(|due| now.since(due.since) >= GIVEN_UP_AFTER);
    given_up(db, channel, &over, says).await?;
    let tries = on.iter().map(|due| due.tries).max().unwrap_or(0);
    let at = now.plus(wait_after(tries.saturating_add(1))).0;
    let keep = if may_have_arrived { "" } else { ", letter = NULL" };
    change(db, &format!("tries = tries + 1, says = ?4, due_at = ?5{keep}"), channel, &on, Some(says), at)
        .await
}
