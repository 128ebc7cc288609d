//! Reports and entries as the file keeps them, for readers.
use std::collections::BTreeSet;

use sqlx::{AssertSqlSafe, FromRow, QueryBuilder, Sqlite, SqliteConnection};

use crate::base::{ClassName, EntryId, Instant, ReportId, SignIn, Tag, UnitName, instant::DAY};

type Sql<T> = Result<T, sqlx::Error>;

/// One entry as it now stands.
#[derive(Clone, Debug, FromRow)]
pub struct EntryRow {
    pub id: String,
    pub report: String,
    pub unit: String,
    pub class: Option<String>,
    pub kind: String,
    pub at: i64,
    pub found: bool,
    pub device: Option<String>,
    pub place: Option<String>,
    pub throttle: Option<String>,
    pub author: String,
    pub channel: String,
    pub recorded_at: i64,
    pub amended: Option<String>,
    pub withdrawn: bool,
    /// The whole entry, in the contract's JSON.
    pub detail: String,
    /// Signed by a tablet's key: confirmed by its author (1), disowned (0), neither yet (-1).
    pub confirmed: Option<i64>,
}

/// One report, without its entries.
#[derive(Clone, Debug, FromRow)]
pub struct ReportRow {
    pub seq: i64,
    pub id: String,
    pub unit: String,
    pub class: Option<String>,
    pub author: String,
    pub channel: String,
    pub entered_by: Option<String>,
    pub occasion: String,
    pub is_final: bool,
    pub symbol: Option<String>,
    pub run_from: Option<String>,
    pub run_to: Option<String>,
    pub started: i64,
    pub ended: Option<i64>,
    pub position: Option<String>,
    pub weather: Option<String>,
    pub remarks: Option<String>,
    pub entries: i64,
    pub signed_at: i64,
    pub recorded_at: i64,
    pub sha256: String,
    pub root: String,
    /// As of an entry.
    pub confirmed: Option<i64>,
}

/// Which entries are wanted; nothing set is all.
#[derive(Clone, Debug, Default)]
pub struct Wanted<'a> {
    pub unit: Option<&'a UnitName>,
    pub kind: Option<&'a str>,
    pub happened_by: Option<Instant>,
    pub happened_since: Option<Instant>,
    /// Operations of one device, or of the ground relay or of starting, on any of these units.
    pub operations: Option<(&'a [UnitName], &'a Tag)>,
    pub recorded_since: Option<Instant>,
    pub report: Option<ReportId>,
    /// Of any of these reports, by their ids as text.
    pub reports: Option<&'a [String]>,
    pub ids: Option<&'a [EntryId]>,
    pub class: Option<&'a ClassName>,
    pub device: Option<&'a Tag>,
    pub units: Option<&'a BTreeSet<UnitName>>,
    pub limit: Option<i64>,
    /// So many are left out first.
    pub after: i64,
}

const ENTRY: &str =
    "SELECT id, report, unit, class, kind, at, found, device, place, throttle, author, channel,
    recorded_at, amended, withdrawn, detail, CASE WHEN channel = 'device' THEN
        coalesce((SELECT t.card ->> '$.answer.mine' FROM tablet_report t WHERE t.report = entry.report), -1) END AS confirmed
    FROM entry WHERE true";

/// How many entries are wanted, whatever the limit.
pub async fn count(db: &mut SqliteConnection, wanted: &Wanted<'_>) -> Sql<usize> {
    let mut query: QueryBuilder<Sqlite> = QueryBuilder::new("SELECT count(*) FROM entry WHERE true");
    narrow(&mut query, wanted);
    let n: i64 = query.build_query_scalar().fetch_one(db).await?;
    Ok(usize::try_from(n).unwrap_or(0))
}

/// Entries, the latest first: by when they were written, if that is what is asked for, else by when it happened.
pub async fn entries(db: &mut SqliteConnection, wanted: &Wanted<'_>) -> Sql<Vec<EntryRow>> {
    let mut query: QueryBuilder<Sqlite> = QueryBuilder::new(ENTRY);
    narrow(&mut query, wanted);
    query.push(if wanted.recorded_since.is_some() {
        " ORDER BY recorded_at DESC, at DESC, id"
    } else {
        " ORDER BY at DESC, id"
    });
    if let Some(limit) = wanted.limit {
        query.push(" LIMIT ").push_bind(limit).push(" OFFSET ").push_bind(wanted.after);
    }
    query.build_query_as().fetch_all(db).await
}

