//! What the book says now that somebody may have to be told of, a function for each place where it stands. A new sort of
//! matter is one more of these, and a word in [`super::what`].
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use super::{
    Matter,
    what::{About, What},
    when::TOO_OLD,
};
use crate::{
    base::{EntryId, Instant},
    desk::{World, backup::told},
    oversight,
    rules::{Bypass, Finding, Rule, store as findings},
    shop::inspections::{Due, InspectionKind, Standing, store as inspections},
};

type Sql<T> = Result<T, sqlx::Error>;

/// What was found: to be told, and only to be remembered as known.
#[derive(Debug, Default)]
pub struct Found {
    pub told: Vec<Matter>,
    pub known: Vec<Matter>,
}

impl Found {
    fn put(&mut self, tell: bool, matter: Matter) {
        if tell { self.told.push(matter) } else { self.known.push(matter) }
    }
}

/// Openings in units of which something came into the book since it had so many pages. One that is told of in several
/// entries goes by the first of them, and an earlier one may come later: it is the same if any of its entries was told.
pub async fn openings(db: &mut SqliteConnection, since: i64, now: Instant, found: &mut Found) -> Sql<()> {
    let sql = "WITH touched (unit) AS (SELECT unit FROM report WHERE seq >= ?1
            UNION SELECT e.unit FROM amendment a JOIN entry e ON e.id = a.entry WHERE a.seq >= ?1)
        SELECT b.data FROM touched t JOIN bypass b ON b.unit = t.unit
        WHERE NOT EXISTS (SELECT 1 FROM json_each(b.data, '$.entries') e
            JOIN notice n ON n.key = 'opened:' || e.value || ':' || b.device)
        ORDER BY b.begins, b.id";
    let rows: Vec<String> = sqlx::query_scalar(sql).bind(since).fetch_all(db).await?;
    for data in &rows {
        let opening: Bypass = serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
        let open = opening.closed_at.is_none_or(|closed| now < closed);
        let recent = now.since(opening.begins()) <= TOO_OLD;
        let matter = Matter {
            what: What::CutoutOpened,
            key: format!("opened:{}:{}", opening.id, opening.device),
            unit: Some(opening.unit.clone()),
            at: opening.begins(),
            about: About::Bypass(opening.id),
        };
        found.put((open || recent) && !opening.withdrawn, matter);
    }
    Ok(())
}

/// Lines of the file that are open now and were not told. One that is set aside waits until it is not any more.
pub async fn lines(db: &mut SqliteConnection, now: Instant, found: &mut Found) -> Sql<()> {
    let rules: Vec<&str> =
        Rule::ALL.iter().filter(|rule| What::of_rule(**rule).is_some()).map(|rule| rule.as_str()).collect();
    let sql = "SELECT data FROM finding f WHERE since <= ?1 AND (until IS NULL OR until > ?1)
        AND rule IN (SELECT value FROM json_each(?2))
        AND NOT EXISTS (SELECT 1 FROM notice n WHERE n.key = 'line:' || f.key) ORDER BY since, key";
    let rows = sqlx::query_scalar(sql).bind(now.0).bind(serde_json::json!(rules).to_string());
    let rows: Vec<String> = rows.fetch_all(&mut *db).await?;
    let read = |data: &String| serde_json::from_str(data).map_err(|why| sqlx::Error::Decode(Box::new(why)));
    let new: Vec<Finding> = rows.iter().map(read).collect::<Sql<_>>()?;
    tell(db, new, now, found).await
}

/// The same of lines that are joined when they are read: reviews that are due, rights that end.
pub async fn joined_lines(
    db: &mut SqliteConnection,
    world: &World,
    now: Instant,
    found: &mut Found,
) -> Sql<()> {
    let register = oversight::store::register(db, now).await?;
    let mut all = oversight::joined(&world.ground(), &register, now);
    all.retain(|finding| finding.open_at(now));
    let keys: Vec<String> = all.iter().map(|finding| format!("line:{}", finding.key)).collect();
    let sql = "SELECT key FROM notice WHERE key IN (SELECT value FROM json_each(?))";
    let told = sqlx::query_scalar(sql).bind(serde_json::json!(keys).to_string());
    let told: BTreeSet<String> = told.fetch_all(&mut *db).await?.into_iter().collect();
    all.retain(|finding| !told.contains(&format!("line:{}", finding.key)));
    tell(db, all, now, found).await
}

async fn tell(db: &mut SqliteConnection, new: Vec<Finding>, now: Instant, found: &mut Found) -> Sql<()> {
    if new.is_empty() {
        return Ok(());
    }
    let decisions = findings::decisions(db, None, now).await?;
    for finding in new {
        let Some(what) = What::of_rule(finding.rule) else { continue };
        let state = decisions.state(&finding, now);
        if state == findings::State::SetAside {
            continue;
        }
        let recent = now.since(finding.since) <= TOO_OLD || what == What::CutoutStillOpen;
        let open = recent && state == findings::State::Open;
        let about = about(db, &finding, open).await?;
        let tell = open && !(what == What::WithoutAuthority && is_told(db, what, &about, found).await?);
        let unit = finding.unit.clone().or_else(|| finding.units.first().cloned());
        let key = format!("line:{}", finding.key);
        found.put(tell, Matter { what, key, unit, at: finding.since, about });
    }
    Ok(())
}

