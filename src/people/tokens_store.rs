//! Tokens of programs: kept as digests, outside the book.
use sqlx::{Row, SqliteConnection};

use super::session::TokenHash;
use crate::base::{Instant, SignIn, instant::HOUR};

type Sql<T> = Result<T, sqlx::Error>;

/// A token as a list shows it.
#[derive(Clone, Debug)]
pub struct Kept {
    pub hash: TokenHash,
    pub of: SignIn,
    pub words: String,
    /// `None`: at the machine.
    pub made_by: Option<SignIn>,
    pub made_at: Instant,
    pub until: Option<Instant>,
    pub used_at: Option<Instant>,
}

impl Kept {
    /// What a form says of it: so much of a digest names a token, and opens nothing.
    pub fn id(&self) -> String {
        hex::encode(self.hash.0.get(..8).unwrap_or_default())
    }
}

/// Whose token it is, unless it was revoked or is over; and whether it has to be written down that it was used.
pub async fn owner(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<Option<(SignIn, bool)>> {
    let find = "SELECT sign_in, used_at FROM token
        WHERE token_hash = ? AND revoked_at IS NULL AND (until IS NULL OR until > ?)";
    let found: Option<(String, Option<i64>)> =
        sqlx::query_as(find).bind(hash.0.as_slice()).bind(now.0).fetch_optional(c).await?;
    let is_old = |at: Option<i64>| at.is_none_or(|at| now.since(Instant(at)) > HOUR);
    Ok(found.map(|(of, used)| (SignIn::from(of), is_old(used))))
}

pub async fn was_used(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<()> {
    let touch = sqlx::query("UPDATE token SET used_at = ? WHERE token_hash = ?");
    touch.bind(now.0).bind(hash.0.as_slice()).execute(c).await.map(drop)
}

/// What the list says of one beside whose it is.
pub async fn told(
    c: &mut SqliteConnection,
    hash: TokenHash,
    (words, made_by, until): (String, SignIn, Instant),
) -> Sql<()> {
    let tell = sqlx::query("UPDATE token SET words = ?, made_by = ?, until = ? WHERE token_hash = ?");
    let tell = tell.bind(words).bind(made_by.to_string()).bind(until.0);
    tell.bind(hash.0.as_slice()).execute(c).await.map(drop)
}

pub async fn revoke(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<()> {
    let end = sqlx::query("UPDATE token SET revoked_at = ? WHERE token_hash = ? AND revoked_at IS NULL");
    end.bind(now.0).bind(hash.0.as_slice()).execute(c).await.map(drop)
}

/// Those that are good now, the latest first.
pub async fn good(c: &mut SqliteConnection, now: Instant) -> Sql<Vec<Kept>> {
    let all = "SELECT token_hash, sign_in, words, made_by, created_at, until, used_at FROM token
        WHERE revoked_at IS NULL AND (until IS NULL OR until > ?) ORDER BY created_at DESC, token_hash";
    let rows = sqlx::query(all).bind(now.0).fetch_all(c).await?;
    rows.iter()
        .map(|row| {
            let hash: [u8; 32] =
                row.try_get::<Vec<u8>, _>(0)?.try_into().map_err(|_| sqlx::Error::RowNotFound)?;
            Ok(Kept {
                hash: TokenHash(hash),
                of: SignIn::from(row.try_get::<String, _>(1)?),
                words: row.try_get(2)?,
                made_by: row.try_get::<Option<String>, _>(3)?.map(SignIn::from),
                made_at: Instant(row.try_get(4)?),
                until: row.try_get::<Option<i64>, _>(5)?.map(Instant),
                used_at: row.try_get::<Option<i64>, _>(6)?.map(Instant),
            })
        })
        .collect()
}
