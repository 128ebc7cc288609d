//! Judging again what administration or new class figures changed: whole units, or the whole book. Unpacking and judging
//! are reckoning alone, so every core has its share; what is said as before is not written again.
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use sqlx::{Row, SqliteConnection};

use super::{
    cabinet::{Kept, Prints},
    cores::on_every_core,
    draft::{Draft, UnitHistory},
    judge::{clock, earlier_lives, judge_kept, put_changes},
    load,
    parts::{self, Packed},
    runs::{Watch, runs_in},
    tables::json,
    world::World,
};
use crate::{
    base::{Instant, UnitName},
    rules::{
        Dossier, DossierKey, Judgement,
        dossier::Subject,
        earlier::{Earlier, Moved, linked},
        fact::RunFact,
        windows::windows,
    },
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
        if again.everything || again.classes {
            self.put_class_lines();
        }
        // What was judged so far is judged otherwise from here on.
        self.cabinet.empty();
        let units: Vec<String> = if again.everything {
            sqlx::query_scalar("SELECT DISTINCT unit FROM dossier ORDER BY unit").fetch_all(&mut *db).await?
        } else {
            with_linked(&self.world.moved, &again.units).iter().map(ToString::to_string).collect()
        };
        // Some are judged while the next are read.
        let mut under_way = None;
        for units in units.chunks(UNITS_AT_ONCE) {
            let units: Vec<&str> = units.iter().map(String::as_str).collect();
            let next = read(db, &self.world.moved, &units).await?;
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

/// Dossiers with their units' histories, and those of other units that parts came from.
struct Loaded {
    all: Vec<Again>,
    histories: BTreeMap<UnitName, UnitHistory>,
    others: BTreeMap<DossierKey, Dossier>,
}

/// With the units that their parts went to or came from: these are judged by each other.
fn with_linked(moved: &[Moved], units: &BTreeSet<UnitName>) -> BTreeSet<UnitName> {
    let of = |unit: &UnitName| moved.iter().flat_map(|m| linked(moved, unit, &m.device)).collect::<Vec<_>>();
    units.iter().flat_map(of).chain(units.iter().cloned()).collect()
}

async fn read(db: &mut SqliteConnection, moved: &[Moved], units: &[&str]) -> Result<Loaded, sqlx::Error> {
    let own: BTreeSet<UnitName> = units.iter().map(|unit| UnitName::from(*unit)).collect();
    let known = with_linked(moved, &own);
    let names: Vec<&str> = known.iter().map(UnitName::as_str).collect();
    let histories = histories_of(db, &names).await?;
    let elsewhere: Vec<&str> = known.difference(&own).map(UnitName::as_str).collect();
    let others =
        if elsewhere.is_empty() { BTreeMap::new() } else { parts::dossiers_of_units(db, &elsewhere).await? };
    let all = parts::to_judge_again(db, units).await?;
    let mut all: Vec<Again> = all.into_iter().map(Again::of).collect();
    on_every_core(&mut all, Again::unpack);
    let mut runs = runs_of(db, &all).await?;
    for one in all.iter_mut().filter(|one| one.key.subject == Subject::GroundProtection) {
        if let Some(watch) = &mut one.kept.watch {
            watch.runs = runs.remove(&one.key.unit).unwrap_or_default();
        }
    }
    Ok(Loaded { all, histories, others })
}

fn judged(loaded: Loaded, world: Arc<World>) -> UnderWay {
    tokio::task::spawn_blocking(move || {
        let Loaded { mut all, histories, others } = loaded;
        let lives = lives(&all, &world, &histories, &others);
        on_every_core(&mut all, |some| Again::judge(some, &world, &histories, &lives));
        all
    })
}

type Lives = BTreeMap<DossierKey, Vec<Earlier>>;

fn lives(
    all: &[Again],
    world: &World,
    histories: &BTreeMap<UnitName, UnitHistory>,
    others: &BTreeMap<DossierKey, Dossier>,
) -> Lives {
    if world.moved.is_empty() {
        return Lives::new();
    }
    let known: BTreeMap<&DossierKey, &Dossier> =
        all.iter().map(|one| (&one.key, &one.kept.dossier)).chain(others).collect();
    let facts = |key: &DossierKey| known.get(key).map(|dossier| dossier.facts());
    earlier_lives(world, histories, all.iter().map(|one| &one.key), facts)
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

    fn judge(some: &mut [Self], world: &World, histories: &BTreeMap<UnitName, UnitHistory>, lives: &Lives) {
        let blank = UnitHistory::default();
        for of_unit in some.chunk_by_mut(|a, b| a.key.unit == b.key.unit) {
            let Some(unit) = of_unit.first().map(|one| one.key.unit.clone()) else { continue };
            let history = histories.get(&unit).unwrap_or(&blank);
            let days = clock(world, &unit, Some(history));
            for one in of_unit {
                let earlier = lives.get(&one.key).map_or(&[][..], Vec::as_slice);
                let judgement = judge_kept(world, &one.key, &one.kept, (&days, &history.weather), earlier);
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
    let sql =
        "SELECT unit, days, weather, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
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
