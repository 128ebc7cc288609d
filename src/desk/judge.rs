//! Judging what a group touched, with the very function that batch judging uses.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use super::{
    draft::{Draft, Kept, UnitHistory},
    load,
    tables::{BypassRow, DossierRow, FindingRow, Judged, UnitHistoryRow, json},
    world::World,
};
use crate::{
    base::{Instant, UnitName},
    reports::vocabulary::{Occasion, RunPosition},
    rules::{
        Dossier, DossierKey, Judgement, dossier::Subject, fact::RunFact, judge::judge,
        service_days::ServiceDays, windows::windows,
    },
};

/// Units judged again in one go when everything is.
const UNITS_AT_ONCE: i64 = 16;

impl Draft {
    /// Judges every loaded dossier and writes what came of it. The rows of reports must be in the file already:
    /// who had a unit while its cutout stood open is read from there.
    pub async fn judge_loaded(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.judge_unwritten(db).await?;
        self.judged.flush(db).await
    }

    /// The same, but what came of it still waits in `judged`.
    pub async fn judge_unwritten(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let runs = runs_during(db, &self.dossiers).await?;
        self.check_loaded()?;
        self.keep_histories();
        let mut clocks: BTreeMap<UnitName, ServiceDays> = BTreeMap::new();
        for (key, kept) in std::mem::take(&mut self.dossiers) {
            let clock = clocks
                .entry(key.unit.clone())
                .or_insert_with(|| clock(&self.world, &key.unit, self.units.get(&key.unit)));
            let judgement = judge(
                &key,
                &kept.dossier,
                clock,
                runs.get(&key.unit).map_or(&[], Vec::as_slice),
                &self.world.ground(),
            );
            write_judgement(&mut self.judged, &key, &kept, &judgement);
        }
        Ok(())
    }

    /// Writes what was loaded and added to, unjudged: `rebuild` judges once at its end.
    pub async fn keep_unjudged(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.check_loaded()?;
        self.keep_histories();
        for (key, kept) in std::mem::take(&mut self.dossiers) {
            write_judgement(&mut self.judged, &key, &kept, &Judgement::default());
        }
        self.judged.flush(db).await
    }

    /// A group whose pages touch what was not loaded is undone; replayed one by one, each loads its own.
    fn check_loaded(&self) -> Result<(), sqlx::Error> {
        match &self.unloaded {
            None => Ok(()),
            Some(what) => {
                Err(sqlx::Error::Protocol(format!("{what} was written to without having been loaded")))
            }
        }
    }

    fn keep_histories(&mut self) {
        for (unit, history) in &self.units {
            self.judged.histories.add(&UnitHistoryRow {
                unit: unit.clone(),
                days: hex::encode(history.days.to_bytes()),
                holds: json(&history.holds),
            });
        }
    }

    /// Judges again what administration changed: whole units, or the whole book.
    pub async fn judge_again(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let again = std::mem::take(&mut self.again);
        let mut after = String::new();
        loop {
            let units: Vec<String> = if again.everything {
                let sql = "SELECT DISTINCT unit FROM dossier WHERE unit > ? ORDER BY unit LIMIT ?";
                sqlx::query_scalar(sql).bind(&after).bind(UNITS_AT_ONCE).fetch_all(&mut *db).await?
            } else {
                let rest = again.units.iter().map(|u| u.as_str().to_owned()).filter(|u| *u > after);
                rest.take(usize::try_from(UNITS_AT_ONCE).unwrap_or(1)).collect()
            };
            let Some(last) = units.last() else { return Ok(()) };
            after.clone_from(last);
            self.load_whole_units(db, &units).await?;
            self.judge_loaded(db).await?;
            self.units.clear();
        }
    }

    async fn load_whole_units(
        &mut self,
        db: &mut SqliteConnection,
        units: &[String],
    ) -> Result<(), sqlx::Error> {
        let names = json(&units);
        let sql = "SELECT unit, days, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
        for row in sqlx::query(sql).bind(&names).fetch_all(&mut *db).await? {
            self.units.insert(UnitName::from(row.try_get::<&str, _>("unit")?), load::history(&row)?);
        }
        let sql = "SELECT unit, subject, findings, facts FROM dossier WHERE unit IN (SELECT value FROM json_each(?))";
        for row in sqlx::query(sql).bind(&names).fetch_all(&mut *db).await? {
            let (key, kept) = load::dossier(&row)?;
            self.dossiers.insert(key, kept);
        }
        Ok(())
    }
}

/// A unit's service-day clock as the book now has it.
pub fn clock(world: &World, unit: &UnitName, history: Option<&UnitHistory>) -> ServiceDays {
    let blank = UnitHistory::default();
    let history = history.unwrap_or(&blank);
    ServiceDays::of(world.roster.unit(unit), &history.days, &history.holds, &world.railway.zone)
}

