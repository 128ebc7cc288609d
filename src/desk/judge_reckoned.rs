//! Which dossiers say something else under new class figures: found from outlines, without the facts.
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use sqlx::SqliteConnection;
use tokio::task::JoinHandle;

use super::{
    cabinet::Prints,
    cores::on_every_core,
    draft::UnitHistory,
    judge::{clock, earlier_lives, print},
    judge_again::{histories_of, with_linked},
    parts::{self, Packed},
    world::World,
};
use crate::{
    base::UnitName,
    rules::{Beside, DossierKey, dossier::Subject, judge::judge_reckoned, outline::Outline},
};

/// Some units' devices in outline, with what the file has of the judgements of all their dossiers.
pub struct Reckoning {
    world: Arc<World>,
    histories: BTreeMap<UnitName, UnitHistory>,
    all: Vec<One>,
    /// Devices of other units that theirs are judged by.
    others: BTreeMap<DossierKey, Packed>,
}

struct One {
    key: DossierKey,
    stored: Prints,
    packed: Packed,
    /// `None`: not unpacked yet, or no device.
    outlines: Option<Vec<Outline>>,
    says_the_same: bool,
    damaged: Option<sqlx::Error>,
}

/// The dossiers to be judged in full, and the histories of their units.
type ToJudge = (Vec<(DossierKey, Prints)>, BTreeMap<UnitName, UnitHistory>);

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
        let mut packed: BTreeMap<DossierKey, Packed> =
            parts::outlines_of_units(db, units).await?.into_iter().collect();
        let one = |(key, stored)| {
            let packed = packed.remove(&key).unwrap_or_default();
            One { key, stored, packed, outlines: None, says_the_same: false, damaged: None }
        };
        let all = parts::prints_of_units(db, units).await?.into_iter().map(one).collect();
        let histories = histories_of(db, &known).await?;
        Ok(Self { world, histories, all, others: others.into_iter().collect() })
    }

    pub fn under_way(self) -> JoinHandle<Result<ToJudge, sqlx::Error>> {
        tokio::task::spawn_blocking(move || self.reckoned())
    }

    fn reckoned(mut self) -> Result<ToJudge, sqlx::Error> {
        on_every_core(&mut self.all, |some| some.iter_mut().for_each(One::unpack));
        if let Some(why) = self.all.iter_mut().find_map(|one| one.damaged.take()) {
            return Err(why);
        }
        let lives = self.lives();
        let blank = UnitHistory::default();
        let (world, histories) = (&self.world, &self.histories);
        on_every_core(&mut self.all, |some| {
            for of_unit in some.chunk_by_mut(|a, b| a.key.unit == b.key.unit) {
                let Some(unit) = of_unit.first().map(|one| one.key.unit.clone()) else { continue };
                let history = histories.get(&unit).unwrap_or(&blank);
                let (days, weather) = (clock(world, &unit, Some(history)), &history.weather);
                for one in of_unit {
                    let earlier = lives.get(&one.key).map_or(&[][..], Vec::as_slice);
                    one.judge(world, Beside { days: &days, weather, runs: &[], earlier });
                }
            }
        });
        let again = self.all.into_iter().filter(|one| !one.says_the_same);
        Ok((again.map(|one| (one.key, one.stored)).collect(), self.histories))
    }

    fn lives(&self) -> BTreeMap<DossierKey, Vec<crate::rules::earlier::Earlier>> {
        if self.world.moved.is_empty() {
            return BTreeMap::new();
        }
        let own: BTreeMap<&DossierKey, &One> = self.all.iter().map(|one| (&one.key, one)).collect();
        earlier_lives(&self.world, &self.histories, self.all.iter().map(|one| &one.key), |key| {
            let here = own.get(key).and_then(|one| one.outlines.clone());
            here.or_else(|| self.others.get(key)?.outlines().ok())
        })
    }
}

impl One {
    fn unpack(&mut self) {
        if matches!(self.key.subject, Subject::Device(_)) {
            match std::mem::take(&mut self.packed).outlines() {
                Ok(outlines) => self.outlines = Some(outlines),
                Err(why) => self.damaged = Some(why),
            }
        }
    }

    fn judge(&mut self, world: &World, beside: Beside<'_>) {
        let Some(outlines) = &self.outlines else {
            self.says_the_same = self.stored.idle;
            return;
        };
        let (found, rests) = judge_reckoned(&self.key, outlines, beside, &world.ground());
        let mut prints: Vec<i64> = found.iter().map(print).collect();
        prints.sort_unstable();
        self.says_the_same = prints == self.stored.reckoned && rests == self.stored.rests;
        self.outlines = None;
    }
}
