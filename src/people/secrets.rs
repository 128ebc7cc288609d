//! What the file keeps beside the book about signing in: passwords, sessions, tokens, parked forms. The only SQL about
//! them; codes and failed tries have a store each. Reads and writes take a connection; the desk decides which one.
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    codes_store,
    session::{Open, Seen, Session, TokenHash},
    tries_store,
};
use crate::base::{Instant, SignIn, instant::DAY};

type Sql<T> = Result<T, sqlx::Error>;

#[derive(Clone, Debug)]
pub struct KeptPassword {
    pub hash: String,
    pub one_time: bool,
    pub set_at: Instant,
}

/// How long a password works that was made for somebody.
pub const FIRST_PASSWORD_FOR: i64 = 7 * DAY;

impl KeptPassword {
    /// It was made for somebody, and not used in time.
    pub fn is_over(&self, now: Instant) -> bool {
        self.one_time && now >= self.set_at.plus(FIRST_PASSWORD_FOR)
    }
}

pub async fn password_of(c: &mut SqliteConnection, of: &SignIn) -> Sql<Option<KeptPassword>> {
    let row = sqlx::query("SELECT hash, one_time, set_at FROM password WHERE sign_in = ?").bind(of.as_str());
    let row = row.fetch_optional(c).await?;
    row.map(|r| {
        Ok(KeptPassword { hash: r.try_get(0)?, one_time: r.try_get(1)?, set_at: Instant(r.try_get(2)?) })
    })
    .transpose()
}

/// After a password was set: every session of that person ends, whatever browser they were in is not known any more, and
/// their failures are forgotten.
pub async fn password_was_set(c: &mut SqliteConnection, of: SignIn, now: Instant) -> Sql<()> {
    end_all(c, &of, None, now).await?;
    let known = sqlx::query("DELETE FROM known_browser WHERE sign_in = ?").bind(of.as_str());
    known.execute(&mut *c).await?;
    codes_store::end_steps(c, &of).await?;
    tries_store::forget(c, &of).await?;
    tries_store::forget_codes(c, &of).await
}

pub async fn session(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<Option<Session>> {
    let row = sqlx::query(
        "SELECT s.sign_in, s.created_at, s.seen_at, s.ended_at, coalesce(p.one_time, 0), n.name,
             (SELECT count(*) FROM parked_form f WHERE f.sign_in = s.sign_in AND f.parked_at > ?),
             (SELECT count(*) FROM tablet_report t WHERE t.author = s.sign_in AND t.answered_at IS NULL),
             EXISTS (SELECT 1 FROM code_seed k WHERE k.sign_in = s.sign_in AND k.seed IS NOT NULL),
             EXISTS (SELECT 1 FROM codes_asked)
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
        codes_set: row.try_get(8)?,
        codes_asked: row.try_get(9)?,
    })
}

/// Opens a session; the one the browser had before, if any, ends with it. Rows of sessions long ended go.
pub async fn open_session(
    c: &mut SqliteConnection,
    hash: TokenHash,
    of: SignIn,
    before: Option<TokenHash>,
    seen: Seen,
    now: Instant,
) -> Sql<()> {
    if let Some(before) = before {
        end_session(c, before, now).await?;
    }
    sqlx::query(
        "INSERT INTO session (token_hash, sign_in, created_at, seen_at, agent, address) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(hash.0.as_slice())
    .bind(of.as_str())
    .bind(now.0)
    .bind(now.0)
    .bind(seen.agent)
    .bind(seen.address)
    .execute(&mut *c)
    .await?;
    // Kept three days after they can have been used: a form sent late still finds whose it was.
    sqlx::query("DELETE FROM session WHERE created_at < ?")
        .bind(now.minus(4 * DAY).0)
        .execute(c)
        .await
        .map(drop)
}

/// How long a browser is known for somebody after they last signed in there.
pub const BROWSER_FOR: i64 = 180 * DAY;

/// Whether this person signed in in this browser before.
pub async fn is_known(c: &mut SqliteConnection, browser: TokenHash, of: &SignIn, now: Instant) -> Sql<bool> {
    let find = "SELECT count(*) > 0 FROM known_browser WHERE token_hash = ? AND sign_in = ? AND seen_at > ?";
    let find = sqlx::query_scalar(find).bind(browser.0.as_slice()).bind(of.as_str());
    find.bind(now.minus(BROWSER_FOR).0).fetch_one(c).await
}

/// Whether this is a secret that we gave to some browser: one that was planted is not taken over.
pub async fn is_ours(c: &mut SqliteConnection, browser: TokenHash) -> Sql<bool> {
    let find = sqlx::query_scalar("SELECT count(*) > 0 FROM known_browser WHERE token_hash = ?");
    find.bind(browser.0.as_slice()).fetch_one(c).await
}

pub async fn know(c: &mut SqliteConnection, browser: TokenHash, of: SignIn, now: Instant) -> Sql<()> {
    let old = sqlx::query("DELETE FROM known_browser WHERE seen_at <= ?").bind(now.minus(BROWSER_FOR).0);
    old.execute(&mut *c).await?;
    let know =
        sqlx::query("INSERT OR REPLACE INTO known_browser (token_hash, sign_in, seen_at) VALUES (?, ?, ?)");
    know.bind(browser.0.as_slice()).bind(of.as_str()).bind(now.0).execute(c).await.map(drop)
}

/// Somebody's sessions that nobody ended, the one used last first. Some may have run out: see [`Open::is_alive`].
pub async fn open_sessions(c: &mut SqliteConnection, of: &SignIn) -> Sql<Vec<Open>> {
    let rows = sqlx::query(
        "SELECT token_hash, created_at, seen_at, agent, address FROM session
         WHERE sign_in = ? AND ended_at IS NULL ORDER BY seen_at DESC, created_at DESC, token_hash",
    );
    let rows = rows.bind(of.as_str()).fetch_all(c).await?;
    rows.iter().map(read_open).collect()
}

fn read_open(row: &SqliteRow) -> Sql<Open> {
    let hash = <[u8; 32]>::try_from(row.try_get::<Vec<u8>, _>(0)?);
    Ok(Open {
        token_hash: TokenHash(hash.map_err(|_| sqlx::Error::RowNotFound)?),
        created_at: Instant(row.try_get(1)?),
        seen_at: Instant(row.try_get(2)?),
        seen: Seen { agent: row.try_get(3)?, address: row.try_get(4)? },
    })
}

/// Ends all of somebody's sessions but the one they are in.
pub async fn end_all(
    c: &mut SqliteConnection,
    of: &SignIn,
    but: Option<TokenHash>,
    now: Instant,
) -> Sql<u64> {
    let end = sqlx::query(
        "UPDATE session SET ended_at = ? WHERE sign_in = ? AND ended_at IS NULL AND token_hash IS NOT ?",
    );
    let but = but.map(|hash| hash.0.to_vec());
    Ok(end.bind(now.0).bind(of.as_str()).bind(but).execute(c).await?.rows_affected())
}

/// Ends one of somebody's own; `false`: they have no such session.
pub async fn end_own(c: &mut SqliteConnection, of: &SignIn, hash: TokenHash, now: Instant) -> Sql<bool> {
    let end = sqlx::query(
        "UPDATE session SET ended_at = ? WHERE sign_in = ? AND token_hash = ? AND ended_at IS NULL",
    );
    let ended = end.bind(now.0).bind(of.as_str()).bind(hash.0.as_slice()).execute(c).await?;
    Ok(ended.rows_affected() == 1)
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