fn narrow(query: &mut QueryBuilder<Sqlite>, wanted: &Wanted<'_>) {
    also(query, " AND class = ", wanted.class.map(ToString::to_string));
    also(query, " AND unit = ", wanted.unit.map(ToString::to_string));
    also(query, " AND device = ", wanted.device.map(ToString::to_string));
    if let Some(units) = wanted.units {
        among(query, "unit", units);
    }
    also(query, " AND at >= ", wanted.happened_since.map(|since| since.0));
    if let Some((units, device)) = wanted.operations {
        among(query, "unit", &units);
        match device.as_str() {
            Tag::GROUND_RELAY => query.push(" AND kind = 'ground_relay'"),
            Tag::ENGINE_START => query.push(" AND kind = 'engine_start'"),
            tag => query
                .push(" AND kind IN ('breaker_trip', 'fuse_check') AND device = ")
                .push_bind(tag.to_owned()),
        };
    }
    also(query, " AND kind = ", wanted.kind.map(str::to_owned));
    also(query, " AND at <= ", wanted.happened_by.map(|then| then.0));
    also(query, " AND recorded_at >= ", wanted.recorded_since.map(|since| since.0));
    also(query, " AND report = ", wanted.report.map(|report| report.to_string()));
    if let Some(reports) = wanted.reports {
        among(query, "report", &reports);
    }
    if let Some(ids) = wanted.ids {
        among(query, "id", &ids);
    }
}

/// A condition, where a value is wanted.
fn also<'v, T>(query: &mut QueryBuilder<Sqlite>, condition: &str, value: Option<T>)
where
    T: sqlx::Encode<'v, Sqlite> + sqlx::Type<Sqlite>,
{
    if let Some(value) = value {
        query.push(condition).push_bind(value);
    }
}

fn among(query: &mut QueryBuilder<Sqlite>, column: &str, values: &impl serde::Serialize) {
    let values = serde_json::json!(values).to_string();
    query.push(format_args!(" AND {column} IN (SELECT value FROM json_each(")).push_bind(values).push("))");
}

const REPORT: &str = "SELECT report.*, CASE WHEN channel = 'device' THEN
        coalesce((SELECT t.card ->> '$.answer.mine' FROM tablet_report t WHERE t.report = report.id), -1) END AS confirmed
    FROM report";

/// The last reports about a unit, the latest signed first.
pub async fn last_reports(db: &mut SqliteConnection, unit: &UnitName, limit: i64) -> Sql<Vec<ReportRow>> {
    sqlx::query_as(AssertSqlSafe(format!("{REPORT} WHERE unit = ? ORDER BY started DESC, seq DESC LIMIT ?")))
        .bind(unit.as_str())
        .bind(limit)
        .fetch_all(db)
        .await
}

/// What one person filed before a page of the book, the latest first.
pub async fn reports_by(
    db: &mut SqliteConnection,
    author: &str,
    before: i64,
    limit: i64,
) -> Sql<Vec<ReportRow>> {
    sqlx::query_as(AssertSqlSafe(format!("{REPORT} WHERE author = ? AND seq < ? ORDER BY seq DESC LIMIT ?")))
        .bind(author)
        .bind(before)
        .bind(limit)
        .fetch_all(db)
        .await
}

/// The last end-of-trip report that one person signed for a unit, if it was signed since then.
pub async fn signed_since(
    db: &mut SqliteConnection,
    author: &SignIn,
    unit: &UnitName,
    since: Instant,
) -> Sql<Option<ReportRow>> {
    // The unit's index leads there: a run of more than thirty days is none that anybody goes back to.
    let sql = format!(
        "{REPORT} WHERE unit = ? AND started > ? AND +author = ? AND is_final = 1 AND signed_at > ? ORDER BY seq DESC LIMIT 1"
    );
    sqlx::query_as(AssertSqlSafe(sql))
        .bind(unit.as_str())
        .bind(since.minus(30 * DAY).0)
        .bind(author.as_str())
        .bind(since.0)
        .fetch_optional(db)
        .await
}

pub async fn report(db: &mut SqliteConnection, id: ReportId) -> Sql<Option<ReportRow>> {
    sqlx::query_as(AssertSqlSafe(format!("{REPORT} WHERE id = ?")))
        .bind(id.to_string())
        .fetch_optional(db)
        .await
}

/// One correction of an entry: what it said before, and what it said from then on.
#[derive(Clone, Debug, FromRow)]
pub struct AmendmentRow {
    pub id: String,
    pub author: String,
    pub at: i64,
    pub reason: String,
    /// The whole entry, in the contract's JSON.
    pub before: String,
    /// `None`: it was withdrawn.
    pub replacement: Option<String>,
}

/// Every correction of an entry, the first first.
pub async fn amendments(db: &mut SqliteConnection, entry: EntryId) -> Sql<Vec<AmendmentRow>> {
    let sql =
        "SELECT id, author, at, reason, before, replacement FROM amendment WHERE entry = ? ORDER BY seq";
    sqlx::query_as(sql).bind(entry.to_string()).fetch_all(db).await
}

/// Somebody's own words beside an entry.
#[derive(Clone, Debug, FromRow)]
pub struct StatementRow {
    pub author: String,
    pub at: i64,
    pub words: String,
}

/// In the order in which they were made.
pub async fn statements(db: &mut SqliteConnection, entry: EntryId) -> Sql<Vec<StatementRow>> {
    let sql = "SELECT author, at, words FROM statement WHERE entry = ? ORDER BY seq";
    sqlx::query_as(sql).bind(entry.to_string()).fetch_all(db).await
}
