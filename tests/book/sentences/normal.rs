//! What is normal, reckoned again from the ledger of the page that took it: the 365 days up to its moment.
use std::collections::{BTreeMap, BTreeSet};

use super::ledger::{Ledger, RELAY, START};

pub struct Normal {
    pub others: i64,
    pub days: i64,
    pub all: i64,
    pub all_days: i64,
    pub fleet: bool,
}

impl Normal {
    pub fn gap(&self) -> f64 {
        self.days as f64 / self.others.max(1) as f64
    }

    pub fn pooled(&self) -> f64 {
        self.all.max(1) as f64 / self.all_days as f64
    }

    /// `sister units average one in 90 service days`.
    pub fn in_words(&self) -> String {
        let who = if self.fleet { "units of the fleet" } else { "sister units" };
        let gap = self.gap();
        if gap >= 2.0 {
            format!("{who} average one in {gap:.0} service days")
        } else {
            format!("{who} average one in {gap:.1} service days")
        }
    }
}

/// One device of one class.
#[derive(Default)]
pub struct OfClass {
    pub counts: BTreeMap<String, i64>,
    pub total: i64,
}

pub struct Figures<'a> {
    pub ledger: &'a Ledger,
    /// Service days of each unit.
    pub days: BTreeMap<String, i64>,
    devices: BTreeMap<(String, String), (String, OfClass)>,
}

impl<'a> Figures<'a> {
    pub fn of(ledger: &'a Ledger) -> Self {
        let last = ledger.day(ledger.known.at);
        let days =
            ledger.units.keys().map(|unit| (unit.clone(), ledger.between(unit, last - 365, last))).collect();
        let mut devices: BTreeMap<(String, String), (String, OfClass)> = BTreeMap::new();
        for class in ledger.schedules.keys() {
            let listed = ledger.schedule(class, ledger.known.at)["devices"].as_array().unwrap();
            let text = |d: &serde_json::Value, name: &str| d[name].as_str().unwrap().to_owned();
            let listed = listed.iter().map(|d| (text(d, "tag"), text(d, "legend")));
            let own = [(RELAY, "ground relay"), (START, "engine start")]
                .map(|(tag, legend)| (tag.to_owned(), legend.to_owned()));
            for (tag, legend) in listed.chain(own) {
                devices.insert((class.clone(), tag), (legend, OfClass::default()));
            }
        }
        for (unit, device) in ledger.pairs() {
            let Some(card) = ledger.units.get(unit) else { continue };
            let within = ledger
                .occurrences(unit, device)
                .iter()
                .filter(|o| (last - 364..=last).contains(&o.day))
                .count() as i64;
            if within > 0 {
                let key = (card.class.clone(), device.to_owned());
                let (_, of) = devices.entry(key).or_insert_with(|| (device.to_owned(), OfClass::default()));
                of.counts.insert(unit.to_owned(), within);
                of.total += within;
            }
        }
        Self { ledger, days, devices }
    }

    /// Its units with a service day, their service days, and the squares of these.
    pub fn class_days(&self, class: &str) -> (i64, i64, i64) {
        let of_class =
            self.ledger.units.iter().filter(|(_, card)| card.class == class).map(|(unit, _)| self.days[unit]);
        of_class.fold((0, 0, 0), |(n, days, squares), d| (n + i64::from(d > 0), days + d, squares + d * d))
    }

    pub fn fleet(&self) -> i64 {
        let classes: BTreeSet<&str> = self.ledger.units.values().map(|card| card.class.as_str()).collect();
        classes.into_iter().map(|class| self.class_days(class).0).sum()
    }

    pub fn device(&self, class: &str, device: &str) -> Option<&OfClass> {
        self.devices.get(&(class.to_owned(), device.to_owned())).map(|(_, of)| of)
    }

    /// The same device in all classes that have its legend: class, what happened there.
    pub fn same_legend(&self, class: &str, device: &str) -> Vec<(&str, &OfClass)> {
        let Some((legend, _)) = self.devices.get(&(class.to_owned(), device.to_owned())) else {
            return vec![];
        };
        self.devices
            .iter()
            .filter(|(_, (l, _))| l == legend)
            .map(|((c, _), (_, of))| (c.as_str(), of))
            .collect()
    }

    pub fn normal(&self, unit: &str, device: &str) -> Option<Normal> {
        let class = &self.ledger.units.get(unit)?.class;
        let (units, days, _) = self.class_days(class);
        let (own, of) = (self.days[unit], self.device(class, device)?);
        let others = of.total - of.counts.get(unit).unwrap_or(&0);
        if units < 2 {
            return None;
        }
        if others >= 5 {
            return Some(Normal { others, days: days - own, all: of.total, all_days: days, fleet: false });
        }
        let normal = self.of_fleet(unit, class, device);
        (normal.others >= 5).then_some(normal)
    }

    /// Whatever little is known of all classes' devices of this legend.
    pub fn of_fleet(&self, unit: &str, class: &str, device: &str) -> Normal {
        let mut normal = Normal { others: 0, days: 0, all: 0, all_days: 0, fleet: true };
        for (other, of) in self.same_legend(class, device) {
            let days = self.class_days(other).1;
            normal.all += of.total;
            normal.all_days += days;
            normal.others += of.total - of.counts.get(unit).unwrap_or(&0);
            normal.days += if other == class { days - self.days[unit] } else { days };
        }
        normal
    }

    /// Marshall's moments between half an occurrence and two: alpha = m^2 / (s^2 - m / mean days).
    pub fn weight(&self, class: &str, device: &str) -> f64 {
        let (units, days, _) = self.class_days(class);
        let Some(of) = self.device(class, device).filter(|of| of.total > 0 && units > 0) else { return 2.0 };
        let mean = of.total as f64 / days as f64;
        let watched = self.ledger.units.iter().filter(|(_, card)| card.class == class).map(|(unit, _)| unit);
        let spread: f64 = watched
            .filter(|unit| self.days[*unit] > 0)
            .map(|unit| {
                let (x, t) = (*of.counts.get(unit).unwrap_or(&0) as f64, self.days[unit] as f64);
                t * (x / t - mean).powi(2)
            })
            .sum();
        let excess = spread / days as f64 - mean * units as f64 / days as f64;
        if excess > 0.0 { (mean * mean / excess).clamp(0.5, 2.0) } else { 2.0 }
    }
}
