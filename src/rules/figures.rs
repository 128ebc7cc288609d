//! Class figures: how often each device of each class operates, taken on a schedule as a page of the book.
use std::{
    collections::{BTreeMap, HashMap},
    sync::OnceLock,
};

use serde::{Deserialize, Serialize};

use super::{
    Dossier, DossierKey, Ground,
    cranking::{Cranked, cranking},
    dossier::Subject,
    monthly::{Monthly, monthly},
    occurrence::occurrences,
    outline::{Outline, outlines},
    service_days::ServiceDays,
    statistics::posterior,
};
use crate::base::{ClassName, Day, Instant, Tag, UnitName};

/// Figures look back over so many days.
pub const LOOK_BACK: i32 = 365;
/// Fewer occurrences than this are no rate.
const ENOUGH: u32 = 5;

/// Figures over the 365 days up to `as_of`, from pages with `seq <= up_to_seq`. A late entry never changes them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClassFigures {
    #[serde(with = "crate::base::instant::as_text")]
    pub as_of: Instant,
    pub up_to_seq: u64,
    /// Sorted by (class, device).
    pub devices: Vec<DeviceFigures>,
    /// Service days of each unit in those 365 days.
    pub unit_days: BTreeMap<UnitName, i64>,
    /// The same summed over each class, so that judging one device need not add up a fleet.
    pub class_days: BTreeMap<ClassName, ClassDays>,
    /// Repairs of single devices closed in those 365 days.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub repairs: u32,
    /// Cranking volts of each class, fortnight by fortnight, oldest first. Sorted by (class, fortnight).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cranking: Vec<Cranking>,
    /// What was found at the first refresh of this month over all pairs and classes together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub monthly: Option<Box<Monthly>>,
    #[serde(skip)]
    pub derived: Derived,
}

/// What follows from the figures and is asked for at every judgement: reckoned at the first question.
#[derive(Clone, Debug, Default)]
pub struct Derived(OnceLock<OfDevices>);

/// It only repeats what the figures say.
impl PartialEq for Derived {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

#[derive(Clone, Debug, Default)]
struct OfDevices {
    /// Of each device, see [`ClassFigures::prior_weight`].
    weights: Vec<f64>,
    /// The places of the devices with one legend.
    same: HashMap<String, Vec<usize>>,
    pairs: f64,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
fn is_none(n: &i64) -> bool {
    *n == 0
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
fn is_zero(n: &u32) -> bool {
    *n == 0
}

/// The median over the units of a class of each unit's median cranking volts in one fortnight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cranking {
    pub class: ClassName,
    /// See [`super::cranking::fortnight`].
    pub fortnight: i64,
    pub volts: f64,
    pub units: u32,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClassDays {
    pub days: i64,
    /// Units with at least one service day.
    pub units: u32,
    /// The sum of the squares of its units' service days: how far apart ordinary classes lie depends on it.
    #[serde(default, skip_serializing_if = "is_none")]
    pub squares: i64,
}

/// One device of one class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeviceFigures {
    pub class: ClassName,
    pub device: Tag,
    /// Devices of other classes with the same legend are this one's fleet.
    pub legend: String,
    /// Occurrences by unit; a unit without any is not listed.
    pub occurrences: BTreeMap<UnitName, u32>,
    pub total: u32,
}

impl DeviceFigures {
    fn of_unit(&self, unit: &UnitName) -> u32 {
        self.occurrences.get(unit).copied().unwrap_or(0)
    }
}

/// What is normal for a device: the rate of all the **other** units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Normal {
    /// Occurrences of the others, and the service days they had them in.
    pub others: u32,
    pub days: i64,
    /// Other classes' devices of the same legend are counted in.
    pub fleet: bool,
    /// The same with this unit counted in.
    pub all: u32,
    pub all_days: i64,
}

impl Normal {
    /// Service days from one occurrence to the next on an average unit.
    pub fn gap(&self) -> f64 {
        self.days as f64 / f64::from(self.others.max(1))
    }

    /// Their average rate, per service day.
    pub fn average(&self) -> f64 {
        1.0 / self.gap()
    }

    /// The average rate of the class (or fleet), this unit counted in, per service day.
    pub fn pooled(&self) -> f64 {
        f64::from(self.all.max(1)) / self.all_days as f64
    }

