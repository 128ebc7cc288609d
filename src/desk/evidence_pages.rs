//! Which pages of the book belong to a bypass, a unit, a span of days. Most are found by their tables; of kinds that have no
//! page number in a table, every page's first letters are looked at.
use std::collections::BTreeSet;

use serde_json::json;
use sqlx::SqliteConnection;

use super::evidence::NoPack;
use crate::{
    base::{EntryId, Instant, SignIn, UnitName, instant::DAY},
    oversight::{self, Line},
    people::Authorisation,
    rules::fact::Hand,
};

type Seqs = BTreeSet<i64>;
type Sql<T> = Result<T, sqlx::Error>;

/// How far the unit's ground-relay history is taken along to either side of an opening.
const AROUND: i64 = 30 * DAY;

/// What tells of the opening, the rights it was opened under, its reviews, and the unit's ground relay around it.
pub async fn of_bypass(db: &mut SqliteConnection, id: EntryId) -> Result<Seqs, NoPack> {
    let line = oversight::store::by_id(db, id).await?;
    let line = line.ok_or_else(|| NoPack::NotThere("The register holds no such opening.".to_owned()))?;
    let bypass = &line.bypass;
    let mut seqs: Seqs = line.told.iter().filter_map(|page| i64::try_from(page.seq).ok()).collect();
    seqs.extend(line.reviews.iter().filter_map(|review| i64::try_from(review.seq).ok()));
    seqs.insert(i64::try_from(bypass.last_seq).unwrap_or(0));
    let (from, to) =
        (bypass.begins().minus(AROUND), bypass.closed_at.unwrap_or(bypass.begins()).plus(AROUND));
    let around = "WITH near (id, seq) AS (SELECT id, seq FROM entry
            WHERE unit = ?1 AND at >= ?2 AND at <= ?3 AND (kind = 'ground_relay' OR device = ?4))
        SELECT seq FROM near
        UNION SELECT a.seq FROM near JOIN amendment a ON a.entry = near.id
        UNION SELECT s.seq FROM near JOIN statement s ON s.entry = near.id";
    let near = sqlx::query_scalar(around)
        .bind(bypass.unit.as_str())
        .bind(from.0)
        .bind(to.0)
        .bind(bypass.device.as_str())
        .fetch_all(&mut *db)
        .await?;
    seqs.extend::<Vec<i64>>(near);
    let tried = "SELECT seq FROM act_refused WHERE about IN (SELECT value FROM json_each(?))";
    seqs.extend::<Vec<i64>>(
        sqlx::query_scalar(tried).bind(json!(bypass.entries).to_string()).fetch_all(&mut *db).await?,
    );
    let grants = grants(db, &line).await?;
    seqs.extend(&grants);
    seqs.extend(schedule(db, &line).await?);
    let also = Also { unit: &bypass.unit, grants: &grants, whole_unit: false };
    seqs.extend(also.find(db, &seqs).await?);
    Ok(seqs)
}

/// Every right that the opener, and whoever gave the word, ever held.
async fn grants(db: &mut SqliteConnection, line: &Line) -> Sql<Seqs> {
    let hands = [Some(&line.bypass.opened_by), line.bypass.authorised_by.as_ref()];
    let theirs: Vec<&SignIn> = hands
        .into_iter()
        .flatten()
        .filter_map(|hand| if let Hand::Person(who) = hand { Some(who) } else { None })
        .collect();
    let rows: Vec<(i64, String)> =
        sqlx::query_as("SELECT seq, card FROM authorisation").fetch_all(&mut *db).await?;
    let of = |card: &str| {
        serde_json::from_str::<Authorisation>(card).is_ok_and(|grant| theirs.contains(&&grant.person))
    };
    Ok(rows.iter().filter(|(_, card)| of(card)).map(|(seq, _)| *seq).collect())
}

/// The schedule by which the device is a ground-relay cutout: the one in force then, or the first there was.
async fn schedule(db: &mut SqliteConnection, line: &Line) -> Sql<Option<i64>> {
    let Some(class) = &line.bypass.class else { return Ok(None) };
    let sql = "SELECT seq FROM class_schedule WHERE class = ?1
        ORDER BY effective > ?2, CASE WHEN effective > ?2 THEN effective ELSE -effective END, seq DESC LIMIT 1";
    sqlx::query_scalar(sql).bind(class.as_str()).bind(line.bypass.begins().0).fetch_optional(db).await
}

