//! Judging what a group touched, with the very function that batch judging uses.
use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};
use sqlx::SqliteConnection;

use super::{
    cabinet::{Kept, Prints},
    cores::on_every_core,
    draft::{Draft, UnitHistory},
    judged_rows::{Changed, dossier_row, finding_row, put_changes},
    tables::{UnitHistoryRow, json},
    world::World,
};
use crate::{
    base::UnitName,
    rules::{
        Beside, Dossier, DossierKey, Judgement,
        class_wide::class_wide,
        dossier::Subject,
        earlier::{Earlier, earlier, linked},
        fact::RunFact,
        judge::{judge, judge_reckoned},
        outline::{Outline, outlines},
        quiet::Ends,
        service_days::ServiceDays,
        weather::WeatherDays,
        windows::watched_until,
    },
};

/// The subject that lines about a whole class are kept under.
const CLASS_LINES: &str = "class";

/// Dossiers written in one go when nothing is judged.
const DOSSIERS_AT_ONCE: usize = 4_096;

impl Draft {
    /// Judges what has to be judged of the loaded dossiers. What came of it still waits in `judged`, and other rows may
    /// wait yet.
    pub async fn judge_unwritten(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.check_loaded()?;
        let first_runs = self.first_runs();
        for (key, kept) in &mut self.dossiers {
            kept.look_at_news(key, first_runs.get(&key.unit).copied(), &self.world.ground());
        }
        self.load_the_rest(db, |_, kept| kept.to_judge).await?;
        self.load_outlines(db, |_, kept| kept.to_reckon && !kept.to_judge).await?;
        self.watch_runs(db).await?;
        self.keep_histories();
        for mut turn in judged_and_packed(&self.world, &self.units, &mut self.dossiers) {
            if let Some((judgement, prints, each)) = turn.said.take() {
                put_changes(&mut self.judged, turn.key, &mut turn.kept.stored, &judgement, (prints, &each));
            }
            turn.changed.put(&mut self.judged, turn.key);
        }
        self.put_back();
        Ok(())
    }

    /// Writes what waits in the cabinet, unjudged: `rebuild` judges once at its end.
    pub async fn write_unjudged(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        self.units = self.cabinet.take_units();
        self.keep_histories();
        self.units.clear();
        self.dossiers = self.cabinet.take_all();
        self.load_the_rest(db, |_, kept| kept.wants_the_rest()).await?;
        for (n, (key, mut kept)) in std::mem::take(&mut self.dossiers).into_iter().enumerate() {
            if kept.stored.is_none() {
                self.judged.dossiers.add(&dossier_row(&key, &Prints::default()));
            }
            Changed::of(&key, &mut kept).put(&mut self.judged, &key);
            if n % DOSSIERS_AT_ONCE == 0 {
                self.judged.script()?.run(&mut *db).await?;
            }
        }
        self.judged.script()?.run(db).await
    }

    /// A group whose pages touch what was not loaded is undone; replayed one by one, each loads its own.
    pub(super) fn check_loaded(&self) -> Result<(), sqlx::Error> {
        match &self.unloaded {
            None => Ok(()),
            Some(what) => {
                Err(sqlx::Error::Protocol(format!("{what} was written to without having been loaded")))
            }
        }
    }

