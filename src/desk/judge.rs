//! Judging what a group touched, with the very function that batch judging uses.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use super::{
    cabinet::{Kept, Stored},
    draft::{Draft, UnitHistory},
    load,
    tables::{BypassRow, DossierRow, FindingRow, Judged, UnitHistoryRow, json},
    world::World,
};
use crate::{
    base::{Instant, UnitName},
    reports::vocabulary::{Occasion, RunPosition},
    rules::{
        Dossier, DossierKey, Finding, Judgement, dossier::Subject, fact::RunFact, judge::judge,
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
        self.judged.script()?.run(db).await
    }

    /// The same, but what came of it still waits in `judged`.
    pub async fn judge_unwritten(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let runs = runs_during(db, &self.dossiers).await?;
        self.check_loaded()?;
        self.keep_histories();
        let mut clocks: BTreeMap<UnitName, ServiceDays> = BTreeMap::new();
        for (key, kept) in &mut self.dossiers {
            let clock = clocks
                .entry(key.unit.clone())
                .or_insert_with(|| clock(&self.world, &key.unit, self.units.get(&key.unit)));
            let runs = runs.get(&key.unit).map_or(&[][..], Vec::as_slice);
            let judgement = judge(key, &kept.dossier, clock, runs, &self.world.ground());
            put_judgement(&mut self.judged, key, kept, judgement);
        }
        self.put_back();
        Ok(())
    }

    /// Writes what was loaded and added to, unjudged: `rebuild` judges once at its end.
    pub async fn keep_unjudged(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.check_loaded()?;
        self.keep_histories();
        for (key, kept) in &mut self.dossiers {
            put_judgement(&mut self.judged, key, kept, Judgement::default());
        }
        self.put_back();
        self.judged.script()?.run(db).await
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
        for unit in std::mem::take(&mut self.changed_units) {
            let Some(history) = self.units.get(&unit) else { continue };
            self.judged.histories.add(&UnitHistoryRow {
                unit,
                days: hex::encode(history.days.to_bytes()),
                holds: json(&history.holds),
            });
        }
    }

    /// Judges again what administration changed: whole units, or the whole book.
    pub async fn judge_again(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let again = std::mem::take(&mut self.again);
        if again.everything || !again.units.is_empty() {
            // What was judged so far is judged otherwise from here on.
            self.cabinet.empty();
        }
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
            self.cabinet.empty();
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
        let units: Vec<&str> = units.iter().map(String::as_str).collect();
        self.dossiers = load::dossiers_of_units(db, &units).await?;
        Ok(())
    }
}

/// A unit's service-day clock as the book now has it.
pub fn clock(world: &World, unit: &UnitName, history: Option<&UnitHistory>) -> ServiceDays {
    let blank = UnitHistory::default();
    let history = history.unwrap_or(&blank);
    ServiceDays::of(world.roster.unit(unit), &history.days, &history.holds, &world.railway.zone)
}

/// Makes the file's rows of a dossier those of this judgement, leaving alone what is so already.
fn put_judgement(judged: &mut Judged, key: &DossierKey, kept: &mut Kept, now: Judgement) {
    let subject = key.subject.to_string();
    put_parts(judged, key, &subject, kept);
    let same = matches!(&kept.stored, Stored::This(then)
        if then.settled_after == now.settled_after && then.findings.len() == now.findings.len());
    if !same {
        judged.dossiers.add(&DossierRow {
            unit: key.unit.clone(),
            subject: subject.clone(),
            settled_after: now.settled_after,
            findings: now.findings.len(),
        });
    }
    put_findings(judged, key, &subject, &kept.stored, &now);
    if key.subject == Subject::GroundProtection {
        put_bypasses(judged, key, &kept.stored, &now);
    }
    kept.stored = Stored::This(now);
}

fn put_parts(judged: &mut Judged, key: &DossierKey, subject: &str, kept: &mut Kept) {
    for fortnight in std::mem::take(&mut kept.changed) {
        let facts = kept.dossier.of_fortnight(fortnight);
        if facts.is_empty() {
            judged.empty_parts.add(&(&key.unit, subject, fortnight));
        } else {
            let (place, length) = judged.parts.put_beside(&postcard::to_stdvec(facts).unwrap_or_default());
            judged.parts.add(&(&key.unit, subject, fortnight, place, length));
        }
    }
}

fn put_findings(judged: &mut Judged, key: &DossierKey, subject: &str, stored: &Stored, now: &Judgement) {
    let known: &[Finding] = match stored {
        Stored::Nothing | Stored::Unread { findings: 0 } => &[],
        Stored::Unread { .. } => {
            judged.cleared.add(&(&key.unit, subject));
            &[]
        }
        Stored::This(then) => &then.findings,
    };
    // Both are sorted by key; a key stands once.
    let same = |one: &Finding, all: &[Finding]| {
        all.binary_search_by(|f| f.key.cmp(&one.key)).is_ok_and(|place| all[place] == *one)
    };
    known.iter().filter(|old| !same(old, &now.findings)).for_each(|old| judged.gone.add(&old.key));
    for finding in now.findings.iter().filter(|new| !same(new, known)) {
        judged.findings.add(&FindingRow {
            key: finding.key.clone(),
            unit: key.unit.clone(),
            subject: subject.to_owned(),
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
}

fn put_bypasses(judged: &mut Judged, key: &DossierKey, stored: &Stored, now: &Judgement) {
    match stored {
        Stored::This(then) if then.bypasses == now.bypasses => return,
        Stored::Nothing => {}
        Stored::Unread { .. } | Stored::This(_) => judged.cleared_bypasses.add(&key.unit),
    }
    for bypass in &now.bypasses {
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
    let sql = "SELECT DISTINCT r.id, r.unit, r.author, r.started, coalesce(r.ended, r.signed_at) AS ended, r.symbol, r.occasion, r.position
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
