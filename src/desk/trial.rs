//! What other settings would have said in the last twelve months of this very book: its whole history judged once more, a
//! few units at a time, with nothing written.
use std::{collections::BTreeMap, sync::Arc, time::Duration};

use sqlx::{Row, SqliteConnection};
use tokio::{sync::Semaphore, time::Instant as Stopwatch};

use super::{Desk, judge::judge_batch, load, refused::Refused, tables::json, world::World};
use crate::{
    base::{Instant, UnitName, instant::DAY},
    db::writer::Trouble,
    desk::draft::UnitHistory,
    rules::{Dossier, DossierKey, Finding, Rule, Thresholds, dossier::Subject},
};

/// Lines are counted that opened in so many days up to now.
pub const YEAR: i64 = 365 * DAY;
const UNITS_AT_ONCE: i64 = 32;
/// Somebody waits for the page.
const PATIENCE: Duration = Duration::from_secs(10);
/// One at a time: a trial reads the whole book, and crews' pages come first.
static TURN: Semaphore = Semaphore::const_new(1);

/// How many lines opened, by rule.
pub type Counted = BTreeMap<Rule, usize>;

#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// With the settings in force, and with the others.
    pub now: Counted,
    pub then: Counted,
    /// Units that were judged, and how many there are: time may have run out.
    pub units: usize,
    pub of: usize,
    pub took: Duration,
}

impl Trial {
    pub fn is_whole(&self) -> bool {
        self.units == self.of
    }
}

impl Desk {
    /// Judges the history of this book by other settings.
    ///
    /// # Errors
    /// Busy when somebody else's trial takes long; trouble with the file.
    pub async fn try_thresholds(&self, set: Thresholds, now: Instant) -> Result<Trial, Refused> {
        let turn = tokio::time::timeout(PATIENCE, TURN.acquire()).await;
        let Ok(Ok(_turn)) = turn else { return Err(Refused::Busy { retry_after_s: 20 }) };
        let begun = Stopwatch::now();
        let mut db = self.read().await?;
        let world = Arc::new(World { thresholds: set, ..(*self.world_now(&mut db).await?).clone() });
        judge_all(&mut db, &world, now, begun).await.map_err(|why| Trouble::from(&why).into())
    }
}

async fn judge_all(
    db: &mut SqliteConnection,
    world: &Arc<World>,
    now: Instant,
    begun: Stopwatch,
) -> Result<Trial, sqlx::Error> {
    let of: i64 = sqlx::query_scalar("SELECT count(DISTINCT unit) FROM dossier").fetch_one(&mut *db).await?;
    let (mut then, mut after, mut units) = (Counted::new(), String::new(), 0);
    while begun.elapsed() < PATIENCE {
        let sql = "SELECT DISTINCT unit FROM dossier WHERE unit > ? ORDER BY unit LIMIT ?";
        let some: Vec<String> =
            sqlx::query_scalar(sql).bind(&after).bind(UNITS_AT_ONCE).fetch_all(&mut *db).await?;
        let Some(last) = some.last() else { break };
        let first = after.is_empty();
        after.clone_from(last);
        units += some.len();
        let batch = Batch::of(db, &some).await?;
        let world = Arc::clone(world);
        // Lines about classes come with every batch: they count once.
        let judged = tokio::task::spawn_blocking(move || batch.judged(&world, now, first)).await;
        for (rule, n) in judged.map_err(|why| sqlx::Error::Protocol(why.to_string()))? {
            *then.entry(rule).or_default() += n;
        }
    }
    let now = opened(db, now, &after).await?;
    Ok(Trial { now, then, units, of: usize::try_from(of).unwrap_or(0), took: begun.elapsed() })
}

struct Batch {
    units: BTreeMap<UnitName, UnitHistory>,
    dossiers: BTreeMap<DossierKey, Dossier>,
}

impl Batch {
    async fn of(db: &mut SqliteConnection, units: &[String]) -> Result<Self, sqlx::Error> {
        let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
        let rows = sqlx::query(sql).bind(json(&units)).fetch_all(&mut *db).await?;
        let histories = rows.iter().map(|row| Ok((load::unit(row)?, load::history(row)?)));
        let histories = histories.collect::<Result<_, sqlx::Error>>()?;
        let names: Vec<&str> = units.iter().map(String::as_str).collect();
        let dossiers = load::dossiers_of_units(db, &names).await?;
        // No setting changes what is said about ground protection.
        let wanted = dossiers.into_iter().filter(|(key, _)| key.subject != Subject::GroundProtection);
        Ok(Self { units: histories, dossiers: wanted.map(|(key, kept)| (key, kept.dossier)).collect() })
    }

    fn judged(&self, world: &World, now: Instant, class_lines: bool) -> Counted {
        let judged = judge_batch(world, &self.units, self.dossiers.iter(), &BTreeMap::new());
        let counts = |finding: &&Finding| {
            (class_lines || finding.rule != Rule::ClassWide)
                && now.minus(YEAR) < finding.since
                && finding.since <= now
        };
        let mut counted = Counted::new();
        for finding in judged.findings.iter().filter(counts) {
            *counted.entry(finding.rule).or_default() += 1;
        }
        counted
    }
}

/// Lines that the book itself has opened in the last twelve months, ended or not, about units up to this one.
async fn opened(db: &mut SqliteConnection, now: Instant, up_to: &str) -> Result<Counted, sqlx::Error> {
    let sql = "SELECT rule, count(*) AS n FROM finding WHERE since > ? AND since <= ? AND unit <= ? GROUP BY rule";
    let rows =
        sqlx::query(sql).bind(now.minus(YEAR).0).bind(now.0).bind(up_to).fetch_all(db).await?;
    let mut counted = Counted::new();
    for row in rows {
        if let Some(rule) = Rule::parse(row.try_get("rule")?) {
            counted.insert(rule, usize::try_from(row.try_get::<i64, _>("n")?).unwrap_or(0));
        }
    }
    Ok(counted)
}

/// The same about every unit.
pub async fn opened_in_a_year(db: &mut SqliteConnection, now: Instant) -> Result<Counted, sqlx::Error> {
    opened(db, now, "\u{10FFFF}").await
}
