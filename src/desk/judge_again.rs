//! Judging again what administration or new class figures changed: whole units, or the whole book. Unpacking and judging
//! are reckoning alone, so every core has its share; what is said as before is not written again.
use std::{
    collections::{BTreeMap, BTreeSet, VecDeque},
    sync::Arc,
};

use sqlx::{Row, SqliteConnection};

use super::{
    cabinet::{Kept, Prints},
    cores::{cores, on_every_core},
    draft::{Draft, UnitHistory},
    judge::{clock, earlier_lives, judge_kept},
    judge_reckoned::Reckoning,
    judged_rows::put_changes,
    load,
    parts::{self, Packed},
    runs::{Watch, runs_in},
    tables::json,
    world::World,
};
use crate::{
    base::{Instant, UnitName},
    roster::Roster,
    rules::{
        DossierKey, Judgement,
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
        let every = again.everything || again.reckoned;
        let units: Vec<String> = if every {
            sqlx::query_scalar("SELECT DISTINCT unit FROM dossier ORDER BY unit").fetch_all(&mut *db).await?
        } else {
            with_linked(&self.world.moved, &again.units).iter().map(ToString::to_string).collect()
        };
        if again.reckoned && !again.everything && again.units.is_empty() {
            return self.reckon_again(db, &units).await;
        }
        let mut under_way = None;
        for units in units.chunks(UNITS_AT_ONCE) {
            let units: Vec<&str> = units.iter().map(String::as_str).collect();
            let known = with_linked(&self.world.moved, &named(&units));
            let (again, histories) =
                (parts::prints_of_units(db, &units).await?, histories_of(db, &known).await?);
            self.next(db, &mut under_way, again, histories).await?;
        }
        self.take_up(db, under_way).await
    }

    /// Every dossier by its outlines; in full only where these have it say something else.
    async fn reckon_again(&mut self, db: &mut SqliteConnection, units: &[String]) -> Result<(), sqlx::Error> {
        let (mut batches, mut reckonings, mut under_way) =
            (units.chunks(UNITS_AT_ONCE), VecDeque::new(), None);
        loop {
            // One for each core, and one to go on with.
            while reckonings.len() <= cores()
                && let Some(units) = batches.next()
            {
                let units: Vec<&str> = units.iter().map(String::as_str).collect();
                reckonings.push_back(Reckoning::read(db, Arc::clone(&self.world), &units).await?.under_way());
            }
            let Some(first) = reckonings.pop_front() else { break };
            let (again, histories) = joined(first).await??;
            let again = parts::prints_of(db, &again).await?;
            self.next(db, &mut under_way, again, histories).await?;
        }
        self.take_up(db, under_way).await
    }

    /// Some are judged while the next are read.
    async fn next(
        &mut self,
        db: &mut SqliteConnection,
        under_way: &mut Option<UnderWay>,
        again: Vec<(DossierKey, Prints)>,
        histories: Histories,
    ) -> Result<(), sqlx::Error> {
        let next = read(db, &self.world, again, histories).await?;
        self.take_up(db, under_way.take()).await?;
        *under_way = Some(judged(next, Arc::clone(&self.world)));
        Ok(())
    }

    /// Writes what came of it.
    async fn take_up(
        &mut self,
        db: &mut SqliteConnection,
        judged: Option<UnderWay>,
    ) -> Result<(), sqlx::Error> {
        let Some(judged) = judged else { return Ok(()) };
        for mut one in joined(judged).await? {
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

async fn joined<T>(work: tokio::task::JoinHandle<T>) -> Result<T, sqlx::Error> {
    work.await.map_err(|why| sqlx::Error::Protocol(format!("judging stopped: {why}")))
}

type Histories = BTreeMap<UnitName, UnitHistory>;
type Lives = BTreeMap<DossierKey, Vec<Earlier>>;

/// Dossiers with their units' histories, and the lives of parts that came from other units.
struct Loaded {
    all: Vec<Again>,
    histories: Histories,
    lives: Lives,
}

fn named(units: &[&str]) -> BTreeSet<UnitName> {
    units.iter().map(|unit| UnitName::from(*unit)).collect()
}

/// With the units that their parts went to or came from: these are judged by each other.
pub(super) fn with_linked(moved: &[Moved], units: &BTreeSet<UnitName>) -> BTreeSet<UnitName> {
    let of = |unit: &UnitName| moved.iter().flat_map(|m| linked(moved, unit, &m.device)).collect::<Vec<_>>();
    units.iter().flat_map(of).chain(units.iter().cloned()).collect()
}

/// `histories`: of their units, and of those that these are linked with.
async fn read(
    db: &mut SqliteConnection,
    world: &World,
    again: Vec<(DossierKey, Prints)>,
    histories: Histories,
) -> Result<Loaded, sqlx::Error> {
    let lives = lives(db, world, &again, &histories).await?;
    let mut all: Vec<Again> = parts::to_judge_again(db, again).await?.into_iter().map(Again::of).collect();
    on_every_core(&mut all, |some| Again::unpack(some, &world.roster));
    let mut runs = runs_of(db, &all).await?;
    for one in all.iter_mut().filter(|one| one.key.subject == Subject::GroundProtection) {
        if let Some(watch) = &mut one.kept.watch {
            watch.runs = runs.remove(&one.key.unit).unwrap_or_default();
        }
    }
    Ok(Loaded { all, histories, lives })
}

fn judged(loaded: Loaded, world: Arc<World>) -> UnderWay {
    tokio::task::spawn_blocking(move || {
        let Loaded { mut all, histories, lives } = loaded;
        on_every_core(&mut all, |some| Again::judge(some, &world, &histories, &lives));
        all
    })
}

async fn lives(
    db: &mut SqliteConnection,
    world: &World,
    again: &[(DossierKey, Prints)],
    histories: &Histories,
) -> Result<Lives, sqlx::Error> {
    let own: BTreeSet<UnitName> = again.iter().map(|(key, _)| key.unit.clone()).collect();
    let linked = with_linked(&world.moved, &own);
    if world.moved.is_empty() || own.is_empty() {
        return Ok(Lives::new());
    }
    let names: Vec<&str> = linked.iter().map(UnitName::as_str).collect();
    let packed: BTreeMap<DossierKey, Packed> =
        parts::outlines_of_units(db, &names).await?.into_iter().collect();
    let outlines = |key: &DossierKey| packed.get(key)?.outlines().ok();
    Ok(earlier_lives(world, histories, again.iter().map(|(key, _)| key), outlines))
}

impl Again {
    fn of((key, stored, packed): (DossierKey, Prints, Packed)) -> Self {
        Self { key, stored: Some(stored), packed, kept: Kept::default(), said: None, damaged: None }
    }

    fn unpack(some: &mut [Self], roster: &Roster) {
        for one in some {
            match std::mem::take(&mut one.packed).unpacked() {
                Ok(dossier) => one.kept.dossier = dossier,
                Err(why) => one.damaged = Some(why),
            }
            if one.key.subject == Subject::GroundProtection {
                one.kept.watch = Some(Watch::new(windows(&one.key.unit, &one.kept.dossier, roster)));
            }
        }
    }

    fn judge(some: &mut [Self], world: &World, histories: &Histories, lives: &Lives) {
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

pub(super) async fn histories_of(
    db: &mut SqliteConnection,
    units: &BTreeSet<UnitName>,
) -> Result<Histories, sqlx::Error> {
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
