//! Dossiers as the file has them: in parts, packed, each with the prints of what was judged.
use std::collections::BTreeMap;

use futures_util::TryStreamExt as _;
use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    cabinet::{Kept, Prints},
    load::{damaged, text},
    tables::json,
};
use crate::{
    base::{Instant, UnitName},
    rules::{
        Dossier, DossierKey, Fact, chunk::Chunk, dossier::Subject, outline::Outline, quiet::Ends,
        rests::Rests,
    },
};

/// Dossiers by their keys, with their last part and the last chunk of their outlines.
pub(super) const ENDS: &str =
    "SELECT d.unit, d.subject, d.rests_before, d.waits_for, d.on_weather, d.watched_until, d.left_until, d.again_until, d.findings, d.reckoned, d.bypasses, d.idle,
        e.part, e.facts, e.chunk, e.packed
    FROM json_each(?) c CROSS JOIN dossier d ON d.unit = c.value->>0 AND d.subject = c.value->>1
    LEFT JOIN dossier_end e ON e.unit = d.unit AND e.subject = d.subject";

/// The cells of a flipped file may hold anything: none is read in a way that panics.
pub(super) fn kept(row: &SqliteRow) -> Result<(DossierKey, Kept), sqlx::Error> {
    let part = last(row, ("part", "facts"), unpack)?;
    let chunk = last(row, ("chunk", "packed"), unpack_chunk)?;
    Ok((key(row)?, Kept::of_file(prints(row)?, part, chunk)))
}

/// The last of a dossier's parts or chunks, with its number.
fn last<T>(
    row: &SqliteRow,
    (number, packed): (&str, &str),
    unpack: fn(&[u8]) -> Result<T, sqlx::Error>,
) -> Result<Option<(usize, T)>, sqlx::Error> {
    let number: Option<i64> = row.try_get(number)?;
    let packed: Option<&[u8]> = row.try_get(packed)?;
    let both = number.zip(packed);
    both.map(|(number, packed)| Ok((usize::try_from(number).unwrap_or(0), unpack(packed)?))).transpose()
}

fn prints(row: &SqliteRow) -> Result<Prints, sqlx::Error> {
    let (findings, _) = row.try_get::<&[u8], _>("findings")?.as_chunks::<8>();
    let (reckoned, _) = row.try_get::<&[u8], _>("reckoned")?.as_chunks::<8>();
    let many = |prints: &[[u8; 8]]| prints.iter().map(|print| i64::from_be_bytes(*print)).collect();
    Ok(Prints {
        rests: Rests {
            before: row.try_get::<Option<i64>, _>("rests_before")?.map(Instant),
            waits_for: row.try_get("waits_for")?,
            on_weather: row.try_get::<i64, _>("on_weather")? != 0,
        },
        watched_until: row.try_get::<Option<i64>, _>("watched_until")?.map(Instant),
        ends: Ends {
            left: row.try_get::<Option<i64>, _>("left_until")?.map(Instant),
            again: row.try_get::<Option<i64>, _>("again_until")?.map(Instant),
        },
        findings: many(findings),
        reckoned: many(reckoned),
        bypasses: row.try_get("bypasses")?,
        idle: row.try_get::<i64, _>("idle")? != 0,
    })
}

pub(super) fn unpack_chunk(packed: &[u8]) -> Result<Chunk, sqlx::Error> {
    Chunk::unpack(packed).map_err(|why| damaged(why.to_string()))
}

pub(super) fn unpack(packed: &[u8]) -> Result<Vec<Fact>, sqlx::Error> {
    postcard::from_bytes(packed).map_err(|why| damaged(why.to_string()))
}

/// Dossiers as they are read for everybody but the writer.
type Dossiers = BTreeMap<DossierKey, Dossier>;

pub async fn every_dossier(db: &mut SqliteConnection) -> Result<Dossiers, sqlx::Error> {
    let sql = "SELECT unit, subject, facts, part FROM dossier_part
        UNION ALL SELECT unit, subject, facts, part FROM dossier_end ORDER BY unit, subject, part";
    packed(db, sql, &[]).await?.into_iter().map(|(key, parts)| Ok((key, parts.unpacked()?))).collect()
}

/// Everything the book knows of these units, by subject.
pub async fn dossiers_of_units(db: &mut SqliteConnection, units: &[&str]) -> Result<Dossiers, sqlx::Error> {
    let sql = "SELECT unit, subject, facts, part FROM dossier_part WHERE unit IN (SELECT value FROM json_each(?1))
        UNION ALL SELECT unit, subject, facts, part FROM dossier_end WHERE unit IN (SELECT value FROM json_each(?1))
        ORDER BY unit, subject, part";
    let all = packed(db, sql, &[json(&units)]).await?;
    all.into_iter().map(|(key, parts)| Ok((key, parts.unpacked()?))).collect()
}

