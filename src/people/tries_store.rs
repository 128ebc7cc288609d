//! Tries with a password or a code: how they are slowed, and what is kept of those that failed. A try is counted
//! before it is looked at, under the name and the way it came by.
use sqlx::{Row, SqliteConnection};

use super::session::{TokenHash, wait_after};
use crate::base::{
    Instant, SignIn,
    instant::{DAY, HOUR},
};

type Sql<T> = Result<T, sqlx::Error>;

/// The way a try comes by. Each is slowed by itself: whoever guesses from elsewhere keeps nobody from signing, nor from
/// coming in by a browser that they came in by before.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Way {
    /// A browser that is not known for this person.
    Elsewhere,
    /// One in which this person signed in before.
    Known(TokenHash),
    /// A signature, by somebody who is signed in.
    Signature,
    /// A one-time code, after the right password or as a signature.
    Code,
}

impl Way {
    /// What the tries are counted under. A sign-in name has no colon.
    pub fn counted(self, of: &SignIn) -> String {
        match self {
            Self::Elsewhere => of.to_string(),
            Self::Known(hash) => format!("{}:{of}", hex::encode(&hash.0[..8])),
            Self::Signature => format!("signature:{of}"),
            Self::Code => format!("{CODE}{of}"),
        }
    }
}

const CODE: &str = "code:";

/// The name in what tries are counted under.
const NAME: &str = "substr(attempt.sign_in, instr(attempt.sign_in, ':') + 1)";

/// Whether one more try may be made, asked and counted in one step: tries that come at once would otherwise all see the
/// count from before the first. A try that succeeds calls [`forget`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Try {
    Granted,
    /// Not before then.
    Wait(Instant),
    /// Too many in a row: only a password set by an administrator helps.
    Locked,
}

/// Counts also for names nobody has, so that both answer alike; those rows go after a day.
pub async fn begin(c: &mut SqliteConnection, counted: &str, now: Instant) -> Sql<Try> {
    let (had, last_at) = failures(c, counted).await?;
    match wait_after(had) {
        None => return Ok(Try::Locked),
        Some(wait) if now < last_at.plus(wait) => return Ok(Try::Wait(last_at.plus(wait))),
        Some(_) => {}
    }
    let stale = format!(
        "DELETE FROM attempt WHERE last_at < ? AND NOT EXISTS (SELECT 1 FROM password p WHERE p.sign_in = {NAME})"
    );
    sqlx::query(sqlx::AssertSqlSafe(stale)).bind(now.minus(DAY).0).execute(&mut *c).await?;
    sqlx::query(
        "INSERT INTO attempt (sign_in, failures, last_at) VALUES (?, 1, ?)
         ON CONFLICT (sign_in) DO UPDATE SET failures = failures + 1, last_at = excluded.last_at",
    )
    .bind(counted)
    .bind(now.0)
    .execute(c)
    .await?;
    Ok(Try::Granted)
}

async fn failures(c: &mut SqliteConnection, counted: &str) -> Sql<(u32, Instant)> {
    let find = sqlx::query("SELECT failures, last_at FROM attempt WHERE sign_in = ?").bind(counted);
    match find.fetch_optional(c).await? {
        Some(row) => Ok((row.try_get(0)?, Instant(row.try_get(1)?))),
        None => Ok((0, Instant(0))),
    }
}

/// The password was right: what failed by any way before it is over. Codes are counted on.
pub async fn forget(c: &mut SqliteConnection, of: &SignIn) -> Sql<()> {
    let sql = format!("DELETE FROM attempt WHERE {NAME} = ? AND sign_in <> ?");
    let gone = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(of.as_str()).bind(Way::Code.counted(of));
    gone.execute(c).await.map(drop)
}

/// The code was right.
pub async fn forget_codes(c: &mut SqliteConnection, of: &SignIn) -> Sql<()> {
    let gone = sqlx::query("DELETE FROM attempt WHERE sign_in = ?").bind(Way::Code.counted(of));
    gone.execute(c).await.map(drop)
}

/// What is kept of tries that failed: how many in which hour. `None`: under a name that nobody has, which is not kept.
pub async fn tell(
    c: &mut SqliteConnection,
    of: Option<&SignIn>,
    wrong: u32,
    slowed: u32,
    now: Instant,
) -> Sql<()> {
    sqlx::query(
        "INSERT INTO tries_told (sign_in, hour, wrong, slowed, last_at) VALUES (?, ?, ?, ?, ?)
         ON CONFLICT (sign_in, hour) DO UPDATE SET wrong = wrong + excluded.wrong, slowed = slowed + excluded.slowed,
             last_at = max(last_at, excluded.last_at)",
    )
    .bind(of.map_or("", SignIn::as_str))
    .bind(now.0.div_euclid(HOUR))
    .bind(wrong)
    .bind(slowed)
    .bind(now.0)
    .execute(&mut *c)
    .await?;
    let old =
        sqlx::query("DELETE FROM tries_told WHERE hour < ?").bind(now.minus(KEPT_FOR).0.div_euclid(HOUR));
    old.execute(c).await.map(drop)
}

const KEPT_FOR: i64 = 365 * DAY;

/// Tries that failed since then.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// Looked at, and wrong.
    pub wrong: u32,
    /// Came too soon, and were not looked at.
    pub slowed: u32,
    pub last_at: Option<Instant>,
}

pub async fn told(c: &mut SqliteConnection, of: Option<&SignIn>, since: Instant) -> Sql<Told> {
    let row = sqlx::query(
        "SELECT coalesce(sum(wrong), 0), coalesce(sum(slowed), 0), max(last_at) FROM tries_told
         WHERE sign_in = ? AND hour >= ?",
    );
    let row = row.bind(of.map_or("", SignIn::as_str)).bind(since.0.div_euclid(HOUR)).fetch_one(c).await?;
    let last_at = row.try_get::<Option<i64>, _>(2)?.map(Instant);
    Ok(Told { wrong: row.try_get(0)?, slowed: row.try_get(1)?, last_at })
}
