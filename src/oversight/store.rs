//! The register and its reviews in the file.
use std::collections::HashMap;

use sqlx::{Row, SqliteConnection};

use super::{KeptReview, Line};
use crate::{
    base::{EntryId, Instant, SignIn, UnitName},
    rules::Bypass,
};

type Sql<T> = Result<T, sqlx::Error>;

/// Every opening that had begun by a moment, the latest first.
pub async fn register(db: &mut SqliteConnection, then: Instant) -> Sql<Vec<Line>> {
    let sql = "SELECT data FROM bypass WHERE begins <= ? ORDER BY begins DESC, id";
    let found = sqlx::query_scalar(sql).bind(then.0).fetch_all(&mut *db).await?;
    let reviews = reviews(db, None, then).await?;
    found.iter().map(|data: &String| Ok(line(read(data)?, &reviews))).collect()
}

/// The openings of one unit, the latest first.
pub async fn of_unit(db: &mut SqliteConnection, unit: &UnitName) -> Sql<Vec<Line>> {
    let sql = "SELECT data FROM bypass WHERE unit = ? ORDER BY begins DESC, id";
    let found = sqlx::query_scalar(sql).bind(unit.as_str()).fetch_all(&mut *db).await?;
    let reviews = reviews(db, Some(unit), Instant::MAX).await?;
    found.iter().map(|data: &String| Ok(line(read(data)?, &reviews))).collect()
}

/// What is told now before what was withdrawn.
const OF_ENTRY: &str = "SELECT data FROM bypass WHERE id = ? ORDER BY data ->> 'withdrawn', device LIMIT 1";

pub async fn by_id(db: &mut SqliteConnection, id: EntryId) -> Sql<Option<Line>> {
    let data: Option<String> =
        sqlx::query_scalar(OF_ENTRY).bind(id.to_string()).fetch_optional(&mut *db).await?;
    let Some(data) = data else { return Ok(None) };
    let bypass = read(&data)?;
    let reviews = reviews(db, Some(&bypass.unit), Instant::MAX).await?;
    Ok(Some(line(bypass, &reviews)))
}

/// Joins reviews to openings reckoned elsewhere, as of a moment.
pub async fn with_reviews(db: &mut SqliteConnection, bypasses: Vec<Bypass>, then: Instant) -> Sql<Vec<Line>> {
    let reviews = reviews(db, None, then).await?;
    Ok(bypasses.into_iter().map(|bypass| line(bypass, &reviews)).collect())
}

fn read(data: &str) -> Sql<Bypass> {
    serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)))
}

fn line(bypass: Bypass, reviews: &HashMap<EntryId, Vec<KeptReview>>) -> Line {
    let mut of_it: Vec<KeptReview> =
        bypass.entries.iter().filter_map(|entry| reviews.get(entry)).flatten().cloned().collect();
    of_it.sort_by_key(|review| review.seq);
    Line { bypass, reviews: of_it }
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
