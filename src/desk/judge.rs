//! Judging what a group touched, with the very function that batch judging uses.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection};

use super::{
    cabinet::{Kept, Stored},
    draft::{Draft, UnitHistory},
    load,
    tables::{BypassRow, DossierRow, FindingRow, Judged, UnitHistoryRow, json},
    world::World,
};
use crate::{
    base::UnitName,
    rules::{
        Beside, Dossier, DossierKey, Finding, Judgement, class_wide::class_wide, dossier::Subject,
        fact::RunFact, judge::judge, service_days::ServiceDays,
    },
};

/// The subject that lines about a whole class are kept under.
const CLASS_LINES: &str = "class";

/// Units judged again in one go when everything is.
const UNITS_AT_ONCE: i64 = 16;

impl Draft {
    /// Judges every loaded dossier and writes what came of it.
    pub async fn judge_loaded(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.judge_unwritten(db).await?;
        self.judged.script()?.run(db).await
    }

    /// The same, but what came of it still waits in `judged`, and other rows may wait yet.
    pub async fn judge_unwritten(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.check_loaded()?;
        self.watch_runs(db).await?;
        self.put_class_lines();
        self.keep_histories();
        let mut clocks: BTreeMap<UnitName, ServiceDays> = BTreeMap::new();
        let blank = UnitHistory::default();
        for (key, kept) in &mut self.dossiers {
            let clock = clocks
                .entry(key.unit.clone())
                .or_insert_with(|| clock(&self.world, &key.unit, self.units.get(&key.unit)));
            let runs = kept.watch.as_ref().map_or(&[][..], |watch| watch.runs.as_slice());
            let weather = self.units.get(&key.unit).map_or(&blank.weather, |history| &history.weather);
            let beside = Beside { days: clock, weather, runs };
            let judgement = judge(key, &kept.dossier, beside, &self.world.ground());
            put_judgement(&mut self.judged, key, kept, judgement);
        }
        self.put_back();
        Ok(())
    }

    /// Writes what was loaded and added to, unjudged: `rebuild` judges once at its end.
    pub async fn keep_unjudged(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.check_loaded()?;
        self.put_class_lines();
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

    /// Lines about a whole class belong to no unit: they stand under an empty name.
    fn put_class_lines(&mut self) {
        if !std::mem::take(&mut self.again.classes) {
            return;
        }
        let nobody = UnitName::from("");
        self.judged.cleared.add(&(&nobody, CLASS_LINES));
        for finding in class_wide(&self.world.ground()) {
            self.judged.findings.add(&finding_row(&finding, &nobody, CLASS_LINES));
        }
    }

    fn keep_histories(&mut self) {
        for unit in std::mem::take(&mut self.changed_units) {
            let Some(history) = self.units.get(&unit) else { continue };
            self.judged.histories.add(&UnitHistoryRow {
                unit,
                days: hex::encode(history.days.to_bytes()),
                weather: hex::encode(history.weather.to_bytes()),
                holds: json(&history.holds),
            });
        }
    }

    /// Judges again what administration changed: whole units, or the whole book.
    pub async fn judge_again(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let again = std::mem::take(&mut self.again);
        if !again.is_nothing() {
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
        let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
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
        judged.findings.add(&finding_row(finding, &key.unit, subject));
    }
}

fn finding_row(finding: &Finding, unit: &UnitName, subject: &str) -> FindingRow {
    FindingRow {
        key: finding.key.clone(),
        unit: unit.clone(),
        subject: subject.to_owned(),
        rule: finding.rule,
        device: finding.device.clone(),
        class: finding.class.clone(),
        since: finding.since,
        until: finding.until,
        severity: finding.severity,
        rank: finding.rank,
        data: json(finding),
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

/// Everything judged at once from dossiers in hand, with nothing written: for `--as-of` and for checking.
pub fn judge_batch<'a>(
    world: &World,
    units: &BTreeMap<UnitName, UnitHistory>,
    dossiers: impl Iterator<Item = (&'a DossierKey, &'a Dossier)>,
    runs: &BTreeMap<UnitName, Vec<RunFact>>,
) -> Judgement {
    let mut all = Judgement { findings: class_wide(&world.ground()), ..Judgement::default() };
    let blank = UnitHistory::default();
    for (key, dossier) in dossiers {
        let clock = clock(world, &key.unit, units.get(&key.unit));
        let weather = &units.get(&key.unit).unwrap_or(&blank).weather;
        let runs = runs.get(&key.unit).map_or(&[][..], Vec::as_slice);
        let judgement = judge(key, dossier, Beside { days: &clock, weather, runs }, &world.ground());
        all.findings.extend(judgement.findings);
        all.bypasses.extend(judgement.bypasses);
    }
    all
}