    /// What their rate is to be taken for, per service day, when nothing but their count is known: one occurrence more
    /// than they had. A little above their average, so that a unit is not held against a rate that was luck.
    pub fn cautious(&self) -> f64 {
        (f64::from(self.others) + 1.0) / self.days as f64
    }
}

impl ClassFigures {
    /// `None`: too little known to judge, or nothing to compare with.
    pub fn normal(&self, unit: &UnitName, class: &ClassName, device: &Tag) -> Option<Normal> {
        let own = self.class_days.get(class)?;
        if own.units < 2 {
            return None;
        }
        let unit_days = self.unit_days.get(unit).copied().unwrap_or(0);
        let figures = self.device(class, device)?;
        let others = figures.total - figures.of_unit(unit).min(figures.total);
        if others >= ENOUGH {
            return normal(
                Counts { others, days: own.days - unit_days, all: figures.total, all_days: own.days },
                false,
            );
        }
        let mut fleet = Counts::default();
        for d in self.same_legend(figures) {
            let of_class = self.class_days.get(&d.class).map_or(0, |c| c.days);
            fleet.all += d.total;
            fleet.all_days += of_class;
            fleet.others += d.total - d.of_unit(unit).min(d.total);
            fleet.days += if d.class == *class { of_class - unit_days } else { of_class };
        }
        (fleet.others >= ENOUGH).then(|| normal(fleet, true)).flatten()
    }

    /// The devices of all classes with this one's legend, this one too.
    pub fn same_legend(&self, device: &DeviceFigures) -> impl Iterator<Item = &DeviceFigures> {
        let places = self.derived().same.get(&device.legend);
        places.into_iter().flatten().filter_map(|place| self.devices.get(*place))
    }

    /// Pairs of a unit and a device that were watched.
    pub fn pairs(&self) -> f64 {
        self.derived().pairs
    }

    fn derived(&self) -> &OfDevices {
        self.derived.0.get_or_init(|| {
            let mut of = OfDevices::default();
            for (place, device) in self.devices.iter().enumerate() {
                of.weights.push(self.reckoned_weight(device));
                of.same.entry(device.legend.clone()).or_default().push(place);
                of.pairs += f64::from(self.class_days.get(&device.class).map_or(0, |c| c.units));
            }
            of
        })
    }

    pub fn device(&self, class: &ClassName, device: &Tag) -> Option<&DeviceFigures> {
        let place = self.devices.binary_search_by(|d| (&d.class, &d.device).cmp(&(class, device)));
        place.ok().map(|place| &self.devices[place])
    }

    /// How much one unit's own count weighs against its class's rate: the class counts as half an occurrence
    /// to two occurrences of evidence. Marshall's moments, clamped as statistics.md 1e says.
    pub fn prior_weight(&self, class: &ClassName, device: &Tag) -> f64 {
        let place = self.devices.binary_search_by(|d| (&d.class, &d.device).cmp(&(class, device)));
        place.ok().and_then(|place| self.derived().weights.get(place).copied()).unwrap_or(2.0)
    }

    fn reckoned_weight(&self, figures: &DeviceFigures) -> f64 {
        let Some(own) = self.class_days.get(&figures.class) else { return 2.0 };
        if own.days <= 0 || own.units == 0 || figures.total == 0 {
            return 2.0;
        }
        let mean = f64::from(figures.total) / own.days as f64;
        let days_of = |unit: &UnitName| self.unit_days.get(unit).copied().unwrap_or(0).max(1) as f64;
        let bad = figures.occurrences.iter().map(|(unit, x)| (f64::from(*x), days_of(unit)));
        let known: f64 = figures.occurrences.keys().map(days_of).sum();
        // The moments ask of a unit without an occurrence only for its days.
        let silent = (own.units as usize).saturating_sub(figures.occurrences.len());
        let each = (own.days as f64 - known) / silent.max(1) as f64;
        posterior::clamped(posterior::marshall(bad.chain(std::iter::repeat_n((0.0, each), silent)), mean))
    }
}

#[derive(Clone, Copy, Default)]
struct Counts {
    others: u32,
    days: i64,
    all: u32,
    all_days: i64,
}

fn normal(of: Counts, fleet: bool) -> Option<Normal> {
    let Counts { others, days, all, all_days } = of;
    (days > 0).then_some(Normal { others, days, fleet, all, all_days })
}

/// What the figures are taken from, and when.
#[derive(Clone, Copy, Debug)]
pub struct Taken<'a> {
    pub as_of: Instant,
    pub up_to_seq: u64,
    /// With the figures and thresholds in force before.
    pub ground: &'a Ground<'a>,
}