/// Everything about one unit.
pub async fn of_unit(db: &mut SqliteConnection, unit: &UnitName) -> Result<Seqs, NoPack> {
    let sql = "SELECT seq FROM report WHERE unit = ?1
        UNION SELECT seq FROM handover_read WHERE unit = ?1 UNION SELECT seq FROM review WHERE unit = ?1
        UNION SELECT seq FROM unit_hold WHERE unit = ?1 UNION SELECT seq FROM unit_release WHERE unit = ?1
        UNION SELECT seq FROM measurement WHERE unit = ?1 UNION SELECT seq FROM inspection WHERE unit = ?1
        UNION SELECT seq FROM set_aside WHERE unit = ?1
        UNION SELECT a.seq FROM entry e JOIN amendment a ON a.entry = e.id WHERE e.unit = ?1
        UNION SELECT s.seq FROM entry e JOIN statement s ON s.entry = e.id WHERE e.unit = ?1
        UNION SELECT r.seq FROM entry e JOIN act_refused r ON r.about = e.id WHERE e.unit = ?1";
    let found: Vec<i64> = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_all(&mut *db).await?;
    let mut seqs: Seqs = found.into_iter().collect();
    let also = Also { unit, grants: &Seqs::new(), whole_unit: true };
    seqs.extend(also.find(db, &seqs).await?);
    Ok(seqs)
}

/// Everything that was recorded from a moment up to another.
pub async fn of_span(db: &mut SqliteConnection, (from, to): (Instant, Instant)) -> Result<Seqs, NoPack> {
    // All are written in UTC. To the second they compare as text does; what comes behind only adds to it.
    let second =
        |at: Instant| at.to_z().trim_end_matches('Z').split('.').next().unwrap_or_default().to_owned();
    let sql = "SELECT seq FROM page WHERE blob ->> 'recorded_at' >= ? AND blob ->> 'recorded_at' < ?";
    let found: Vec<i64> = sqlx::query_scalar(sql).bind(second(from)).bind(second(to)).fetch_all(db).await?;
    Ok(found.into_iter().collect())
}

/// Pages of kinds that no table has by number.
struct Also<'a> {
    unit: &'a UnitName,
    grants: &'a Seqs,
    /// Whatever is about the unit, its repairs with it.
    whole_unit: bool,
}

impl Also<'_> {
    async fn find(&self, db: &mut SqliteConnection, seqs: &Seqs) -> Sql<Seqs> {
        let sql = "WITH reports (id) AS (SELECT id FROM report WHERE seq IN (SELECT value FROM json_each(?1)))
            SELECT seq FROM (SELECT seq, blob, substr(blob, 1, 80) AS start FROM page) WHERE CASE
                WHEN instr(start, '\"kind\":\"authorisation_revoked\"') > 0
                    THEN blob -> 'body' ->> 'grant' IN (SELECT value FROM json_each(?2))
                WHEN instr(start, '\"kind\":\"unit_added\"') > 0 OR instr(start, '\"kind\":\"unit_changed\"') > 0
                    OR instr(start, '\"kind\":\"unit_retired\"') > 0 THEN blob -> 'body' ->> 'unit' = ?3
                WHEN instr(start, '\"kind\":\"unit_kept\"') > 0 THEN blob -> 'body' -> 'unit' ->> 'unit' = ?3
                WHEN instr(start, '\"kind\":\"authorisation_proposed\"') > 0
                    THEN blob -> 'body' ->> 'id' IN (SELECT g.blob -> 'body' ->> 'proposal' FROM page g
                        WHERE g.seq IN (SELECT value FROM json_each(?2)))
                WHEN instr(start, '\"kind\":\"tablet_signed\"') > 0 OR instr(start, '\"kind\":\"tablet_answered\"') > 0
                    THEN blob -> 'body' ->> 'report' IN (SELECT id FROM reports)
                WHEN ?4 AND instr(start, '\"kind\":\"repair_') > 0
                    THEN blob -> 'body' ->> 'id' IN (SELECT id FROM repair WHERE unit = ?3)
                WHEN ?4 AND instr(blob, ?3) > 0 THEN blob -> 'body' ->> 'unit' = ?3
                ELSE 0 END";
        let found: Vec<i64> = sqlx::query_scalar(sql)
            .bind(json!(seqs).to_string())
            .bind(json!(self.grants).to_string())
            .bind(self.unit.as_str())
            .bind(self.whole_unit)
            .fetch_all(&mut *db)
            .await?;
        let mut found: Seqs = found.into_iter().collect();
        found.extend(keys(db, &found).await?);
        Ok(found)
    }
}

/// The keys that tablets signed with.
async fn keys(db: &mut SqliteConnection, signed: &Seqs) -> Sql<Vec<i64>> {
    let sql = "WITH used (key) AS (SELECT blob -> 'body' ->> 'key' FROM page WHERE seq IN (SELECT value FROM json_each(?1)))
        SELECT seq FROM page WHERE EXISTS (SELECT 1 FROM used WHERE key IS NOT NULL)
            AND CASE WHEN instr(substr(blob, 1, 80), '\"kind\":\"tablet_key_') > 0
                THEN blob -> 'body' ->> 'key' IN (SELECT key FROM used) ELSE 0 END";
    sqlx::query_scalar(sql).bind(json!(signed).to_string()).fetch_all(db).await
}