fn write_judgement(judged: &mut Judged, key: &DossierKey, kept: &Kept, judgement: &Judgement) {
    let facts = postcard::to_stdvec(&kept.dossier).unwrap_or_default();
    let subject = key.subject.to_string();
    judged.dossiers.add(&DossierRow {
        unit: key.unit.clone(),
        subject: subject.clone(),
        settled_after: judgement.settled_after,
        findings: judgement.findings.len(),
        facts: hex::encode(facts),
    });
    if kept.findings > 0 {
        judged.cleared.add(&(&key.unit, &subject));
    }
    for finding in &judgement.findings {
        judged.findings.add(&FindingRow {
            key: finding.key.clone(),
            unit: key.unit.clone(),
            subject: subject.clone(),
            rule: finding.rule,
            device: finding.device.clone(),
            class: finding.class.clone(),
            since: finding.since,
            until: finding.until,
            severity: finding.severity,
            rank: finding.rank,
            data: json(finding),
        });
    }
    if key.subject == Subject::GroundProtection {
        judged.cleared_bypasses.add(&key.unit);
        for bypass in &judgement.bypasses {
            judged.bypasses.add(&BypassRow {
                id: bypass.id,
                unit: bypass.unit.clone(),
                device: bypass.device.clone(),
                begins: bypass.begins(),
                closed_at: bypass.closed_at,
                data: json(bypass),
            });
        }
    }
}

/// Who had each unit while its cutout stood open, or since it was last seen closed.
async fn runs_during(
    db: &mut SqliteConnection,
    dossiers: &BTreeMap<DossierKey, Kept>,
) -> Result<BTreeMap<UnitName, Vec<RunFact>>, sqlx::Error> {
    let of_ground = dossiers.iter().filter(|(key, _)| key.subject == Subject::GroundProtection);
    let spans: Vec<(&UnitName, Instant, Instant)> = of_ground
        .flat_map(|(key, kept)| {
            windows(&kept.dossier).into_iter().map(move |(from, to)| (&key.unit, from, to))
        })
        .collect();
    runs_in(db, &spans).await
}

/// The runs that overlap any of the spans, each once, by unit, in order of their start.
pub async fn runs_in(
    db: &mut SqliteConnection,
    spans: &[(&UnitName, Instant, Instant)],
) -> Result<BTreeMap<UnitName, Vec<RunFact>>, sqlx::Error> {
    let mut runs: BTreeMap<UnitName, Vec<RunFact>> = BTreeMap::new();
    if spans.is_empty() {
        return Ok(runs);
    }
    let sql = "SELECT DISTINCT r.id, r.unit, r.author, r.started, r.ended, r.symbol, r.occasion, r.position
        FROM json_each(?) w JOIN report r ON r.unit = w.value->>0 AND r.started <= w.value->>2
        WHERE coalesce(r.ended, r.signed_at) >= w.value->>1 ORDER BY r.started, r.id";
    let mut seen = BTreeSet::new();
    for row in sqlx::query(sql).bind(json(&spans)).fetch_all(db).await? {
        let Ok(report) = row.try_get::<&str, _>("id")?.parse() else { continue };
        if !seen.insert(report) {
            continue;
        }
        let unit = UnitName::from(row.try_get::<&str, _>("unit")?);
        let position = row.try_get::<Option<&str>, _>("position")?.and_then(RunPosition::parse);
        let run = RunFact {
            report,
            unit: unit.clone(),
            author: load::sign_in(&row, "author")?,
            started: Instant(row.try_get("started")?),
            ended: row.try_get::<Option<i64>, _>("ended")?.map(Instant),
            symbol: row.try_get("symbol")?,
            moved: row.try_get::<&str, _>("occasion")? == Occasion::Run.as_str()
                && position != Some(RunPosition::Dead),
            position,
        };
        runs.entry(unit).or_default().push(run);
    }
    Ok(runs)
}

/// Everything judged at once from dossiers in hand, with nothing written: for `--as-of` and for checking.
pub fn judge_batch<'a>(
    world: &World,
    units: &BTreeMap<UnitName, UnitHistory>,
    dossiers: impl Iterator<Item = (&'a DossierKey, &'a Dossier)>,
    runs: &BTreeMap<UnitName, Vec<RunFact>>,
) -> Judgement {
    let mut all = Judgement::default();
    for (key, dossier) in dossiers {
        let clock = clock(world, &key.unit, units.get(&key.unit));
        let judgement =
            judge(key, dossier, &clock, runs.get(&key.unit).map_or(&[], Vec::as_slice), &world.ground());
        all.findings.extend(judgement.findings);
        all.bypasses.extend(judgement.bypasses);
    }
    all
}
