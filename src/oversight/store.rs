//! The register and its reviews in the file.
use std::collections::HashMap;

use sqlx::{Row, SqliteConnection};

use super::{KeptReview, Line};
use crate::{
    base::{EntryId, Instant, SignIn, UnitName},
    people::Act,
    rules::{Bypass, joined::Telling},
};

type Sql<T> = Result<T, sqlx::Error>;

/// Every opening that had begun by a moment, the latest first.
pub async fn register(db: &mut SqliteConnection, then: Instant) -> Sql<Vec<Line>> {
    let sql = "SELECT data FROM bypass WHERE begins <= ? ORDER BY begins DESC, id";
    let found = sqlx::query_scalar(sql).bind(then.0).fetch_all(&mut *db).await?;
    let bypasses = found.iter().map(|data: &String| read(data)).collect::<Sql<_>>()?;
    with_reviews(db, bypasses, then).await
}

/// How many stand open now.
pub async fn open(db: &mut SqliteConnection) -> Sql<i64> {
    let sql = "SELECT count(*) FROM bypass WHERE closed_at IS NULL AND NOT coalesce(data ->> 'withdrawn', 0)";
    sqlx::query_scalar(sql).fetch_one(db).await
}

/// The openings of one unit, the latest first.
pub async fn of_unit(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<Line>> {
    let sql = "SELECT data FROM bypass WHERE unit = ? ORDER BY begins DESC, id";
    let found = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_all(&mut *db).await?;
    let bypasses = found.iter().map(|data: &String| read(data)).collect::<Sql<_>>()?;
    lines(db, bypasses, Some(unit), Instant::MAX).await
}

/// What is told now before what was withdrawn.
const OF_ENTRY: &str = "SELECT data FROM bypass WHERE id = ? ORDER BY data ->> 'withdrawn', device LIMIT 1";

pub async fn by_id(db: &mut SqliteConnection, id: EntryId) -> Sql<Option<Line>> {
    let data: Option<String> =
        sqlx::query_scalar(OF_ENTRY).bind(id.to_string()).fetch_optional(&mut *db).await?;
    let Some(data) = data else { return Ok(None) };
    let bypass = read(&data)?;
    let unit = bypass.unit.clone();
    Ok(lines(db, vec![bypass], Some(&unit), Instant::MAX).await?.pop())
}

/// Joins reviews to openings reckoned elsewhere, as of a moment.
pub async fn with_reviews(db: &mut SqliteConnection, bypasses: Vec<Bypass>, then: Instant) -> Sql<Vec<Line>> {
    lines(db, bypasses, None, then).await
}

async fn lines(
    db: &mut SqliteConnection,
    bypasses: Vec<Bypass>,
    unit: Option<&UnitName>,
    then: Instant,
) -> Sql<Vec<Line>> {
    let reviews = reviews(db, unit, then).await?;
    let told = told(db, &bypasses, then).await?;
    Ok(bypasses.into_iter().map(|bypass| line(bypass, &reviews, &told)).collect())
}

fn read(data: &str) -> Sql<Bypass> {
    serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)))
}

fn line(
    bypass: Bypass,
    reviews: &HashMap<EntryId, Vec<KeptReview>>,
    pages: &HashMap<EntryId, Vec<Telling>>,
) -> Line {
    let mut of_it: Vec<KeptReview> =
        bypass.entries.iter().filter_map(|entry| reviews.get(entry)).flatten().cloned().collect();
    of_it.sort_by_key(|review| review.seq);
    let mut told = pages.get(&bypass.id).cloned().unwrap_or_default();
    told.sort_by_key(|page| page.seq);
    // One report tells of an opening in several entries.
    told.dedup();
    Line { bypass, reviews: of_it, told }
}

