//! Who had a unit while its cutout stood open, or since it was last seen closed: read from the reports once, then kept
//! up to date in memory for as long as the spans stay the same.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{Row, SqliteConnection};

use super::{cabinet::Kept, draft::Draft, load, tables::json};
use crate::{
    base::{Instant, UnitName},
    reports::{
        Report,
        vocabulary::{Occasion, RunPosition},
    },
    rules::{DossierKey, dossier::Subject, fact::RunFact, windows::windows},
};

type Span = (Instant, Instant);

/// The spans of a ground-protection dossier, and the runs that overlap any of them, in order of their start.
#[derive(Clone, Debug, Default)]
pub struct Watch {
    spans: Vec<Span>,
    pub runs: Vec<RunFact>,
}

/// The run of a report of this group, and when it was over.
#[derive(Clone, Debug)]
pub struct NewRun {
    run: RunFact,
    over: Instant,
}

impl NewRun {
    pub fn of(report: &Report) -> Self {
        let over = report.run.as_ref().and_then(|r| r.ended).map_or(report.signed_at.at, |s| s.at);
        let run = RunFact {
            report: report.id,
            unit: report.unit.clone(),
            author: report.author.clone(),
            started: report.run_began().unwrap_or(report.signed_at.at),
            ended: Some(over),
            symbol: report.run.as_ref().and_then(|r| r.symbol.clone()),
            moved: moved(report.occasion, report.position),
            position: report.position,
        };
        Self { run, over }
    }
}

/// The unit moved under its own crew.
fn moved(occasion: Occasion, position: Option<RunPosition>) -> bool {
    occasion == Occasion::Run && position != Some(RunPosition::Dead)
}

impl Draft {
    /// When the first of each unit's new runs began.
    pub(super) fn first_runs(&self) -> BTreeMap<UnitName, Instant> {
        let mut first: BTreeMap<UnitName, Instant> = BTreeMap::new();
        for NewRun { run, .. } in &self.new_runs {
            let known = first.entry(run.unit.clone()).or_insert(run.started);
            *known = run.started.min(*known);
        }
        first
    }

    /// Brings the runs of every ground-protection dossier that will be judged up to date. Reads only for those whose
    /// spans are others than before; then the rows of this group's reports go into the file first.
    pub(super) async fn watch_runs(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let mut unread: Vec<(UnitName, Instant, Instant)> = Vec::new();
        for (key, kept) in &mut self.dossiers {
            if key.subject != Subject::GroundProtection || !kept.to_judge {
                continue;
            }
            let spans = windows(&key.unit, &kept.dossier, &self.world.roster);
            match &mut kept.watch {
                Some(watch) if watch.spans == spans => {
                    watch.take_up(self.new_runs.iter().filter(|new| new.run.unit == key.unit));
                }
                other => {
                    unread.extend(spans.iter().map(|(from, to)| (key.unit.clone(), *from, *to)));
                    *other = Some(Watch::new(spans));
                }
            }
        }
        self.new_runs.clear();
        if unread.is_empty() {
            return Ok(());
        }
        self.rows.script()?.run(&mut *db).await?;
        let spans: Vec<_> = unread.iter().map(|(unit, from, to)| (unit, *from, *to)).collect();
        for (unit, runs) in runs_in(db, &spans).await? {
            let kept = self.dossiers.get_mut(&DossierKey { unit, subject: Subject::GroundProtection });
            if let Some(Kept { watch: Some(watch), .. }) = kept {
                watch.runs = runs;
            }
        }
        Ok(())
    }
}

impl Watch {
    /// What has to be known of the runs that are not read yet.
    pub fn new(spans: Vec<Span>) -> Self {
        Self { spans, runs: Vec::new() }
    }

    pub fn spans(&self) -> &[Span] {
        &self.spans
    }

    fn take_up<'a>(&mut self, new: impl Iterator<Item = &'a NewRun>) {
        let overlaps =
            |new: &&NewRun| self.spans.iter().any(|(from, to)| new.run.started <= *to && new.over >= *from);
        let runs: Vec<RunFact> = new.filter(overlaps).map(|new| new.run.clone()).collect();
        if !runs.is_empty() {
            self.runs.extend(runs);
            self.runs.sort_by_key(|run| (run.started, run.report));
        }
    }
}

/// What overlaps a span began in it, or shortly before it, or is one of the few that lasted long: so that a span of
/// last week does not lead through years of a unit's runs. The index of the long ones says how long that is.
const OVERLAPPING: &str = "WITH span (unit, begin, until) AS MATERIALIZED (
        SELECT value->>0, value->>1, value->>2 FROM json_each(?)),
    overlapping (seq) AS (
        SELECT r.seq FROM span JOIN report r ON r.unit = span.unit
            AND r.started >= span.begin - 864000000000 AND r.started <= span.until
            WHERE coalesce(r.ended, r.signed_at) >= span.begin
        UNION SELECT r.seq FROM span JOIN report r ON r.unit = span.unit AND r.started < span.begin - 864000000000
            AND coalesce(r.ended, r.signed_at) - r.started > 864000000000
            WHERE coalesce(r.ended, r.signed_at) >= span.begin)
    SELECT r.id, r.unit, r.author, r.started, coalesce(r.ended, r.signed_at) AS ended, r.symbol, r.occasion, r.position
    FROM overlapping JOIN report r ON r.seq = overlapping.seq ORDER BY r.started, r.id";

/// The runs that overlap any of the spans, each once, by unit, in order of their start.
pub async fn runs_in(
    db: &mut SqliteConnection,
    spans: &[(&UnitName, Instant, Instant)],
) -> Result<BTreeMap<UnitName, Vec<RunFact>>, sqlx::Error> {
    let mut runs: BTreeMap<UnitName, Vec<RunFact>> = BTreeMap::new();
    if spans.is_empty() {
        return Ok(runs);
    }
    let mut seen = BTreeSet::new();
    for row in sqlx::query(OVERLAPPING).bind(json(&spans)).fetch_all(db).await? {
        let Ok(report) = row.try_get::<&str, _>("id")?.parse() else { continue };
        if !seen.insert(report) {
            continue;
        }
        let unit = UnitName::from(row.try_get::<&str, _>("unit")?);
        let position = row.try_get::<Option<&str>, _>("position")?.and_then(RunPosition::parse);
        let occasion = Occasion::parse(row.try_get("occasion")?).unwrap_or(Occasion::NotKnown);
        let run = RunFact {
            report,
            unit: unit.clone(),
            author: load::sign_in(&row, "author")?,
            started: Instant(row.try_get("started")?),
            ended: row.try_get::<Option<i64>, _>("ended")?.map(Instant),
            symbol: row.try_get("symbol")?,
            moved: moved(occasion, position),
            position,
        };
        runs.entry(unit).or_default().push(run);
    }
    Ok(runs)
}