/// What is told of a unit's cutouts and their seals, and when its ground relay operated.
pub async fn ground_protection_of(
    db: &mut SqliteConnection,
    unit: &UnitName,
) -> Result<Dossier, sqlx::Error> {
    let all = of_subject(db, &[unit.as_str()], &Subject::GroundProtection).await?;
    all.first().map_or_else(|| Ok(Dossier::default()), |(_, parts)| parts.unpacked())
}

/// The outlines of these units' devices, packed, in the order of their keys' text.
pub(super) async fn outlines_of_units(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    let sql =
        "SELECT unit, subject, packed, chunk FROM dossier_outline WHERE unit IN (SELECT value FROM json_each(?1))
        UNION ALL SELECT unit, subject, packed, chunk FROM dossier_end
        WHERE unit IN (SELECT value FROM json_each(?1)) AND chunk IS NOT NULL ORDER BY unit, subject, chunk";
    packed(db, sql, &[json(&units)]).await
}

/// What is told of these units themselves, packed.
pub(super) async fn told_of_units(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    of_subject(db, units, &Subject::Unit).await
}

async fn of_subject(
    db: &mut SqliteConnection,
    units: &[&str],
    subject: &Subject,
) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    let sql = "SELECT unit, subject, facts, part FROM dossier_part
        WHERE unit IN (SELECT value FROM json_each(?1)) AND subject = ?2
        UNION ALL SELECT unit, subject, facts, part FROM dossier_end
        WHERE unit IN (SELECT value FROM json_each(?1)) AND subject = ?2 ORDER BY unit, part";
    packed(db, sql, &[json(&units), subject.to_string()]).await
}

/// A dossier's parts in order, not unpacked yet.
#[derive(Default)]
pub struct Packed(Vec<Vec<u8>>);

impl Packed {
    pub fn unpacked(&self) -> Result<Dossier, sqlx::Error> {
        let mut all = Vec::new();
        for part in &self.0 {
            all.append(&mut unpack(part)?);
        }
        Ok(Dossier::of(all))
    }

    /// The same of a device's outlines.
    pub fn outlines(&self) -> Result<Vec<Outline>, sqlx::Error> {
        let mut all = Vec::new();
        for chunk in &self.0 {
            all.append(&mut unpack_chunk(chunk)?.outlines);
        }
        Ok(all)
    }
}

/// Parts as a statement gives them, in the order of their keys' text.
async fn packed(
    db: &mut SqliteConnection,
    sql: &'static str,
    values: &[String],
) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    let query = values.iter().fold(sqlx::query(sql), |query, value| query.bind(value));
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

/// What the file has of these units' judgements, in the order of their keys' text.
pub(super) async fn prints_of_units(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<Vec<(DossierKey, Prints)>, sqlx::Error> {
    let sql = "SELECT unit, subject, rests_before, waits_for, on_weather, watched_until, left_until, again_until, findings, reckoned, bypasses, idle FROM dossier
        WHERE unit IN (SELECT value FROM json_each(?)) ORDER BY unit, subject";
    let rows = sqlx::query(sql).bind(json(&units)).fetch_all(db).await?;
    rows.iter().map(|row| Ok((key(row)?, prints(row)?))).collect()
}

/// Dossiers to judge again: with what the file has of their judgement, still packed.
pub(super) async fn to_judge_again(
    db: &mut SqliteConnection,
    judged: Vec<(DossierKey, Prints)>,
) -> Result<Vec<(DossierKey, Prints, Packed)>, sqlx::Error> {
    let asked: Vec<_> = judged.iter().map(|(key, _)| (&key.unit, key.subject.to_string())).collect();
    let sql = "SELECT p.unit, p.subject, p.facts, p.part, c.key AS n FROM json_each(?1) c CROSS JOIN dossier_part p
        ON p.unit = c.value->>0 AND p.subject = c.value->>1
        UNION ALL SELECT e.unit, e.subject, e.facts, e.part, c.key AS n FROM json_each(?1) c CROSS JOIN dossier_end e
        ON e.unit = c.value->>0 AND e.subject = c.value->>1 ORDER BY n, part";
    let mut packed = packed(db, sql, &[json(&asked)]).await?.into_iter().peekable();
    let with_parts = judged.into_iter().map(|(key, prints)| {
        let parts = packed.next_if(|(of, _)| *of == key).map(|(_, parts)| parts);
        (key, prints, parts.unwrap_or_default())
    });
    Ok(with_parts.collect())
}

pub(super) fn key(row: &SqliteRow) -> Result<DossierKey, sqlx::Error> {
    let subject =
        Subject::parse(row.try_get("subject")?).ok_or_else(|| damaged("an unknown subject".to_owned()))?;
    Ok(DossierKey { unit: text(row, "unit")?, subject })
}
