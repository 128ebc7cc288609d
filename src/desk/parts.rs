//! Dossiers as the file has them: in parts, packed, each with the prints of what was judged.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    cabinet::{Kept, Prints},
    load::{damaged, text},
    tables::json,
};
use crate::{
    base::{Instant, UnitName},
    rules::{
        Dossier, DossierKey, Fact,
        chunk::{Chunk, unpack_onto},
        dossier::Subject,
        outline::Outline,
        quiet::Ends,
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
    Ok(Prints {
        rests: rests(row)?,
        watched_until: row.try_get::<Option<i64>, _>("watched_until")?.map(Instant),
        ends: Ends {
            left: row.try_get::<Option<i64>, _>("left_until")?.map(Instant),
            again: row.try_get::<Option<i64>, _>("again_until")?.map(Instant),
        },
        findings: each_print(row.try_get("findings")?),
        reckoned: each_print(row.try_get("reckoned")?),
        bypasses: row.try_get("bypasses")?,
        idle: row.try_get::<i64, _>("idle")? != 0,
    })
}

fn rests(row: &SqliteRow) -> Result<Rests, sqlx::Error> {
    Ok(Rests {
        before: row.try_get::<Option<i64>, _>("rests_before")?.map(Instant),
        waits_for: row.try_get("waits_for")?,
        on_weather: row.try_get::<i64, _>("on_weather")? != 0,
    })
}

fn each_print(packed: &[u8]) -> Vec<i64> {
    packed.as_chunks::<8>().0.iter().map(|print| i64::from_be_bytes(*print)).collect()
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

/// A dossier's parts in order, as rows of which the third cell is the packed one: neither copied nor unpacked yet.
#[derive(Default)]
pub struct Packed(Vec<SqliteRow>);

impl Packed {
    pub fn unpacked(&self) -> Result<Dossier, sqlx::Error> {
        let mut all = Vec::new();
        for row in &self.0 {
            all.append(&mut unpack(row.try_get(2)?)?);
        }
        Ok(Dossier::of(all))
    }

    /// The same of a device's outlines.
    pub fn outlines(&self) -> Result<Vec<Outline>, sqlx::Error> {
        let mut all = Vec::new();
        for row in &self.0 {
            unpack_onto(&mut all, row.try_get(2)?).map_err(|why| damaged(why.to_string()))?;
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
    by_dossier(query.fetch_all(db).await?)
}

/// Rows that begin with unit and subject, put together by these where they follow one another.
fn by_dossier(rows: Vec<SqliteRow>) -> Result<Vec<(DossierKey, Packed)>, sqlx::Error> {
    let mut all: Vec<(DossierKey, Packed)> = Vec::new();
    for row in rows {
        match all.last_mut().filter(|(_, packed)| packed.0.last().is_some_and(|last| same(last, &row))) {
            Some((_, packed)) => packed.0.push(row),
            None => all.push((key(&row)?, Packed(vec![row]))),
        }
    }
    Ok(all)
}

/// Whether both are of one dossier.
fn same(one: &SqliteRow, other: &SqliteRow) -> bool {
    fn cell(row: &SqliteRow, n: usize) -> Option<&str> {
        row.try_get(n).ok()
    }
    [0, 1].iter().all(|n| cell(one, *n) == cell(other, *n))
}

/// What judging by outlines alone asks of some units. Rows as they were read: whoever reads on need not wait for them to be
/// decoded.
pub(super) struct ToReckon {
    /// One for each dossier, with the last chunk of a device's outlines.
    judged: Vec<SqliteRow>,
    /// The chunks before.
    chunks: Vec<SqliteRow>,
}

/// A dossier's outlines (none, unless it is a device's), with what the file has of its judgement that these may change.
pub(super) struct Reckoned {
    pub key: DossierKey,
    pub idle: bool,
    pub rests: Rests,
    /// Prints of its findings that rest on class figures and settings, in ascending order.
    pub reckoned: Vec<i64>,
    pub outlines: Packed,
}

impl ToReckon {
    pub async fn read(db: &mut SqliteConnection, units: &[&str]) -> Result<Self, sqlx::Error> {
        let units = json(&units);
        let judged = "SELECT d.unit, d.subject, e.packed, d.rests_before, d.waits_for, d.on_weather, d.reckoned, d.idle
            FROM dossier d LEFT JOIN dossier_end e ON e.unit = d.unit AND e.subject = d.subject AND e.chunk IS NOT NULL
            WHERE d.unit IN (SELECT value FROM json_each(?)) ORDER BY d.unit, d.subject";
        let chunks = "SELECT unit, subject, packed FROM dossier_outline
            WHERE unit IN (SELECT value FROM json_each(?)) ORDER BY unit, subject, chunk";
        let judged = sqlx::query(judged).bind(&units).fetch_all(&mut *db).await?;
        Ok(Self { judged, chunks: sqlx::query(chunks).bind(&units).fetch_all(db).await? })
    }

    /// In the order of their keys' text.
    pub fn decoded(self) -> Result<Vec<Reckoned>, sqlx::Error> {
        let mut before: BTreeMap<DossierKey, Packed> = by_dossier(self.chunks)?.into_iter().collect();
        let one = |row: SqliteRow| {
            let (key, rests) = (key(&row)?, rests(&row)?);
            let (reckoned, idle) =
                (each_print(row.try_get("reckoned")?), row.try_get::<i64, _>("idle")? != 0);
            let mut outlines = before.remove(&key).unwrap_or_default();
            if row.try_get::<Option<&[u8]>, _>(2)?.is_some() {
                outlines.0.push(row);
            }
            Ok(Reckoned { key, idle, rests, reckoned, outlines })
        };
        self.judged.into_iter().map(one).collect()
    }
}

/// What the file has of these units' judgements, in the order of their keys' text.
pub(super) async fn prints_of_units(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<Vec<(DossierKey, Prints)>, sqlx::Error> {
    let sql = "SELECT unit, subject, rests_before, waits_for, on_weather, watched_until, left_until, again_until, findings, reckoned, bypasses, idle FROM dossier
        WHERE unit IN (SELECT value FROM json_each(?)) ORDER BY unit, subject";
    with_prints(sqlx::query(sql).bind(json(&units)).fetch_all(db).await?)
}

/// The same of these dossiers, in their order.
pub(super) async fn prints_of(
    db: &mut SqliteConnection,
    dossiers: &[DossierKey],
) -> Result<Vec<(DossierKey, Prints)>, sqlx::Error> {
    let sql = "SELECT d.unit, d.subject, rests_before, waits_for, on_weather, watched_until, left_until, again_until, findings, reckoned, bypasses, idle
        FROM json_each(?) c CROSS JOIN dossier d ON d.unit = c.value->>0 AND d.subject = c.value->>1 ORDER BY c.key";
    let asked: Vec<_> = dossiers.iter().map(|key| (&key.unit, key.subject.to_string())).collect();
    with_prints(sqlx::query(sql).bind(json(&asked)).fetch_all(db).await?)
}

fn with_prints(rows: Vec<SqliteRow>) -> Result<Vec<(DossierKey, Prints)>, sqlx::Error> {
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