    /// Lines about a whole class belong to no unit: they stand under an empty name, and follow from the class figures, the
    /// schedules and the thresholds in force alone.
    pub(super) fn put_class_lines(&mut self) {
        let nobody = DossierKey { unit: UnitName::from(""), subject: Subject::Unit };
        self.judged.cleared.add(&(&nobody.unit, CLASS_LINES));
        for finding in class_wide(&self.world.ground()) {
            let print = print(&finding);
            self.judged.findings.add(&finding_row(&nobody, CLASS_LINES, &finding, print));
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
}

/// The lives on other units of parts that were put in, for each device of which any was.
pub(super) fn earlier_lives<'a>(
    world: &World,
    units: &BTreeMap<UnitName, UnitHistory>,
    keys: impl Iterator<Item = &'a DossierKey>,
    outlines: impl Fn(&DossierKey) -> Option<Vec<Outline>>,
) -> BTreeMap<DossierKey, Vec<Earlier>> {
    let mut lives = BTreeMap::new();
    for key in keys.filter(|_| !world.moved.is_empty()) {
        let Subject::Device(tag) = &key.subject else { continue };
        let linked = linked(&world.moved, &key.unit, tag);
        if linked.len() > 1 {
            let clocks: BTreeMap<UnitName, ServiceDays> = linked
                .into_iter()
                .map(|unit| (unit.clone(), clock(world, &unit, units.get(&unit))))
                .collect();
            let there = |unit: &UnitName| DossierKey { unit: unit.clone(), subject: key.subject.clone() };
            let slots: BTreeMap<&UnitName, Vec<Outline>> =
                clocks.keys().filter_map(|unit| Some((unit, outlines(&there(unit))?))).collect();
            let slot = |unit: &UnitName| Some((slots.get(unit)?.as_slice(), clocks.get(unit)?));
            lives.insert(key.clone(), earlier(&key.unit, &world.railway.zone, &slot));
        }
    }
    lives
}

/// A unit's service-day clock as the book now has it.
pub fn clock(world: &World, unit: &UnitName, history: Option<&UnitHistory>) -> ServiceDays {
    let blank = UnitHistory::default();
    let history = history.unwrap_or(&blank);
    ServiceDays::of(world.roster.unit(unit), &history.days, &history.holds, &world.railway.zone)
}

/// Judges a dossier that is whole in hand.
pub(super) fn judge_kept(
    world: &World,
    key: &DossierKey,
    kept: &Kept,
    (days, weather): (&ServiceDays, &WeatherDays),
    earlier: &[Earlier],
) -> Judgement {
    let runs = kept.watch.as_ref().map_or(&[][..], |watch| watch.runs.as_slice());
    judge(key, &kept.dossier, Beside { days, weather, runs, earlier }, &world.ground())
}

/// Judges by its outlines what is reckoned of a device; what it said for certain stands, and news of that come to it.
fn reckon_kept(
    world: &World,
    key: &DossierKey,
    kept: &mut Kept,
    (days, weather): (&ServiceDays, &WeatherDays),
    earlier: &[Earlier],
) -> (Judgement, Prints, Vec<i64>) {
    let beside = Beside { days, weather, runs: &[], earlier };
    let (mut findings, rests) = judge_reckoned(key, &kept.outlined.all(), beside, &world.ground());
    let news = std::mem::take(&mut kept.certain_news);
    let ends = Ends::of(&news);
    findings.extend(news);
    let judgement = Judgement { findings, rests, ..Judgement::default() };
    let (now, each) = Prints::of(&judgement, kept);
    let mut prints = kept.stored.clone().unwrap_or_default();
    for gone in &prints.reckoned {
        if let Ok(place) = prints.findings.binary_search(gone) {
            prints.findings.remove(place);
        }
    }
    prints.findings.extend(now.findings);
    prints.findings.sort_unstable();
    (prints.reckoned, prints.rests, prints.ends) = (now.reckoned, rests, prints.ends.and(ends));
    (judgement, prints, each)
}

impl Prints {
    /// What is compared of a judgement, and with it each finding's print.
    pub(super) fn of(judgement: &Judgement, kept: &Kept) -> (Self, Vec<i64>) {
        let each: Vec<i64> = judgement.findings.iter().map(print).collect();
        let sorted = |mut prints: Vec<i64>| {
            prints.sort_unstable();
            prints
        };
        let with_rules = judgement.findings.iter().zip(&each);
        let reckoned = with_rules.filter(|(finding, _)| !finding.rule.is_certain()).map(|(_, print)| *print);
        let prints = Self {
            rests: judgement.rests,
            watched_until: kept.watch.as_ref().and_then(|watch| watched_until(watch.spans())),
            ends: Ends::of(&judgement.findings),
            reckoned: sorted(reckoned.collect()),
            findings: sorted(each.clone()),
            idle: judgement.idle,
            bypasses: if judgement.bypasses.is_empty() { 0 } else { print(&judgement.bypasses) },
        };
        (prints, each)
    }
}

/// Eight bytes of a digest: enough to tell what a rule says now from what it said before.
pub(super) fn print(said: &impl serde::Serialize) -> i64 {
    let digest = Sha256::digest(postcard::to_stdvec(said).unwrap_or_default());
    digest.first_chunk::<8>().map_or(0, |first| i64::from_be_bytes(*first))
}

/// A dossier whose turn it is: what a judgement says of it, and what of it the file does not have.
struct Turn<'a> {
    key: &'a DossierKey,
    kept: &'a mut Kept,
    said: Option<(Judgement, Prints, Vec<i64>)>,
    changed: Changed,
}

