//! Fetching dossiers, and of each no more than its judging will look at.
use std::collections::BTreeSet;

use sqlx::{Row as _, SqliteConnection, sqlite::SqliteRow};

use super::{
    cabinet::Kept,
    draft::Draft,
    judge::clock,
    load::fetch,
    parts,
    wanted::{Need, Wanted},
};
use crate::{
    base::{Day, Instant, UnitName},
    reports::validity,
    rules::{DossierKey, Fact, chunk::Chunk, dossier::Subject},
};

impl Draft {
    /// The dossiers that pages add to, and of the same units those that a changed service-day clock may change.
    pub(super) async fn load_dossiers(
        &mut self,
        db: &mut SqliteConnection,
        wanted: &Wanted,
    ) -> Result<(), sqlx::Error> {
        let dependent =
            if self.unjudged { BTreeSet::new() } else { self.dependent_on_days(db, wanted).await? };
        let mut missing = Vec::new();
        for key in wanted.dossiers.keys().chain(&dependent) {
            if self.dossiers.contains_key(key) {
                continue;
            }
            match self.cabinet.take(key) {
                Some(kept) => drop(self.dossiers.insert(key.clone(), kept)),
                None => missing.push((&key.unit, key.subject.to_string())),
            }
        }
        for row in fetch(db, parts::ENDS, &missing).await? {
            let (key, kept) = parts::kept(&row)?;
            self.dossiers.insert(key, kept);
        }
        let least = if self.unjudged { Need::ToAmend } else { Need::ToJudge };
        let mut whole: BTreeSet<&DossierKey> =
            wanted.dossiers.iter().filter(|(_, need)| **need >= least).map(|(key, _)| key).collect();
        if !self.unjudged {
            for key in &dependent {
                // Service days change what is reckoned only; of other subjects there are no outlines.
                match (&key.subject, self.dossiers.get_mut(key)) {
                    (Subject::Device(_), Some(kept)) => kept.to_reckon = true,
                    _ => drop(whole.insert(key)),
                }
            }
            // Where a part went round, what came in on one unit is judged on another, to which nothing came.
            for key in &whole {
                self.dossiers.entry((*key).clone()).and_modify(|kept| kept.to_judge = true);
            }
            self.go_back(db, wanted).await?;
            let by_outline = |key: &DossierKey| wanted.dossiers.get(key) == Some(&Need::Outline);
            self.load_outlines(db, |key, kept| kept.to_reckon || by_outline(key)).await?;
        }
        self.load_the_rest(db, |key, _| whole.contains(key)).await
    }

    /// What others told of a device at about the same time may lie in an earlier part.
    async fn go_back(&mut self, db: &mut SqliteConnection, wanted: &Wanted) -> Result<(), sqlx::Error> {
        let too_late = |key: &DossierKey, kept: &Kept| {
            let from = wanted.told.get(key).map(|at| at.minus(validity::SAME_TIME));
            let first = kept.dossier.facts().first();
            kept.first_part > 0 && from.is_some_and(|from| first.is_none_or(|first| first.at > from))
        };
        loop {
            let late = self.dossiers.iter_mut().filter(|(key, kept)| too_late(key, kept));
            let mut late: Vec<(&DossierKey, &mut Kept)> = late.collect();
            if late.is_empty() {
                return Ok(());
            }
            let asked: Vec<_> = late
                .iter()
                .map(|(key, kept)| (&key.unit, key.subject.to_string(), kept.first_part))
                .collect();
            let sql = "SELECT c.key AS n, p.facts FROM json_each(?) c JOIN dossier_part p
                ON p.unit = c.value->>0 AND p.subject = c.value->>1 AND p.part = c.value->>2 - 1";
            let mut before: Vec<Vec<Fact>> = vec![Vec::new(); late.len()];
            for row in fetch(db, sql, &asked).await? {
                if let Some(facts) = before.get_mut(place(&row)?) {
                    *facts = parts::unpack(row.try_get("facts")?)?;
                }
            }
            late.iter_mut().zip(before).for_each(|((_, kept), facts)| kept.go_back(facts));
        }
    }