/// Several rules say of one opening that nobody's right stood behind it: that is told once.
async fn is_told(db: &mut SqliteConnection, what: What, about: &About, found: &Found) -> Sql<bool> {
    if found.told.iter().any(|matter| matter.what == what && matter.about == *about) {
        return Ok(true);
    }
    let sql = "SELECT count(*) > 0 FROM notice WHERE about = ? AND what = ?";
    sqlx::query_scalar(sql).bind(about.text()).bind(what.as_str()).fetch_one(db).await
}

/// No address has a name in it, nor what somebody read off a plate: both stand in some findings' keys.
async fn about(db: &mut SqliteConnection, finding: &Finding, wanted: bool) -> Sql<About> {
    if finding.rule == Rule::Expiring || !wanted {
        return Ok(About::Bypasses);
    }
    if finding.rule.is_ground_protection() {
        let opening = opening_of(db, finding).await?;
        return Ok(opening.map_or(About::Bypasses, About::Bypass));
    }
    Ok(match &finding.unit {
        Some(unit) if finding.key.contains("not listed") => About::Unit(unit.clone()),
        _ => About::Finding(finding.key.clone()),
    })
}

async fn opening_of(db: &mut SqliteConnection, finding: &Finding) -> Sql<Option<EntryId>> {
    let (Some(unit), Some(entry)) = (&finding.unit, finding.entries.first()) else { return Ok(None) };
    let sql = "SELECT b.id FROM bypass b JOIN json_each(b.data, '$.entries') e WHERE b.unit = ? AND e.value = ? LIMIT 1";
    let id = sqlx::query_scalar::<_, String>(sql).bind(unit.as_str()).bind(entry.to_string());
    Ok(id.fetch_optional(db).await?.and_then(|id| id.parse().ok()))
}

/// Periodic and annual inspections: soon, and past their last lawful day; each once for each last day.
pub async fn due_inspections(
    db: &mut SqliteConnection,
    world: &World,
    now: Instant,
    found: &mut Found,
) -> Sql<()> {
    let (last, intervals) = (inspections::last_done(db).await?, inspections::intervals(db).await?);
    let (zone, mut all) = (&world.railway.zone, BTreeMap::new());
    let today = zone.day_of(now);
    for ((unit, kind), at) in last {
        let card = world.roster.unit(&unit).filter(|card| card.retired.is_none_or(|day| today < day));
        let (Some(card), true) = (card, kind != InspectionKind::MechanicalDaily) else { continue };
        let days = intervals.of(&unit, Some(&card.class));
        let Some(due) = Due::of(unit.clone(), kind, Some(zone.day_of(at)), days, today) else { continue };
        let Some(last_day) = due.last_day.filter(|_| due.is_notice()) else { continue };
        let passed = due.standing == Standing::Overdue;
        let begins = if passed {
            last_day.plus(1)
        } else {
            last_day.plus(-crate::shop::inspections::TOLD_BEFORE_DAYS)
        };
        let key = format!("inspection:{unit}:{kind}:{last_day}:{}", due.standing);
        let about = About::UnitInspections(unit.clone());
        let at = zone.start_of(begins);
        all.insert(key.clone(), Matter { what: What::InspectionDue, key, unit: Some(unit), at, about });
    }
    untold(db, all, found).await
}

/// A back-up that failed and none that is good since: once a day.
pub async fn failed_backup(
    db: &mut SqliteConnection,
    world: &World,
    now: Instant,
    found: &mut Found,
) -> Sql<()> {
    let kept = told::kept(db).await?;
    let Some(failed) = kept.failed.filter(|failed| failed.at <= now) else { return Ok(()) };
    if kept.good.is_some_and(|good| good.at >= failed.at && good.at <= now) {
        return Ok(());
    }
    let key = format!("backup:{}", world.railway.zone.day_of(failed.at));
    let matter = Matter {
        what: What::BackupFailed,
        key: key.clone(),
        unit: None,
        at: failed.at,
        about: About::Backups,
    };
    untold(db, BTreeMap::from([(key, matter)]), found).await
}

/// Rights that one supervisor proposed: told to all of them, since the first other one confirms.
pub async fn waiting_grants(
    db: &mut SqliteConnection,
    world: &World,
    now: Instant,
    found: &mut Found,
) -> Sql<()> {
    let waiting = world.proposals.values().filter(|proposal| proposal.waits(now));
    let matter = |id: uuid::Uuid, at: Instant| {
        let (key, about) = (format!("proposal:{id}"), About::Proposal(id));
        (key.clone(), Matter { what: What::GrantWaits, key, unit: None, at, about })
    };
    let all = waiting.map(|proposal| matter(proposal.id, proposal.at)).collect();
    untold(db, all, found).await
}

async fn untold(db: &mut SqliteConnection, mut all: BTreeMap<String, Matter>, found: &mut Found) -> Sql<()> {
    let keys: Vec<&String> = all.keys().collect();
    let sql = "SELECT key FROM notice WHERE key IN (SELECT value FROM json_each(?))";
    for row in sqlx::query(sql).bind(serde_json::json!(keys).to_string()).fetch_all(db).await? {
        all.remove(row.try_get::<&str, _>(0)?);
    }
    found.told.extend(all.into_values());
    Ok(())
}
