//! Judging again what administration or new class figures changed: whole units, or the whole book. Unpacking and judging
//! are reckoning alone, so every core has its share; what is said as before is not written again.
use std::{collections::BTreeMap, sync::Arc};

use sqlx::{Row, SqliteConnection};

use super::{
    cabinet::{Kept, Prints},
    cores::on_every_core,
    draft::{Draft, UnitHistory},
    judge::{clock, judge_kept, put_changes},
    load,
    parts::{self, Packed},
    runs::{Watch, runs_in},
    tables::json,
    world::World,
};
use crate::{
    base::{Instant, UnitName},
    rules::{DossierKey, Judgement, dossier::Subject, fact::RunFact, windows::windows},
};

/// Units judged again in one go: some two thousand dossiers of a railway's fleet.
const UNITS_AT_ONCE: usize = 32;

/// A dossier on its way through.
struct Again {
    key: DossierKey,
    stored: Option<Prints>,
    packed: Packed,
    kept: Kept,
    said: Option<(Judgement, Prints, Vec<i64>)>,
    damaged: Option<sqlx::Error>,
}

impl Draft {
    pub async fn judge_again(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let again = std::mem::take(&mut self.again);
        if again.is_nothing() {
            return Ok(());
        }
        // What was judged so far is judged otherwise from here on.
        self.cabinet.empty();
        let units: Vec<String> = if again.everything {
            sqlx::query_scalar("SELECT DISTINCT unit FROM dossier ORDER BY unit").fetch_all(&mut *db).await?
        } else {
            again.units.iter().map(|unit| unit.as_str().to_owned()).collect()
        };
        // Some are judged while the next are read.
        let mut under_way = None;
        for units in units.chunks(UNITS_AT_ONCE) {
            let units: Vec<&str> = units.iter().map(String::as_str).collect();
            let next = read(db, &units).await?;
            self.take_up(db, under_way.take()).await?;
            under_way = Some(judged(next, Arc::clone(&self.world)));
        }
        self.take_up(db, under_way).await
    }

    /// Writes what came of it.
    async fn take_up(
        &mut self,
        db: &mut SqliteConnection,
        judged: Option<UnderWay>,
    ) -> Result<(), sqlx::Error> {
        let Some(judged) = judged else { return Ok(()) };
        let all = judged.await.map_err(|why| sqlx::Error::Protocol(format!("judging stopped: {why}")))?;
        for mut one in all {
            match (one.damaged, one.said) {
                (Some(why), _) => return Err(why),
                (None, Some((judgement, prints, each))) => {
                    put_changes(&mut self.judged, &one.key, &mut one.stored, &judgement, (prints, &each));
                }
                (None, None) => {}
            }
        }
        self.judged.script()?.run(db).await
    }
}

type UnderWay = tokio::task::JoinHandle<Vec<Again>>;

/// Dossiers with their unit's histories.
type Loaded = (Vec<Again>, BTreeMap<UnitName, UnitHistory>);

async fn read(db: &mut SqliteConnection, units: &[&str]) -> Result<Loaded, sqlx::Error> {
    let histories = histories_of(db, units).await?;
    let all = parts::to_judge_again(db, units).await?;
    let mut all: Vec<Again> = all.into_iter().map(Again::of).collect();
    on_every_core(&mut all, Again::unpack);
    let mut runs = runs_of(db, &all).await?;
    for one in all.iter_mut().filter(|one| one.key.subject == Subject::GroundProtection) {
        if let Some(watch) = &mut one.kept.watch {
            watch.runs = runs.remove(&one.key.unit).unwrap_or_default();
        }
    }
    Ok((all, histories))
}

fn judged((mut all, histories): Loaded, world: Arc<World>) -> UnderWay {
    tokio::task::spawn_blocking(move || {
        on_every_core(&mut all, |some| Again::judge(some, &world, &histories));
        all
    })
}

impl Again {
    fn of((key, stored, packed): (DossierKey, Prints, Packed)) -> Self {
        Self { key, stored: Some(stored), packed, kept: Kept::default(), said: None, damaged: None }
    }

    fn unpack(some: &mut [Self]) {
        for one in some {
            match std::mem::take(&mut one.packed).unpacked() {
                Ok(dossier) => one.kept.dossier = dossier,
                Err(why) => one.damaged = Some(why),
            }
            if one.key.subject == Subject::GroundProtection {
                one.kept.watch = Some(Watch::new(windows(&one.kept.dossier)));
            }
        }
    }

    fn judge(some: &mut [Self], world: &World, histories: &BTreeMap<UnitName, UnitHistory>) {
        for of_unit in some.chunk_by_mut(|a, b| a.key.unit == b.key.unit) {
            let Some(unit) = of_unit.first().map(|one| one.key.unit.clone()) else { continue };
            let clock = clock(world, &unit, histories.get(&unit));
            for one in of_unit {
                let judgement = judge_kept(world, &one.key, &one.kept, &clock);
                let (prints, each) = Prints::of(&judgement, &one.kept);
                one.said = Some((judgement, prints, each));
                one.kept = Kept::default();
            }
        }
    }
}

async fn histories_of(
    db: &mut SqliteConnection,
    units: &[&str],
) -> Result<BTreeMap<UnitName, UnitHistory>, sqlx::Error> {
    let sql = "SELECT unit, days, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
    let rows = sqlx::query(sql).bind(json(&units)).fetch_all(db).await?;
    rows.iter()
        .map(|row| Ok((UnitName::from(row.try_get::<&str, _>("unit")?), load::history(row)?)))
        .collect()
}

async fn runs_of(
    db: &mut SqliteConnection,
    all: &[Again],
) -> Result<BTreeMap<UnitName, Vec<RunFact>>, sqlx::Error> {
    let watched = all.iter().filter_map(|one| Some((&one.key.unit, one.kept.watch.as_ref()?)));
    let spans: Vec<(&UnitName, Instant, Instant)> = watched
        .flat_map(|(unit, watch)| watch.spans().iter().map(move |(from, to)| (unit, *from, *to)))
        .collect();
    runs_in(db, &spans).await
}
