//! Dossiers as the file has them: in parts, packed, each with the prints of what was judged.
use std::collections::BTreeMap;

use futures_util::TryStreamExt as _;
use sqlx::{AssertSqlSafe, Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    cabinet::{Kept, Prints},
    load::{damaged, text},
    tables::json,
};
use crate::{
    base::Instant,
    rules::{Dossier, DossierKey, Fact, dossier::Subject},
};

/// Dossiers by their keys, with their last part.
pub(super) const ENDS: &str =
    "SELECT d.unit, d.subject, d.settled_after, d.watched_until, d.findings, d.bypasses, p.part, p.facts
    FROM json_each(?) c CROSS JOIN dossier d ON d.unit = c.value->>0 AND d.subject = c.value->>1
    LEFT JOIN dossier_part p ON p.unit = d.unit AND p.subject = d.subject
        AND p.part = (SELECT max(part) FROM dossier_part l WHERE l.unit = d.unit AND l.subject = d.subject)";

/// The cells of a flipped file may hold anything: none is read in a way that panics.
pub(super) fn kept(row: &SqliteRow) -> Result<(DossierKey, Kept), sqlx::Error> {
    let part: Option<i64> = row.try_get("part")?;
    let facts: Option<&[u8]> = row.try_get("facts")?;
    let last = part
        .zip(facts)
        .map(|(part, facts)| Ok::<_, sqlx::Error>((usize::try_from(part).unwrap_or(0), unpack(facts)?)));
    let kept = Kept::of_file(prints(row)?, last.transpose()?);
    Ok((key(row)?, kept))
}

fn prints(row: &SqliteRow) -> Result<Prints, sqlx::Error> {
    let (findings, _) = row.try_get::<&[u8], _>("findings")?.as_chunks::<8>();
    Ok(Prints {
        settled_after: row.try_get::<Option<i64>, _>("settled_after")?.map(Instant),
        watched_until: row.try_get::<Option<i64>, _>("watched_until")?.map(Instant),
        findings: findings.iter().map(|print| i64::from_be_bytes(*print)).collect(),
        bypasses: row.try_get("bypasses")?,
    })
}

pub(super) fn unpack(packed: &[u8]) -> Result<Vec<Fact>, sqlx::Error> {
    postcard::from_bytes(packed).map_err(|why| damaged(why.to_string()))
}

/// Dossiers as they are read for everybody but the writer.
type Dossiers = BTreeMap<DossierKey, Dossier>;

pub async fn every_dossier(db: &mut SqliteConnection) -> Result<Dossiers, sqlx::Error> {
    packed_of(db, None).await?.into_iter().map(|(key, parts)| Ok((key, parts.unpacked()?))).collect()
}

/// Everything the book knows of these units, by subject.
pub async fn dossiers_of_units(db: &mut SqliteConnection, units: &[&str]) -> Result<Dossiers, sqlx::Error> {
    packed_of(db, Some(units)).await?.into_iter().map(|(key, parts)| Ok((key, parts.unpacked()?))).collect()
}

/// A dossier's parts in order, not unpacked yet.
#[derive(Default)]
pub struct Packed(Vec<Vec<u8>>);

impl Packed {
    pub fn unpacked(&self) -> Result<Dossier, sqlx::Error> {
        let mut facts = Vec::new();
        for part in &self.0 {
            facts.append(&mut unpack(part)?);
        }
        Ok(Dossier::of(facts))
    }
}

/// In the order of their keys' text.
async fn packed_of(
    db: &mut SqliteConnection,
    units: Option<&[&str]>,
) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    let some = if units.is_some() { "WHERE unit IN (SELECT value FROM json_each(?))" } else { "" };
    let sql = format!("SELECT unit, subject, facts FROM dossier_part {some} ORDER BY unit, subject, part");
    let query = sqlx::query(AssertSqlSafe(sql.as_str()));
    let query = if let Some(units) = units { query.bind(json(&units)) } else { query };
    let mut all: Vec<(DossierKey, Packed)> = Vec::new();
    let mut rows = query.fetch(db);
    let mut last = (String::new(), String::new());
    while let Some(row) = rows.try_next().await? {
        let (unit, subject): (&str, &str) = (row.try_get(0)?, row.try_get(1)?);
        if all.is_empty() || last.0 != unit || last.1 != subject {
            all.push((key(&row)?, Packed::default()));
            last = (unit.to_owned(), subject.to_owned());
        }
        if let Some((_, packed)) = all.last_mut() {
            packed.0.push(row.try_get(2)?);
        }
    }
    Ok(all)
}

/// The same for judging all of it again: with what the file has of its judgement, still packed.
pub async fn to_judge_again(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<Vec<(DossierKey, Prints, Packed)>, sqlx::Error> {
    let mut packed = packed_of(db, Some(units)).await?.into_iter().peekable();
    let sql = "SELECT unit, subject, settled_after, watched_until, findings, bypasses FROM dossier
        WHERE unit IN (SELECT value FROM json_each(?)) ORDER BY unit, subject";
    let rows = sqlx::query(sql).bind(json(&units)).fetch_all(db).await?;
    let mut all = Vec::with_capacity(rows.len());
    for row in &rows {
        let key = key(row)?;
        let parts = packed.next_if(|(of, _)| *of == key).map(|(_, parts)| parts);
        all.push((key, prints(row)?, parts.unwrap_or_default()));
    }
    match packed.next() {
        None => Ok(all),
        Some((key, _)) => Err(damaged(format!("parts of {} of {} without a dossier", key.subject, key.unit))),
    }
}

pub(super) fn key(row: &SqliteRow) -> Result<DossierKey, sqlx::Error> {
    let subject =
        Subject::parse(row.try_get("subject")?).ok_or_else(|| damaged("an unknown subject".to_owned()))?;
    Ok(DossierKey { unit: text(row, "unit")?, subject })
}
