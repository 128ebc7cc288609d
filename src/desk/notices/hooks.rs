//! Webhooks as the file keeps them. Their secrets are not in it: each is reckoned from the key beside the book.
use base64::{Engine as _, engine::general_purpose::STANDARD};
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::what::What;
use crate::{
    base::{Instant, SignIn},
    book::note::SecretKey,
};

type Sql<T> = Result<T, sqlx::Error>;

/// Live ones at once: more would be a list of its own.
pub const MOST: usize = 20;

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hook {
    pub id: String,
    pub url: String,
    pub what: Vec<What>,
    /// Of its secret.
    pub print: String,
    pub made_at: Instant,
    pub made_by: SignIn,
}

/// What its messages are signed with. Never printed but once, by [`HookSecret::reveal`].
pub struct HookSecret([u8; 32]);

impl std::fmt::Debug for HookSecret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("HookSecret(..)")
    }
}

impl HookSecret {
    /// Whoever has neither the key beside the book nor this secret cannot tell it from chance (HMAC as a pseudorandom
    /// function, RFC 2104); a webhook made anew has another.
    pub fn of(key: &SecretKey, hook: &str) -> Self {
        Self(hmac(key.reveal().as_bytes(), format!("breakerbook webhook {hook}").as_bytes()))
    }

    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// As the Standard Webhooks specification writes it.
    pub fn reveal(&self) -> String {
        format!("whsec_{}", STANDARD.encode(self.0))
    }

    pub fn print(&self) -> String {
        hex::encode(Sha256::digest(self.0)).chars().take(16).collect()
    }

    pub fn bytes(&self) -> &[u8] {
        &self.0
    }
}

pub fn hmac(key: &[u8], message: &[u8]) -> [u8; 32] {
    // A key of any length will do for HMAC: this never fails.
    match Hmac::<Sha256>::new_from_slice(key) {
        Ok(mut mac) => {
            mac.update(message);
            mac.finalize().into_bytes().into()
        }
        Err(_) => Sha256::digest(message).into(),
    }
}

pub async fn live(db: &mut SqliteConnection) -> Sql<Vec<Hook>> {
    let sql = "SELECT id, url, what, print, made_at, made_by FROM notice_hook WHERE ended_at IS NULL ORDER BY made_at, id";
    sqlx::query(sql).fetch_all(db).await?.iter().map(read).collect()
}

fn read(row: &SqliteRow) -> Sql<Hook> {
    // Words of a newer program are left out.
    let what: Vec<String> = serde_json::from_str(row.try_get(2)?).unwrap_or_default();
    Ok(Hook {
        id: row.try_get(0)?,
        url: row.try_get(1)?,
        what: what.iter().filter_map(|word| What::parse(word)).collect(),
        print: row.try_get(3)?,
        made_at: Instant(row.try_get(4)?),
        made_by: SignIn::from(row.try_get::<&str, _>(5)?),
    })
}

pub async fn make(db: &mut SqliteConnection, hook: &Hook) -> Sql<()> {
    let sql = "INSERT INTO notice_hook (id, url, what, print, made_at, made_by) VALUES (?, ?, ?, ?, ?, ?)";
    sqlx::query(sql)
        .bind(&hook.id)
        .bind(&hook.url)
        .bind(serde_json::json!(hook.what).to_string())
        .bind(&hook.print)
        .bind(hook.made_at.0)
        .bind(hook.made_by.as_str())
        .execute(db)
        .await
        .map(drop)
}

/// Ends one, with what waits for it. `false`: there is no such live one.
pub async fn end(db: &mut SqliteConnection, id: &str, by: &SignIn, now: Instant) -> Sql<bool> {
    let sql = "UPDATE notice_hook SET ended_at = ?, ended_by = ? WHERE id = ? AND ended_at IS NULL";
    let ended = sqlx::query(sql).bind(now.0).bind(by.as_str()).bind(id).execute(&mut *db).await?;
    let rest = "UPDATE notice_delivery SET state = 'dropped', says = 'the webhook was ended'
        WHERE channel = 'hook' AND to_whom = ? AND state = 'waiting'";
    sqlx::query(rest).bind(id).execute(db).await?;
    Ok(ended.rows_affected() == 1)
}