/// Takes class figures: from every unit's service days and every device's dossier. Units off the roster have
/// no class and are left out.
pub fn figures_from(
    taken: &Taken<'_>,
    clocks: &BTreeMap<UnitName, ServiceDays>,
    pairs: &Pairs,
    cranked: &[Cranked],
) -> ClassFigures {
    let mut figures = counted(taken, clocks, pairs, cranked);
    figures.monthly = Some(Box::new(monthly(taken.ground, &figures, clocks, pairs)));
    figures
}

/// The facts of every device, in outline.
pub type Pairs = BTreeMap<DossierKey, Vec<Outline>>;

/// What figures are taken from, of dossiers in hand.
pub fn in_outline(dossiers: &BTreeMap<DossierKey, Dossier>) -> (Pairs, Vec<Cranked>) {
    let (mut pairs, mut cranked) = (Pairs::new(), Vec::new());
    for (key, dossier) in dossiers {
        match key.subject {
            Subject::Device(_) => drop(pairs.insert(key.clone(), outlines(dossier.facts()))),
            Subject::Unit => cranked.push(Cranked::of(&key.unit, dossier)),
            Subject::GroundProtection | Subject::Together => {}
        }
    }
    (pairs, cranked)
}

fn counted(
    taken: &Taken<'_>,
    clocks: &BTreeMap<UnitName, ServiceDays>,
    pairs: &Pairs,
    cranked: &[Cranked],
) -> ClassFigures {
    let last = taken.ground.zone.day_of(taken.as_of);
    let first = last.plus(-LOOK_BACK);
    let mut unit_days = BTreeMap::new();
    let mut class_days: BTreeMap<ClassName, ClassDays> = BTreeMap::new();
    for (unit, days) in clocks {
        let Some(card) = taken.ground.roster.unit(unit) else { continue };
        let days = days.between(first, last);
        let class = class_days.entry(card.class.clone()).or_default();
        class.days += days;
        class.units += u32::from(days > 0);
        class.squares += days * days;
        unit_days.insert(unit.clone(), days);
    }
    let (mut devices, mut repairs) = (listed(taken), 0);
    let cranking = cranking(taken, cranked);
    for (key, outlines) in pairs {
        let (Subject::Device(tag), Some(card)) = (&key.subject, taken.ground.roster.unit(&key.unit)) else {
            continue;
        };
        repairs += repaired(taken, (first, last), outlines);
        let count = count(taken, (first, last), outlines);
        if count > 0 {
            let at = (card.class.clone(), tag.clone());
            let of = devices.entry(at).or_insert_with(|| blank(&card.class, tag, tag.as_str()));
            of.occurrences.insert(key.unit.clone(), count);
            of.total += count;
        }
    }
    let devices = devices.into_values().collect();
    ClassFigures {
        as_of: taken.as_of,
        up_to_seq: taken.up_to_seq,
        devices,
        unit_days,
        class_days,
        repairs,
        cranking,
        monthly: None,
        derived: Derived::default(),
    }
}

/// Devices that never operated count too: their service days belong to their legend's fleet.
fn listed(taken: &Taken<'_>) -> BTreeMap<(ClassName, Tag), DeviceFigures> {
    let mut out = BTreeMap::new();
    for class in taken.ground.roster.classes.values() {
        let devices = class.at(taken.as_of).map(|s| s.devices.as_slice()).unwrap_or_default();
        let scheduled = devices.iter().map(|d| (d.tag.clone(), d.legend.as_str()));
        let own =
            [(Tag::from(Tag::GROUND_RELAY), "ground relay"), (Tag::from(Tag::ENGINE_START), "engine start")];
        for (tag, legend) in scheduled.chain(own) {
            out.insert((class.name.clone(), tag.clone()), blank(&class.name, &tag, legend));
        }
    }
    out
}