/// Fewer dossiers than this are judged sooner than another core is woken.
const WORTH_SHARING: usize = 64;

/// Judges what has to be judged of dossiers in hand and packs what changed of them: reckoning alone, on every core.
fn judged_and_packed<'a>(
    world: &World,
    units: &BTreeMap<UnitName, UnitHistory>,
    dossiers: &'a mut BTreeMap<DossierKey, Kept>,
) -> Vec<Turn<'a>> {
    let lives = earlier_lives(world, units, dossiers.keys(), |key| {
        dossiers.get(key).map(|kept| outlines(kept.dossier.facts()))
    });
    let blank = UnitHistory::default();
    let one = |turn: &mut Turn<'_>, days: &ServiceDays, weather: &WeatherDays| {
        let earlier = lives.get(turn.key).map_or(&[][..], Vec::as_slice);
        let (to_judge, to_reckon) = (turn.kept.to_judge, turn.kept.to_reckon);
        turn.changed = Changed::of(turn.key, turn.kept);
        if to_judge {
            let judgement = judge_kept(world, turn.key, turn.kept, (days, weather), earlier);
            let (prints, each) = Prints::of(&judgement, turn.kept);
            turn.said = Some((judgement, prints, each));
        } else if to_reckon {
            turn.said = Some(reckon_kept(world, turn.key, turn.kept, (days, weather), earlier));
        }
    };
    let some = |turns: &mut [Turn<'_>]| {
        for of_unit in turns.chunk_by_mut(|a, b| a.key.unit == b.key.unit) {
            let Some(unit) = of_unit.first().map(|turn| &turn.key.unit) else { continue };
            let history = units.get(unit).unwrap_or(&blank);
            let days = clock(world, unit, Some(history));
            of_unit.iter_mut().for_each(|turn| one(turn, &days, &history.weather));
        }
    };
    let turn = |(key, kept)| Turn { key, kept, said: None, changed: Changed::default() };
    let mut turns: Vec<Turn<'_>> = dossiers.iter_mut().map(turn).collect();
    if turns.iter().filter(|turn| turn.kept.to_judge || turn.kept.to_reckon).count() < WORTH_SHARING {
        some(&mut turns);
    } else {
        on_every_core(&mut turns, some);
    }
    turns
}

/// Everything judged at once from dossiers in hand, with nothing written: for `--as-of` and for checking.
pub fn judge_batch(
    world: &World,
    units: &BTreeMap<UnitName, UnitHistory>,
    dossiers: &BTreeMap<DossierKey, Dossier>,
    runs: &BTreeMap<UnitName, Vec<RunFact>>,
) -> Judgement {
    let mut all = Judgement { findings: class_wide(&world.ground()), ..Judgement::default() };
    let blank = UnitHistory::default();
    let lives = earlier_lives(world, units, dossiers.keys(), |key| {
        dossiers.get(key).map(|dossier| outlines(dossier.facts()))
    });
    for (key, dossier) in dossiers {
        let clock = clock(world, &key.unit, units.get(&key.unit));
        let weather = &units.get(&key.unit).unwrap_or(&blank).weather;
        let runs = runs.get(&key.unit).map_or(&[][..], Vec::as_slice);
        let judgement = judge(
            key,
            dossier,
            Beside { days: &clock, weather, runs, earlier: lives.get(key).map_or(&[][..], Vec::as_slice) },
            &world.ground(),
        );
        all.findings.extend(judgement.findings);
        all.bypasses.extend(judgement.bypasses);
    }
    all
}
