//! Drafts in the file, and how the devices of a unit stand. The crew pages' only SQL.
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    draft::{Draft, Kept, fresh_id},
    run,
};
use crate::{
    base::{EntryId, Instant, ReportId, SignIn, UnitName},
    desk::parts,
    rules::{Dossier, DossierKey},
};

type Sql<T> = Result<T, sqlx::Error>;

pub async fn draft_of(db: &mut SqliteConnection, who: &SignIn, unit: &UnitName) -> Sql<Option<Kept>> {
    let sql = "SELECT id, unit, body, version, saved_at FROM draft WHERE sign_in = ? AND unit = ?";
    let row = sqlx::query(sql).bind(who.as_str()).bind(unit.as_str()).fetch_optional(db).await?;
    row.as_ref().map(kept).transpose()
}

/// The latest first.
pub async fn drafts_of(db: &mut SqliteConnection, who: &SignIn) -> Sql<Vec<Kept>> {
    let sql = "SELECT id, unit, body, version, saved_at FROM draft WHERE sign_in = ? ORDER BY saved_at DESC";
    sqlx::query(sql).bind(who.as_str()).fetch_all(db).await?.iter().map(kept).collect()
}

/// Reads a draft (a new one under `fresh` if there is none), changes it and writes it back: on the writer's
/// connection, so that two tabs cannot overwrite each other. One that is no longer as the page had it stays and
/// comes back as an error.
pub async fn change_draft(
    db: &mut SqliteConnection,
    who: SignIn,
    fresh: Kept,
    still: impl FnOnce(&Kept) -> bool + Send,
    change: impl FnOnce(&mut Draft) + Send,
) -> Sql<Result<Kept, Kept>> {
    let now = fresh.saved_at;
    let mut kept = draft_of(db, &who, &fresh.unit).await?.unwrap_or(fresh);
    if !still(&kept) {
        return Ok(Err(kept));
    }
    let before = kept.draft.clone();
    change(&mut kept.draft);
    // The same form sent twice is no change.
    if kept.draft == before {
        return Ok(Ok(kept));
    }
    kept.version += 1;
    kept.saved_at = now;
    let body = serde_json::to_string(&kept.draft).map_err(|why| sqlx::Error::Encode(Box::new(why)))?;
    let sql = "INSERT INTO draft (id, sign_in, unit, body, version, saved_at) VALUES (?, ?, ?, ?, ?, ?)
        ON CONFLICT (id) DO UPDATE SET body = excluded.body, version = excluded.version, saved_at = excluded.saved_at
        WHERE sign_in = excluded.sign_in";
    sqlx::query(sql)
        .bind(kept.id.to_string())
        .bind(who.as_str())
        .bind(kept.unit.as_str())
        .bind(body)
        .bind(kept.version)
        .bind(kept.saved_at.0)
        .execute(db)
        .await?;
    Ok(Ok(kept))
}

/// Once it is signed.
pub async fn drop_draft(db: &mut SqliteConnection, who: &SignIn, id: ReportId) -> Sql<()> {
    let sql = "DELETE FROM draft WHERE id = ? AND sign_in = ?";
    sqlx::query(sql).bind(id.to_string()).bind(who.as_str()).execute(db).await.map(drop)
}

/// Takes out of a draft what was filed from a tablet, and the draft with its last entry.
pub async fn drop_filed(
    db: &mut SqliteConnection,
    who: &SignIn,
    unit: &UnitName,
    report: ReportId,
    entries: &[EntryId],
    now: Instant,
) -> Sql<()> {
    let Some(mut kept) = draft_of(db, who, unit).await? else { return Ok(()) };
    let before = kept.draft.entries.len();
    kept.draft.entries.retain(|entry| !entries.contains(&entry.id));
    if kept.id != report && kept.draft.entries.len() == before {
        return Ok(());
    }
    drop_draft(db, who, kept.id).await?;
    if kept.draft.unsent().next().is_none() {
        return Ok(());
    }
    let fresh = Kept::new(ReportId(fresh_id(now)), kept.unit.clone(), now);
    change_draft(db, who.clone(), fresh, |_| true, |draft| *draft = kept.draft).await.map(drop)
}

