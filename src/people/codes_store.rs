//! One-time codes as they are kept: seeds, the last step that was taken, recovery codes, and sign-ins that wait for a code.
use sqlx::{Row, SqliteConnection};

use super::{
    codes::{RecoveryHash, Seed, Typed},
    secrets,
    session::TokenHash,
    tries_store,
};
use crate::base::{
    Instant, SignIn,
    instant::{HOUR, MINUTE},
};

type Sql<T> = Result<T, sqlx::Error>;

/// How long a seed that was shown may be confirmed.
const SHOWN_FOR: i64 = HOUR;
/// How long after the password a code may be given.
pub const STEP_FOR: i64 = 5 * MINUTE;

/// What somebody has of codes.
#[derive(Clone, Copy, Debug, Default)]
pub struct Kept {
    pub set_at: Option<Instant>,
    /// Shown for setting up, not confirmed yet.
    pub shown: Option<Seed>,
    /// Recovery codes not used yet.
    pub left: u32,
}

pub async fn kept(c: &mut SqliteConnection, of: &SignIn, now: Instant) -> Sql<Kept> {
    let row = sqlx::query(
        "SELECT set_at, CASE WHEN shown_at > ? THEN shown END,
            (SELECT count(*) FROM recovery_code r WHERE r.sign_in = s.sign_in AND used_at IS NULL)
         FROM code_seed s WHERE sign_in = ?",
    );
    let row = row.bind(now.minus(SHOWN_FOR).0).bind(of.as_str()).fetch_optional(c).await?;
    row.map_or(Ok(Kept::default()), |row| {
        Ok(Kept {
            set_at: row.try_get::<Option<i64>, _>(0)?.map(Instant),
            shown: row.try_get::<Option<Vec<u8>>, _>(1)?.and_then(|bytes| Seed::from_slice(&bytes)),
            left: row.try_get(2)?,
        })
    })
}

/// Since when supervisors and administrators must have codes; `None`: they need not.
pub async fn asked_since(c: &mut SqliteConnection) -> Sql<Option<Instant>> {
    let since: Option<i64> = sqlx::query_scalar("SELECT since FROM codes_asked").fetch_optional(c).await?;
    Ok(since.map(Instant))
}

pub async fn ask(c: &mut SqliteConnection, now: Instant) -> Sql<()> {
    let sql = "INSERT INTO codes_asked (one, since) VALUES (1, ?) ON CONFLICT (one) DO NOTHING";
    sqlx::query(sql).bind(now.0).execute(c).await.map(drop)
}

pub async fn ask_not(c: &mut SqliteConnection) -> Sql<()> {
    sqlx::query("DELETE FROM codes_asked").execute(c).await.map(drop)
}

/// Keeps a seed that is being shown; what is in force stays.
pub async fn show(c: &mut SqliteConnection, of: SignIn, seed: Seed, now: Instant) -> Sql<()> {
    sqlx::query(
        "INSERT INTO code_seed (sign_in, shown, shown_at) VALUES (?, ?, ?)
         ON CONFLICT (sign_in) DO UPDATE SET shown = excluded.shown, shown_at = excluded.shown_at",
    )
    .bind(of.as_str())
    .bind(seed.0.as_slice())
    .bind(now.0)
    .execute(c)
    .await
    .map(drop)
}

/// The seed that was shown comes into force, if this is its code. The code is used up by that.
pub async fn confirm(
    c: &mut SqliteConnection,
    of: SignIn,
    code: Typed,
    fresh: Vec<RecoveryHash>,
    now: Instant,
) -> Sql<bool> {
    let shown = kept(c, &of, now).await?.shown;
    let step = match (shown, &code) {
        (Some(seed), Typed::Code(code)) => seed.step_of(code, now),
        _ => None,
    };
    let Some(step) = step else { return Ok(false) };
    sqlx::query(
        "UPDATE code_seed SET seed = shown, set_at = ?, last_step = ?, shown = NULL, shown_at = NULL WHERE sign_in = ?",
    )
    .bind(now.0)
    .bind(step)
    .bind(of.as_str())
    .execute(&mut *c)
    .await?;
    renew(c, of, fresh).await?;
    Ok(true)
}

