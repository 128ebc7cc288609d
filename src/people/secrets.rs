//! What the file keeps beside the book about signing in: passwords, sessions, tokens, failed attempts, parked
//! forms. The only SQL about them. Reads and writes take a connection; the desk decides which one.
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::session::{Session, TokenHash, wait_after};
use crate::base::{Instant, SignIn, instant::DAY};

type Sql<T> = Result<T, sqlx::Error>;

#[derive(Clone, Debug)]
pub struct KeptPassword {
    pub hash: String,
    pub one_time: bool,
}

pub async fn password_of(c: &mut SqliteConnection, of: &SignIn) -> Sql<Option<KeptPassword>> {
    let row = sqlx::query("SELECT hash, one_time FROM password WHERE sign_in = ?").bind(of.as_str());
    let row = row.fetch_optional(c).await?;
    row.map(|r| Ok(KeptPassword { hash: r.try_get(0)?, one_time: r.try_get(1)? })).transpose()
}

/// After a password was set: every session of that person ends, and their failures are forgotten.
pub async fn password_was_set(c: &mut SqliteConnection, of: SignIn, now: Instant) -> Sql<()> {
    let end = sqlx::query("UPDATE session SET ended_at = ? WHERE sign_in = ? AND ended_at IS NULL");
    end.bind(now.0).bind(of.as_str()).execute(&mut *c).await?;
    forget_failures(c, of).await
}

