//! Which dossiers say something else under new class figures: found from outlines, without the facts.
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use sqlx::SqliteConnection;
use tokio::task::JoinHandle;

use super::{
    draft::UnitHistory,
    judge::{clock, earlier_lives, print},
    judge_again::{histories_of, with_linked},
    parts::{self, Packed, Reckoned, ToReckon},
    world::World,
};
use crate::{
    base::UnitName,
    rules::{
        Beside, DossierKey, dossier::Subject, earlier::Earlier, judge::judge_reckoned, outline::Outline,
    },
};

/// Some units' dossiers in outline, as they were read.
pub struct Reckoning {
    world: Arc<World>,
    histories: BTreeMap<UnitName, UnitHistory>,
    own: ToReckon,
    /// Devices of other units that theirs are judged by.
    others: BTreeMap<DossierKey, Packed>,
}

/// The dossiers to be judged in full, and the histories of their units.
type ToJudge = (Vec<DossierKey>, BTreeMap<UnitName, UnitHistory>);

impl Reckoning {
    pub async fn read(
        db: &mut SqliteConnection,
        world: Arc<World>,
        units: &[&str],
    ) -> Result<Self, sqlx::Error> {
        let own: BTreeSet<UnitName> = units.iter().map(|unit| UnitName::from(*unit)).collect();
        let known = with_linked(&world.moved, &own);
        let elsewhere: Vec<&str> = known.difference(&own).map(UnitName::as_str).collect();
        let others =
            if elsewhere.is_empty() { Vec::new() } else { parts::outlines_of_units(db, &elsewhere).await? };
        let own = ToReckon::read(db, units).await?;
        let histories = histories_of(db, &known).await?;
        Ok(Self { world, histories, own, others: others.into_iter().collect() })
    }

    /// On one core: whoever reads has several under way.
    pub fn under_way(self) -> JoinHandle<Result<ToJudge, sqlx::Error>> {
        tokio::task::spawn_blocking(move || self.reckoned())
    }

    fn reckoned(self) -> Result<ToJudge, sqlx::Error> {
        let Self { world, histories, own, others } = self;
        let all: Vec<One> = own.decoded()?.into_iter().map(One::unpacked).collect::<Result<_, _>>()?;
        let lives = lives(&world, &histories, &all, &others);
        let (blank, mut again) = (UnitHistory::default(), Vec::new());
        for of_unit in all.chunk_by(|a, b| a.file.key.unit == b.file.key.unit) {
            let Some(unit) = of_unit.first().map(|one| &one.file.key.unit) else { continue };
            let history = histories.get(unit).unwrap_or(&blank);
            let (days, weather) = (clock(&world, unit, Some(history)), &history.weather);
            again.extend(of_unit.iter().filter(|one| {
                let earlier = lives.get(&one.file.key).map_or(&[][..], Vec::as_slice);
                !one.says_the_same(&world, Beside { days: &days, weather, runs: &[], earlier })
            }));
        }
        Ok((again.into_iter().map(|one| one.file.key.clone()).collect(), histories))
    }
}

fn lives(
    world: &World,
    histories: &BTreeMap<UnitName, UnitHistory>,
    all: &[One],
    others: &BTreeMap<DossierKey, Packed>,
) -> BTreeMap<DossierKey, Vec<Earlier>> {
    if world.moved.is_empty() {
        return BTreeMap::new();
    }
    let own: BTreeMap<&DossierKey, &One> = all.iter().map(|one| (&one.file.key, one)).collect();
    earlier_lives(world, histories, all.iter().map(|one| &one.file.key), |key| {
        let here = own.get(key).and_then(|one| one.outlines.clone());
        here.or_else(|| others.get(key)?.outlines().ok())
    })
}

struct One {
    file: Reckoned,
    /// `None`: no device.
    outlines: Option<Vec<Outline>>,
}

impl One {
    fn unpacked(mut file: Reckoned) -> Result<Self, sqlx::Error> {
        let packed = std::mem::take(&mut file.outlines);
        let is_device = matches!(file.key.subject, Subject::Device(_));
        let outlines = is_device.then(|| packed.outlines()).transpose()?;
        Ok(Self { file, outlines })
    }

    fn says_the_same(&self, world: &World, beside: Beside<'_>) -> bool {
        let Some(outlines) = &self.outlines else { return self.file.idle };
        let (found, rests) = judge_reckoned(&self.file.key, outlines, beside, &world.ground());
        let mut prints: Vec<i64> = found.iter().map(print).collect();
        prints.sort_unstable();
        prints == self.file.reckoned && rests == self.file.rests
    }
}