/// The pages that tell of these openings, by the opening's id: reports and amendments as now known, statements made by then. An
/// amendment may have taken an entry away from an opening whose last page it still is.
async fn told(
    db: &mut SqliteConnection,
    bypasses: &[Bypass],
    then: Instant,
) -> Sql<HashMap<EntryId, Vec<Telling>>> {
    let mut all: HashMap<EntryId, Vec<Telling>> = HashMap::new();
    if bypasses.is_empty() {
        return Ok(all);
    }
    let sql = "WITH of (id, entry, last) AS (SELECT value->>0, value->>1, value->>2 FROM json_each(?1))
        SELECT of.id, e.seq, e.recorded_at AS at FROM of JOIN entry e ON e.id = of.entry
        UNION ALL SELECT of.id, a.seq, a.at FROM of JOIN amendment a ON a.entry = of.entry
        UNION ALL SELECT of.id, a.seq, a.at FROM of JOIN amendment a ON a.seq = of.last
        UNION ALL SELECT of.id, s.seq, s.at FROM of JOIN statement s ON s.entry = of.entry WHERE s.at <= ?2";
    let of: Vec<_> =
        bypasses.iter().flat_map(|b| b.entries.iter().map(|entry| (b.id, *entry, b.last_seq))).collect();
    let of = serde_json::json!(of).to_string();
    for row in sqlx::query(sql).bind(of).bind(then.0).fetch_all(db).await? {
        let id: EntryId =
            row.try_get::<&str, _>("id")?.parse().map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
        let seq = u64::try_from(row.try_get::<i64, _>("seq")?).unwrap_or(0);
        all.entry(id).or_default().push(Telling { seq, at: Instant(row.try_get("at")?) });
    }
    Ok(all)
}

async fn reviews(
    db: &mut SqliteConnection,
    unit: Option<&UnitName>,
    then: Instant,
) -> Sql<HashMap<EntryId, Vec<KeptReview>>> {
    let sql = "SELECT seq, bypass, by, at, last_seq, judgement, words FROM review
        WHERE (?1 IS NULL OR unit = ?1) AND at <= ?2 ORDER BY seq";
    let mut all: HashMap<EntryId, Vec<KeptReview>> = HashMap::new();
    for row in sqlx::query(sql).bind(unit.map(|u| u.as_str().to_owned())).bind(then.0).fetch_all(db).await? {
        let id: EntryId =
            row.try_get::<&str, _>("bypass")?.parse().map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
        let review = KeptReview {
            seq: u64::try_from(row.try_get::<i64, _>("seq")?).unwrap_or(0),
            bypass: id,
            by: SignIn::from(row.try_get::<String, _>("by")?),
            at: Instant(row.try_get("at")?),
            last_seq: u64::try_from(row.try_get::<i64, _>("last_seq")?).unwrap_or(0),
            judgement: row.try_get("judgement")?,
            words: row.try_get("words")?,
        };
        all.entry(id).or_default().push(review);
    }
    Ok(all)
}

/// Who signed a unit's handover within a span, in order.
pub async fn handovers_read(
    db: &mut SqliteConnection,
    unit: &UnitName,
    (from, to): (Instant, Instant),
) -> Sql<Vec<(SignIn, Instant)>> {
    let sql = "SELECT by, at FROM handover_read WHERE unit = ? AND at >= ? AND at <= ? ORDER BY seq";
    let found: Vec<(String, i64)> =
        sqlx::query_as(sql).bind(unit.as_str()).bind(from.0).bind(to.0).fetch_all(db).await?;
    Ok(found.into_iter().map(|(by, at)| (SignIn::from(by), Instant(at))).collect())
}

/// A signature that was refused because the act was not theirs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tried {
    pub seq: u64,
    pub by: SignIn,
    pub at: Instant,
    pub says: String,
}

/// Reviews of an opening that were signed and refused, whichever of its entries they named.
pub async fn refused_about(db: &mut SqliteConnection, entries: &[EntryId]) -> Sql<Vec<Tried>> {
    let sql = "SELECT seq, by, at, says FROM act_refused
        WHERE about IN (SELECT value FROM json_each(?)) AND act = 'review_bypass' ORDER BY seq";
    let entries = serde_json::json!(entries).to_string();
    let found: Vec<(i64, String, i64, String)> = sqlx::query_as(sql).bind(entries).fetch_all(db).await?;
    Ok(found.into_iter().map(tried).collect())
}

/// The same of any other act, about one thing.
pub async fn refused_to(db: &mut SqliteConnection, act: Act, about: &str) -> Sql<Vec<Tried>> {
    let sql = "SELECT seq, by, at, says FROM act_refused WHERE about = ? AND act = ? ORDER BY seq";
    let found: Vec<(i64, String, i64, String)> =
        sqlx::query_as(sql).bind(about).bind(act.as_str()).fetch_all(db).await?;
    Ok(found.into_iter().map(tried).collect())
}

fn tried((seq, by, at, says): (i64, String, i64, String)) -> Tried {
    Tried { seq: seq.unsigned_abs(), by: SignIn::from(by), at: Instant(at), says }
}

/// Pages in the book, and the root over them.
pub async fn head(db: &mut SqliteConnection) -> Sql<(u64, String)> {
    let (size, root): (i64, String) =
        sqlx::query_as("SELECT size, lower(hex(root)) FROM head").fetch_one(db).await?;
    Ok((size.unsigned_abs(), root))
}
