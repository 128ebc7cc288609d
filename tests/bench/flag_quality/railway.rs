//! A simulated fleet as the book would know it: lists read by the importers' readers, reports routed to dossiers.
use std::collections::{BTreeMap, HashMap};

use breakerbook::{
    base::{Instant, Tag, Zone},
    cli::simulate::{Filed, Fleet, Options, fleet::unit_name, lists, reports},
    people::People,
    roster::{self, Roster, UnitCard},
    rules::{
        Beside, ClassFigures, Dossier, DossierKey, Finding, Ground, Rule, Thresholds,
        dossier::Subject,
        figures::{Taken, figures_from, in_outline},
        judge,
        routing::{Source, route},
        service_days::{DaySet, ServiceDays},
        weather::WeatherDays,
    },
};

pub struct Railway {
    pub fleet: Fleet,
    pub filed: Vec<Filed>,
    pub zone: Zone,
    pub starts: Instant,
    roster: Roster,
    /// By unit.
    pub days: Vec<ServiceDays>,
    /// By pair; only pairs of which something was told.
    pub dossiers: Vec<(usize, DossierKey, Dossier)>,
    pub figures: ClassFigures,
}

impl Railway {
    pub fn of(options: &Options) -> Self {
        let fleet = Fleet::of(options);
        let filed = reports(&fleet);
        let zone = Zone::utc();
        let starts = zone.start_of(options.starts);
        let roster = roster_of(&fleet, starts);
        let units = fleet.units.len();
        let mut reported = vec![DaySet::default(); units];
        for one in arrived(&filed) {
            reported[one.unit].insert(zone.day_of(one.report.signed_at.at));
        }
        let clock = |unit: usize, reported: &DaySet| {
            ServiceDays::of(roster.unit(&unit_name(unit)), reported, &[], &zone)
        };
        let days = reported.iter().enumerate().map(|(unit, reported)| clock(unit, reported)).collect();
        let dossiers = dossiers(&fleet, &filed, &roster);
        let as_of = figures_as_of(options);
        let last = zone.day_of(as_of);
        let up_to: BTreeMap<_, _> = reported
            .iter()
            .enumerate()
            .map(|(unit, reported)| (unit_name(unit), clock(unit, &reported.up_to(last))))
            .collect();
        let known: BTreeMap<_, _> =
            dossiers.iter().map(|(_, key, dossier)| (key.clone(), dossier.clone())).collect();
        let (pairs, cranked) = in_outline(&known);
        let (people, thresholds) = (People::default(), settings());
        let ground =
            Ground { roster: &roster, people: &people, zone: &zone, figures: None, thresholds: &thresholds };
        let figures =
            figures_from(&Taken { as_of, up_to_seq: u64::MAX, ground: &ground }, &up_to, &pairs, &cranked);
        Self { fleet, filed, zone, starts, roster, days, dossiers, figures }
    }

    pub fn unit(&self, unit: usize) -> &UnitCard {
        self.roster.unit(&unit_name(unit)).unwrap()
    }

    /// What *burst* and *often* find, sorted by key.
    pub fn judged(&self) -> Vec<Finding> {
        let (people, thresholds, weather) = (People::default(), settings(), WeatherDays::default());
        let (zone, figures) = (&self.zone, Some(&self.figures));
        let ground = Ground { roster: &self.roster, people: &people, zone, figures, thresholds: &thresholds };
        let mut all = Vec::new();
        for (pair, key, dossier) in &self.dossiers {
            let days = &self.days[self.fleet.pairs[*pair].unit];
            all.extend(
                judge(key, dossier, Beside { days, weather: &weather, runs: &[], earlier: &[] }, &ground)
                    .findings
                    .into_iter()
                    .filter(counts),
            );
        }
        all.sort_by(|a, b| a.key.cmp(&b.key));
        all
    }
}

/// Those shipped, or with others put in their place: `FLAG_SET=burst_ratio=4,often_ratio=3`.
pub fn settings() -> Thresholds {
    let mut set = Thresholds::default();
    let typed = std::env::var("FLAG_SET").unwrap_or_default();
    for (name, value) in typed.split(',').filter_map(|one| one.split_once('=')) {
        set.set(name, value.parse().unwrap()).unwrap();
    }
    set
}

/// The detector under test is *burst or often*.
pub fn counts(finding: &Finding) -> bool {
    matches!(finding.rule, Rule::Burst | Rule::Often)
}

/// The last moment of the year. The book judges its whole past by the figures in force, so what its history says at
/// the year's end is by figures of the year's end, whatever was taken before: taking them every day on the way would
/// only say when each line was first seen, and the lines in force are those of the last figures.
pub fn figures_as_of(options: &Options) -> Instant {
    Zone::utc().start_of(options.ends()).minus(1)
}

pub fn arrived(filed: &[Filed]) -> impl Iterator<Item = &Filed> {
    filed.iter().filter(|one| one.arrives.at().is_some())
}

fn roster_of(fleet: &Fleet, starts: Instant) -> Roster {
    let lists = lists(fleet);
    let schedules = roster::import::schedules(lists.schedules.as_bytes(), starts).unwrap();
    let units = roster::import::units(lists.units.as_bytes(), |_| true, fleet.options.starts).unwrap();
    assert!(schedules.rejects.is_empty() && units.rejects.is_empty());
    let mut roster = Roster::default();
    for schedule in schedules.good {
        let name = schedule.class.clone();
        let class = roster::Class { name: name.clone(), schedules: vec![schedule.into()] };
        roster.classes.insert(name, class.into());
    }
    for card in units.good {
        roster.units.insert(card.unit.clone(), card.into());
    }
    roster
}

fn dossiers(fleet: &Fleet, filed: &[Filed], roster: &Roster) -> Vec<(usize, DossierKey, Dossier)> {
    let mut facts: HashMap<usize, Vec<_>> = HashMap::new();
    for (seq, one) in arrived(filed).enumerate() {
        let recorded = one.arrives.at().unwrap();
        let source = Source::of(&one.report, seq as u64 + 1, recorded);
        for (entry, pair) in one.report.entries.iter().zip(&one.pairs) {
            let Some(pair) = pair else { continue };
            let schedule = roster.schedule_at(&one.report.unit, entry.when.at());
            let told = route(&source, entry, schedule).into_iter();
            let told = told.filter(|(subject, _)| matches!(subject, Subject::Device(_)));
            facts.entry(*pair).or_default().extend(told.map(|(_, fact)| fact));
        }
    }
    let key = |pair: usize| {
        let of = &fleet.pairs[pair];
        let tag: Tag = fleet.tag(of.device);
        DossierKey { unit: unit_name(of.unit), subject: Subject::Device(tag) }
    };
    let mut all: Vec<_> =
        facts.into_iter().map(|(pair, facts)| (pair, key(pair), Dossier::of(facts))).collect();
    all.sort_by_key(|(pair, ..)| *pair);
    all
}