fn blank(class: &ClassName, device: &Tag, legend: &str) -> DeviceFigures {
    DeviceFigures {
        class: class.clone(),
        device: device.clone(),
        legend: legend.to_owned(),
        occurrences: BTreeMap::new(),
        total: 0,
    }
}

fn count(taken: &Taken<'_>, (after, last): (Day, Day), outlines: &[Outline]) -> u32 {
    let known = |f: &&Outline| f.seq <= taken.up_to_seq && f.at <= taken.as_of;
    let found = if outlines.iter().all(|f| known(&f)) {
        occurrences(outlines)
    } else {
        occurrences(&outlines.iter().filter(known).cloned().collect::<Vec<_>>())
    };
    let days = found.into_iter().map(|o| taken.ground.zone.day_of(o.at));
    u32::try_from(days.filter(|day| after < *day && *day <= last).count()).unwrap_or(u32::MAX)
}

fn repaired(taken: &Taken<'_>, (after, last): (Day, Day), outlines: &[Outline]) -> u32 {
    let closed = outlines.iter().filter(|f| f.repaired.is_some() && f.seq <= taken.up_to_seq);
    let days = closed.map(|f| taken.ground.zone.day_of(f.at));
    u32::try_from(days.filter(|day| after < *day && *day <= last).count()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::vocabulary::Left,
        rules::sample::{Railway, at, device, trip},
    };

    fn take(railway: &Railway, counts: &[(&str, usize)]) -> ClassFigures {
        let pairs: Pairs = counts
            .iter()
            .map(|(unit, n)| {
                let key = DossierKey { unit: (*unit).into(), subject: Subject::Device("TC2".into()) };
                let trips = (1..=*n).map(|i| trip(&format!("2026-01-{i:02}T10:00:00Z"), "TC2", Left::On));
                (key, trips.map(|trip| Outline::of(&trip)).collect())
            })
            .collect();
        let taken =
            Taken { as_of: at("2026-02-01T00:00:00Z"), up_to_seq: u64::MAX, ground: &railway.ground() };
        let days = railway.roster.units.keys().map(|u| (u.clone(), railway.days.clone())).collect();
        figures_from(&taken, &days, &pairs, &[])
    }

    #[test]
    fn normal_is_the_other_units_rate() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let figures = take(&railway, &[("QHB 401", 3), ("QHB 402", 4), ("QHB 412", 20)]);
        let normal = figures.normal(&"QHB 412".into(), &"C1".into(), &"TC2".into()).unwrap();
        assert_eq!((normal.others, normal.days, normal.fleet), (7, 19 * 365, false));
        assert!((normal.cautious() * 19.0 * 365.0 - 8.0).abs() < 1e-9, "{}", normal.cautious());
        assert_eq!(figures.normal(&"QHB 402".into(), &"C1".into(), &"TC2".into()).unwrap().others, 23);
    }

    #[test]
    fn too_little_known_is_no_rate() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let figures = take(&railway, &[("QHB 401", 4), ("QHB 412", 20)]);
        assert_eq!(figures.normal(&"QHB 412".into(), &"C1".into(), &"TC2".into()), None);
        assert_eq!(figures.normal(&"QHB 412".into(), &"C9".into(), &"TC2".into()), None);
        assert!(
            (figures.prior_weight(&"C1".into(), &"TC2".into()) - 0.5).abs() < 1e-12,
            "a very uneven class"
        );
    }

    #[test]
    fn a_late_entry_does_not_count() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let key = DossierKey { unit: "QHB 401".into(), subject: Subject::Device("TC2".into()) };
        let early = trip("2026-01-02T10:00:00Z", "TC2", Left::On);
        let late = trip("2026-01-05T10:00:00Z", "TC2", Left::On);
        let taken =
            Taken { as_of: at("2026-02-01T00:00:00Z"), up_to_seq: early.seq, ground: &railway.ground() };
        let pairs = BTreeMap::from([(key, vec![Outline::of(&early), Outline::of(&late)])]);
        let figures = figures_from(&taken, &BTreeMap::new(), &pairs, &[]);
        assert_eq!(figures.device(&"C1".into(), &"TC2".into()).unwrap().total, 1);
    }
}