fn kept(row: &SqliteRow) -> Sql<Kept> {
    let decode = |why: &str| sqlx::Error::Decode(format!("a draft is damaged: {why}").into());
    let body: Draft = serde_json::from_str(row.try_get("body")?).map_err(|why| decode(&why.to_string()))?;
    Ok(Kept {
        id: row.try_get::<&str, _>("id")?.parse().map_err(|_| decode("its id"))?,
        unit: UnitName::from(row.try_get::<&str, _>("unit")?),
        draft: body,
        version: row.try_get("version")?,
        saved_at: Instant(row.try_get("saved_at")?),
    })
}

pub async fn run_of(db: &mut SqliteConnection, who: &SignIn) -> Sql<Option<run::Kept>> {
    let sql = "SELECT body, version, saved_at FROM run WHERE sign_in = ?";
    let Some(row) = sqlx::query(sql).bind(who.as_str()).fetch_optional(db).await? else { return Ok(None) };
    let run = serde_json::from_str(row.try_get("body")?)
        .map_err(|why| sqlx::Error::Decode(format!("a run is damaged: {why}").into()))?;
    Ok(Some(run::Kept { run, version: row.try_get("version")?, saved_at: Instant(row.try_get("saved_at")?) }))
}

/// Reads the run of somebody, changes it and writes it back, on the writer's connection. Nothing is left of one
/// that is over.
pub async fn change_run(
    db: &mut SqliteConnection,
    who: SignIn,
    now: Instant,
    change: impl FnOnce(Option<run::Run>) -> Option<run::Run> + Send,
) -> Sql<()> {
    let kept = run_of(db, &who).await?;
    let (before, version) = kept.map_or((None, 0), |kept| (Some(kept.run), kept.version));
    let Some(after) = change(before.clone()) else {
        return sqlx::query("DELETE FROM run WHERE sign_in = ?")
            .bind(who.as_str())
            .execute(db)
            .await
            .map(drop);
    };
    if before.as_ref() == Some(&after) {
        return Ok(());
    }
    let body = serde_json::to_string(&after).map_err(|why| sqlx::Error::Encode(Box::new(why)))?;
    let sql = "INSERT INTO run (sign_in, body, version, saved_at) VALUES (?, ?, ?, ?)
        ON CONFLICT (sign_in) DO UPDATE SET body = excluded.body, version = excluded.version, saved_at = excluded.saved_at";
    sqlx::query(sql).bind(who.as_str()).bind(body).bind(version + 1).bind(now.0).execute(db).await.map(drop)
}

/// Everything the book knows of one unit, by subject.
pub async fn dossiers_of(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<(DossierKey, Dossier)>> {
    Ok(parts::dossiers_of_units(db, &[unit.as_str()]).await?.into_iter().collect())
}

/// When this person last signed for having read this unit's handover.
pub async fn handover_read(db: &mut SqliteConnection, who: &SignIn, unit: &UnitName) -> Sql<Option<Instant>> {
    let sql = "SELECT max(at) FROM handover_read WHERE unit = ? AND by = ?";
    let at: Option<i64> =
        sqlx::query_scalar(sql).bind(unit.as_str()).bind(who.as_str()).fetch_one(db).await?;
    Ok(at.map(Instant))
}

/// Where the book stands: how many pages, and the root over them.
pub async fn head(db: &mut SqliteConnection) -> Sql<(u64, String)> {
    let row = sqlx::query("SELECT size, root FROM head").fetch_one(db).await?;
    let size = u64::try_from(row.try_get::<i64, _>("size")?).unwrap_or(0);
    Ok((size, hex::encode(row.try_get::<&[u8], _>("root")?)))
}