    /// The outlines that are not in hand, of those devices that are wanted.
    pub(super) async fn load_outlines(
        &mut self,
        db: &mut SqliteConnection,
        wanted: impl Fn(&DossierKey, &Kept) -> bool,
    ) -> Result<(), sqlx::Error> {
        let some = self.dossiers.iter_mut();
        let some = some.filter(|(key, kept)| kept.outlined.missing() > 0 && wanted(key, kept));
        let mut some: Vec<(&DossierKey, &mut Kept)> = some.collect();
        let asked: Vec<_> = some
            .iter()
            .map(|(key, kept)| (&key.unit, key.subject.to_string(), kept.outlined.missing()))
            .collect();
        let sql = "SELECT c.key AS n, o.packed FROM json_each(?) c JOIN dossier_outline o
            ON o.unit = c.value->>0 AND o.subject = c.value->>1 AND o.chunk < c.value->>2 ORDER BY n, o.chunk";
        let mut earlier: Vec<Vec<Chunk>> = vec![Vec::new(); some.len()];
        for row in fetch(db, sql, &asked).await? {
            if let Some(chunks) = earlier.get_mut(place(&row)?) {
                chunks.push(parts::unpack_chunk(row.try_get("packed")?)?);
            }
        }
        some.iter_mut().zip(earlier).for_each(|((_, kept), chunks)| kept.outlined.complete(chunks));
        Ok(())
    }

    /// The parts that are not in hand, of those dossiers that are wanted whole.
    pub(super) async fn load_the_rest(
        &mut self,
        db: &mut SqliteConnection,
        wanted: impl Fn(&DossierKey, &Kept) -> bool,
    ) -> Result<(), sqlx::Error> {
        let partial = self.dossiers.iter_mut().filter(|(key, kept)| kept.first_part > 0 && wanted(key, kept));
        let mut partial: Vec<(&DossierKey, &mut Kept)> = partial.collect();
        let asked: Vec<_> =
            partial.iter().map(|(key, kept)| (&key.unit, key.subject.to_string(), kept.first_part)).collect();
        let sql = "SELECT c.key AS n, p.facts FROM json_each(?) c JOIN dossier_part p
            ON p.unit = c.value->>0 AND p.subject = c.value->>1 AND p.part < c.value->>2 ORDER BY n, p.part";
        let mut earlier: Vec<Vec<Vec<Fact>>> = vec![Vec::new(); partial.len()];
        for row in fetch(db, sql, &asked).await? {
            if let Some(of_dossier) = earlier.get_mut(place(&row)?) {
                of_dossier.push(parts::unpack(row.try_get("facts")?)?);
            }
        }
        partial.iter_mut().zip(earlier).for_each(|((_, kept), parts)| kept.complete(parts));
        Ok(())
    }

    /// Dossiers of the wanted units that new service days or weather may change.
    async fn dependent_on_days(
        &self,
        db: &mut SqliteConnection,
        wanted: &Wanted,
    ) -> Result<BTreeSet<DossierKey>, sqlx::Error> {
        let changed: Vec<_> =
            wanted.units.iter().filter_map(|(unit, days)| self.change_of_days(wanted, unit, days)).collect();
        // As `Rests::stands` has it.
        let sql = "SELECT d.unit, d.subject FROM json_each(?) c JOIN dossier d ON d.unit = c.value->>0
            WHERE d.rests_before > c.value->>1 OR d.waits_for <= c.value->>2 OR (d.on_weather AND c.value->>3)";
        fetch(db, sql, &changed).await?.iter().map(parts::key).collect()
    }

    /// From when on new report days change a unit's service days (never: the end of time), how many there are then, and
    /// whether its weather changes. `None`: nothing does.
    fn change_of_days<'a>(
        &self,
        wanted: &Wanted,
        unit: &'a UnitName,
        days: &BTreeSet<Day>,
    ) -> Option<(&'a UnitName, Instant, i64, bool)> {
        let known = self.units.get(unit)?;
        let told = wanted.weather.get(unit);
        let wet =
            told.is_some_and(|told| told.iter().any(|(day, wet)| known.weather.would_change(*day, *wet)));
        let Some(first) = days.iter().filter_map(|day| known.days.first_change(*day)).min() else {
            return wet.then_some((unit, Instant::MAX, 0, wet));
        };
        let mut then = known.clone();
        for day in days {
            then.days.insert(*day);
        }
        let in_all = clock(&self.world, unit, Some(&then)).up_to(Day(i32::MAX));
        Some((unit, self.world.railway.zone.start_of(first), in_all, wet))
    }

    /// What was in hand goes back into the cabinet.
    pub(super) fn put_back(&mut self) {
        for (key, kept) in std::mem::take(&mut self.dossiers) {
            self.cabinet.put(key, kept);
        }
        for (unit, history) in std::mem::take(&mut self.units) {
            self.cabinet.put_unit(unit, history);
        }
    }
}

/// The place in what was asked for to which a row belongs.
fn place(row: &SqliteRow) -> Result<usize, sqlx::Error> {
    Ok(usize::try_from(row.try_get::<i64, _>("n")?).unwrap_or(usize::MAX))
}