pub async fn session(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<Option<Session>> {
    let row = sqlx::query(
        "SELECT s.sign_in, s.created_at, s.seen_at, s.ended_at, coalesce(p.one_time, 0), n.name,
             (SELECT count(*) FROM parked_form f WHERE f.sign_in = s.sign_in AND f.parked_at > ?),
             (SELECT count(*) FROM tablet_report t WHERE t.author = s.sign_in AND t.answered_at IS NULL)
         FROM session s LEFT JOIN password p USING (sign_in) LEFT JOIN person_name n USING (sign_in)
         WHERE s.token_hash = ?",
    )
    .bind(now.minus(PARKED_FOR).0)
    .bind(hash.0.as_slice())
    .fetch_optional(c)
    .await?;
    row.map(|r| read_session(&r, hash)).transpose()
}

fn read_session(row: &SqliteRow, token_hash: TokenHash) -> Sql<Session> {
    Ok(Session {
        token_hash,
        sign_in: SignIn::from(row.try_get::<String, _>(0)?),
        created_at: Instant(row.try_get(1)?),
        seen_at: Instant(row.try_get(2)?),
        ended_at: row.try_get::<Option<i64>, _>(3)?.map(Instant),
        must_change: row.try_get(4)?,
        name: row.try_get(5)?,
        kept_forms: row.try_get(6)?,
        unanswered: row.try_get(7)?,
    })
}

/// Opens a session; the one the browser had before, if any, ends with it. Rows of sessions long ended go.
pub async fn open_session(
    c: &mut SqliteConnection,
    hash: TokenHash,
    of: SignIn,
    before: Option<TokenHash>,
    now: Instant,
) -> Sql<()> {
    if let Some(before) = before {
        end_session(c, before, now).await?;
    }
    sqlx::query("INSERT INTO session (token_hash, sign_in, created_at, seen_at) VALUES (?, ?, ?, ?)")
        .bind(hash.0.as_slice())
        .bind(of.as_str())
        .bind(now.0)
        .bind(now.0)
        .execute(&mut *c)
        .await?;
    // Kept three days after they can have been used: a form sent late still finds whose it was.
    sqlx::query("DELETE FROM session WHERE created_at < ?")
        .bind(now.minus(4 * DAY).0)
        .execute(&mut *c)
        .await?;
    forget_failures(c, of).await
}

pub async fn touch_session(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<()> {
    let touch =
        sqlx::query("UPDATE session SET seen_at = max(seen_at, ?) WHERE token_hash = ? AND ended_at IS NULL");
    touch.bind(now.0).bind(hash.0.as_slice()).execute(c).await.map(drop)
}

pub async fn end_session(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<()> {
    let end = sqlx::query("UPDATE session SET ended_at = ? WHERE token_hash = ? AND ended_at IS NULL");
    end.bind(now.0).bind(hash.0.as_slice()).execute(c).await.map(drop)
}

/// Whose token it is, unless it was revoked.
pub async fn token_owner(c: &mut SqliteConnection, hash: TokenHash) -> Sql<Option<SignIn>> {
    let find = sqlx::query_scalar::<_, String>(
        "SELECT sign_in FROM token WHERE token_hash = ? AND revoked_at IS NULL",
    );
    Ok(find.bind(hash.0.as_slice()).fetch_optional(c).await?.map(SignIn::from))
}

/// Failures in a row under one name, and when the last one was.
struct Failures {
    count: u32,
    last_at: Instant,
}

/// Whether one more try may be made under this name, asked and counted in one step: tries that come at once
/// would otherwise all see the count from before the first. A try that succeeds calls [`forget_failures`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Try {
    Granted,
    /// Not before then.
    Wait(Instant),
    /// Too many in a row: only a password set by an administrator helps.
    Locked,
}

/// Counts also for names nobody has, so that both answer alike; those rows go after a day.
pub async fn begin_try(c: &mut SqliteConnection, of: SignIn, now: Instant) -> Sql<Try> {
    let had = failures(c, &of).await?;
    match wait_after(had.count) {
        None => return Ok(Try::Locked),
        Some(wait) if now < had.last_at.plus(wait) => return Ok(Try::Wait(had.last_at.plus(wait))),
        Some(_) => {}
    }
    sqlx::query(
        "DELETE FROM attempt WHERE last_at < ? AND NOT EXISTS (SELECT 1 FROM password p WHERE p.sign_in = attempt.sign_in)",
    )
    .bind(now.minus(DAY).0)
    .execute(&mut *c)
    .await?;
    sqlx::query(
        "INSERT INTO attempt (sign_in, failures, last_at) VALUES (?, 1, ?)
         ON CONFLICT (sign_in) DO UPDATE SET failures = failures + 1, last_at = excluded.last_at",
    )
    .bind(of.as_str())
    .bind(now.0)
    .execute(c)
    .await?;
    Ok(Try::Granted)
}

async fn failures(c: &mut SqliteConnection, of: &SignIn) -> Sql<Failures> {
    let find = sqlx::query("SELECT failures, last_at FROM attempt WHERE sign_in = ?").bind(of.as_str());
    match find.fetch_optional(c).await? {
        Some(row) => Ok(Failures { count: row.try_get(0)?, last_at: Instant(row.try_get(1)?) }),
        None => Ok(Failures { count: 0, last_at: Instant(0) }),
    }
}

pub async fn forget_failures(c: &mut SqliteConnection, of: SignIn) -> Sql<()> {
    sqlx::query("DELETE FROM attempt WHERE sign_in = ?").bind(of.as_str()).execute(c).await.map(drop)
}

/// A form that came after its session had ended: only the one who typed it ever sees it again.
#[derive(Clone, Debug)]
pub struct ParkedForm {
    pub id: String,
    pub path: String,
    /// In the form's order; `None` where a password stood, which is never kept.
    pub fields: Vec<(String, Option<String>)>,
    pub parked_at: Instant,
}

/// A person keeps this many, for this long.
const MOST_PARKED: i64 = 5;
pub const PARKED_FOR: i64 = DAY;

pub async fn park(c: &mut SqliteConnection, of: SignIn, form: ParkedForm) -> Sql<()> {
    let fields = serde_json::to_string(&form.fields).unwrap_or_default();
    sqlx::query("INSERT INTO parked_form (id, sign_in, path, fields, parked_at) VALUES (?, ?, ?, ?, ?)")
        .bind(&form.id)
        .bind(of.as_str())
        .bind(&form.path)
        .bind(fields)
        .bind(form.parked_at.0)
        .execute(&mut *c)
        .await?;
    sqlx::query(
        "DELETE FROM parked_form WHERE parked_at <= ? OR id IN
         (SELECT id FROM parked_form WHERE sign_in = ? ORDER BY parked_at DESC, id LIMIT -1 OFFSET ?)",
    )
    .bind(form.parked_at.minus(PARKED_FOR).0)
    .bind(of.as_str())
    .bind(MOST_PARKED)
    .execute(c)
    .await
    .map(drop)
}

/// What is kept for one person, newest first.
pub async fn parked(c: &mut SqliteConnection, of: &SignIn, now: Instant) -> Sql<Vec<ParkedForm>> {
    let rows = sqlx::query(
        "SELECT id, path, fields, parked_at FROM parked_form WHERE sign_in = ? AND parked_at > ? ORDER BY parked_at DESC, id",
    )
    .bind(of.as_str())
    .bind(now.minus(PARKED_FOR).0)
    .fetch_all(c)
    .await?;
    rows.iter().map(read_parked).collect()
}

fn read_parked(row: &SqliteRow) -> Sql<ParkedForm> {
    Ok(ParkedForm {
        id: row.try_get(0)?,
        path: row.try_get(1)?,
        fields: serde_json::from_str(row.try_get::<&str, _>(2)?).unwrap_or_default(),
        parked_at: Instant(row.try_get(3)?),
    })
}

pub async fn drop_parked(c: &mut SqliteConnection, of: SignIn, id: String) -> Sql<()> {
    let drop_it = sqlx::query("DELETE FROM parked_form WHERE id = ? AND sign_in = ?");
    drop_it.bind(id).bind(of.as_str()).execute(c).await.map(drop)
}