/// New recovery codes; the old ones are worth nothing from here on.
pub async fn renew(c: &mut SqliteConnection, of: SignIn, fresh: Vec<RecoveryHash>) -> Sql<()> {
    sqlx::query("DELETE FROM recovery_code WHERE sign_in = ?").bind(of.as_str()).execute(&mut *c).await?;
    for hash in fresh {
        sqlx::query("INSERT INTO recovery_code (sign_in, hash) VALUES (?, ?)")
            .bind(of.as_str())
            .bind(hash.0.as_slice())
            .execute(&mut *c)
            .await?;
    }
    Ok(())
}

/// Takes a code, once: of two that come at once, one is told that it was used.
pub async fn take(c: &mut SqliteConnection, of: &SignIn, typed: &Typed, now: Instant) -> Sql<bool> {
    match typed {
        Typed::Code(code) => take_code(c, of, code, now).await,
        Typed::Recovery(hash) => {
            let take = sqlx::query(
                "UPDATE recovery_code SET used_at = ? WHERE sign_in = ? AND hash = ? AND used_at IS NULL",
            );
            let taken = take.bind(now.0).bind(of.as_str()).bind(hash.0.as_slice()).execute(c).await?;
            Ok(taken.rows_affected() == 1)
        }
    }
}

async fn take_code(c: &mut SqliteConnection, of: &SignIn, code: &str, now: Instant) -> Sql<bool> {
    let seed: Option<Vec<u8>> =
        sqlx::query_scalar("SELECT seed FROM code_seed WHERE sign_in = ? AND seed IS NOT NULL")
            .bind(of.as_str())
            .fetch_optional(&mut *c)
            .await?;
    let step = seed.and_then(|bytes| Seed::from_slice(&bytes)).and_then(|seed| seed.step_of(code, now));
    let Some(step) = step else { return Ok(false) };
    let take = sqlx::query("UPDATE code_seed SET last_step = ?1 WHERE sign_in = ?2 AND last_step < ?1");
    let taken = take.bind(step).bind(of.as_str()).execute(c).await?;
    Ok(taken.rows_affected() == 1)
}

/// Whoever lost everything begins again; what was open with them ends.
pub async fn clear(c: &mut SqliteConnection, of: SignIn, now: Instant) -> Sql<()> {
    for sql in ["DELETE FROM code_seed WHERE sign_in = ?", "DELETE FROM recovery_code WHERE sign_in = ?"] {
        sqlx::query(sql).bind(of.as_str()).execute(&mut *c).await?;
    }
    end_steps(c, &of).await?;
    tries_store::forget_codes(c, &of).await?;
    secrets::end_all(c, &of, None, now).await.map(drop)
}

/// The password was right: the sign-in goes on with a code, by a token that only the next page has.
pub async fn begin_step(c: &mut SqliteConnection, hash: TokenHash, of: SignIn, now: Instant) -> Sql<()> {
    let gone = sqlx::query("DELETE FROM sign_in_step WHERE made_at < ?").bind(now.minus(STEP_FOR).0);
    gone.execute(&mut *c).await?;
    sqlx::query("INSERT INTO sign_in_step (token_hash, sign_in, made_at) VALUES (?, ?, ?)")
        .bind(hash.0.as_slice())
        .bind(of.as_str())
        .bind(now.0)
        .execute(c)
        .await
        .map(drop)
}

/// Whose sign-in it is that waits for a code.
pub async fn step(c: &mut SqliteConnection, hash: TokenHash, now: Instant) -> Sql<Option<SignIn>> {
    let find = sqlx::query_scalar::<_, String>(
        "SELECT sign_in FROM sign_in_step WHERE token_hash = ? AND made_at >= ?",
    );
    let found = find.bind(hash.0.as_slice()).bind(now.minus(STEP_FOR).0).fetch_optional(c).await?;
    Ok(found.map(SignIn::from))
}

/// It went through, or the password is another: none of somebody's sign-ins under way goes on.
pub async fn end_steps(c: &mut SqliteConnection, of: &SignIn) -> Sql<()> {
    sqlx::query("DELETE FROM sign_in_step WHERE sign_in = ?").bind(of.as_str()).execute(c).await.map(drop)
}
