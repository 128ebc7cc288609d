//! A fleet with truth: how often each device of each unit really operates, when that changes, and when it did.
//! Pure; times are days since the first day began.
use super::{
    Options,
    dice::{Dice, Matter},
};
use crate::{
    base::{ClassName, Tag, UnitName},
    rules::statistics::gamma_quantile,
};

/// Devices on one panel, the first of which feeds the others.
pub const ON_PANEL: usize = 20;
/// Rain on wet units' ground relays.
const WET_TIMES: f64 = 6.0;
const WET_SHARE: f64 = 0.25;

#[derive(Clone, Debug)]
pub struct Fleet {
    pub options: Options,
    /// By class, then device.
    pub kinds: Vec<Kind>,
    pub units: Vec<Unit>,
    /// By unit, then device.
    pub pairs: Vec<Pair>,
    /// By day: whether it is wet.
    pub wet_days: Vec<bool>,
    pub shared: Vec<Shared>,
}

/// A device of a class.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// Operations per service day of an average unit, not counting shared causes.
    pub rate: f64,
    /// Peaks in the middle of January, or else of July.
    pub winter: bool,
}

#[derive(Clone, Debug, Default)]
pub struct Unit {
    /// From, until: nobody writes anything.
    pub silent: Vec<(f64, f64)>,
    pub wet: bool,
    /// When the battery begins to fail.
    pub weak_from: Option<f64>,
}

/// One device on one unit.
#[derive(Clone, Debug)]
pub struct Pair {
    pub unit: usize,
    pub device: usize,
    /// Of an average unit, per service day.
    pub class_rate: f64,
    /// This one's own rate before any jump, as times the class's.
    pub own: f64,
    pub jump: Option<Jump>,
    /// Rising. What a shared cause tripped is not among these.
    pub happened: Vec<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    pub day: f64,
    pub times: f64,
    pub cured: Option<f64>,
}

/// Several breakers of one feed at once.
#[derive(Clone, Debug)]
pub struct Shared {
    pub unit: usize,
    pub feed: usize,
    /// Device and day.
    pub tripped: Vec<(usize, f64)>,
}

impl Pair {
    /// How many times the class's rate it runs at, season and rain aside.
    pub fn times_class(&self, day: f64) -> f64 {
        match self.jump {
            Some(jump) if day >= jump.day && jump.cured.is_none_or(|cured| day < cured) => {
                self.own * jump.times
            }
            _ => self.own,
        }
    }
}

impl Fleet {
    /// Of options that [`Options::check`] lets pass.
    pub fn of(options: &Options) -> Self {
        let kinds = kinds(options);
        let wet_days = wet_days(options);
        let units: Vec<Unit> = (0..options.units as usize).map(|number| unit(options, number)).collect();
        let pairs = pairs(options, &kinds, &units, &wet_days);
        let shared = shared(options);
        Self { options: *options, kinds, units, pairs, wet_days, shared }
    }

    pub fn class_of(&self, unit: usize) -> usize {
        unit % self.options.classes as usize
    }

    pub fn pairs_of(&self, unit: usize) -> &[Pair] {
        let devices = self.options.devices as usize;
        self.pairs.get(unit * devices..(unit + 1) * devices).unwrap_or(&[])
    }

    pub fn is_ground_relay(&self, device: usize) -> bool {
        device + 1 == self.options.devices as usize
    }

    /// The name under which the book counts it.
    pub fn tag(&self, device: usize) -> Tag {
        if self.is_ground_relay(device) { Tag::from(Tag::GROUND_RELAY) } else { Tag::from(plate(device)) }
    }
}

/// What stands on the device's plate.
pub fn plate(device: usize) -> String {
    format!("D{:02}", device + 1)
}

pub fn unit_name(unit: usize) -> UnitName {
    UnitName::from(format!("SIM {}", 1_001 + unit))
}

pub fn class_name(class: usize) -> ClassName {
    ClassName::from(format!("S{}", class + 1))
}

/// One device in ten is a fuse.
pub fn is_fuse(device: usize) -> bool {
    device % 10 == 9
}

fn kinds(options: &Options) -> Vec<Kind> {
    let (from, to) = (options.gap_from.ln(), options.gap_to.ln());
    let all = options.classes as usize * options.devices as usize;
    let kind = |number| {
        let mut dice = Dice::of(options.seed, Matter::Class, number);
        Kind { rate: 1.0 / dice.between(from, to).exp(), winter: dice.chance(0.5) }
    };
    (0..all).map(kind).collect()
}

fn wet_days(options: &Options) -> Vec<bool> {
    let mut dice = Dice::of(options.seed, Matter::Weather, 0);
    (0..365 * options.years).map(|_| dice.chance(WET_SHARE)).collect()
}

fn unit(options: &Options, number: usize) -> Unit {
    let mut dice = Dice::of(options.seed, Matter::Unit, number);
    let wet = dice.chance(options.wet);
    let weak_from = dice.chance(options.weak_batteries).then(|| dice.between(0.0, options.days()));
    let mut silent = Vec::new();
    let mut from = dice.wait(options.gaps / 365.0);
    while from < options.days() {
        let until = from + dice.between(20.0, 60.0);
        silent.push((from, until));
        from = until + dice.wait(options.gaps / 365.0);
    }
    Unit { silent, wet, weak_from }
}

fn pairs(options: &Options, kinds: &[Kind], units: &[Unit], wet_days: &[bool]) -> Vec<Pair> {
    let (devices, classes) = (options.devices as usize, options.classes as usize);
    let mut pairs = Vec::with_capacity(units.len() * devices);
    for (number, unit) in units.iter().enumerate() {
        for device in 0..devices {
            let kind = kinds[number % classes * devices + device];
            let mut dice = Dice::of(options.seed, Matter::Pair, pairs.len());
            let mut pair = Pair {
                unit: number,
                device,
                class_rate: kind.rate,
                own: own(options, &mut dice),
                jump: jump(options, &mut dice),
                happened: Vec::new(),
            };
            let wet = (unit.wet && device + 1 == devices).then_some(wet_days);
            pair.happened = happened(options, &pair, kind, wet, &mut dice);
            pairs.push(pair);
        }
    }
    pairs
}

fn own(options: &Options, dice: &mut Dice) -> f64 {
    let chance = dice.part();
    let own = options.spread.and_then(|shape| Some(gamma_quantile(chance.max(1e-9), shape)? / shape));
    own.unwrap_or(1.0)
}

fn jump(options: &Options, dice: &mut Dice) -> Option<Jump> {
    let (bad, day) = (dice.chance(options.bad_share), dice.between(0.0, options.days()));
    let (cured, after) = (dice.chance(options.cures), dice.between(30.0, 180.0));
    bad.then(|| Jump { day, times: options.jump, cured: cured.then_some(day + after) })
}

/// A Poisson process by thinning: thrown at the highest rate it can have, and kept at what it has.
fn happened(
    options: &Options,
    pair: &Pair,
    kind: Kind,
    wet_days: Option<&[bool]>,
    dice: &mut Dice,
) -> Vec<f64> {
    let jump = pair.jump.map_or(1.0, |jump| jump.times);
    let rain = if wet_days.is_some() { WET_TIMES } else { 1.0 };
    let most = pair.class_rate * pair.own * jump * (1.0 + options.season) * rain;
    let mut days = Vec::new();
    let mut day = dice.wait(most);
    while day < options.days() {
        let wet = wet_days.is_some_and(|days| days.get(whole(day)).copied().unwrap_or(false));
        let now = pair.class_rate
            * pair.times_class(day)
            * seasonal(options.season, kind.winter, day)
            * if wet { WET_TIMES } else { 1.0 };
        if dice.chance(now / most) {
            days.push(day);
        }
        day += dice.wait(most);
    }
    days
}

fn seasonal(share: f64, winter: bool, day: f64) -> f64 {
    let turn = std::f64::consts::TAU * (day - 14.0) / 365.0;
    1.0 + if winter { share } else { -share } * turn.cos()
}

/// The number of a day.
pub fn whole(day: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "days of some years")]
    let number = day.max(0.0) as usize;
    number
}

/// Three to five devices of one panel within eight minutes. A panel with fewer has none.
fn shared(options: &Options) -> Vec<Shared> {
    let mut dice = Dice::of(options.seed, Matter::Shared, 0);
    let devices = options.devices as usize - 1;
    let panels = devices.div_ceil(ON_PANEL).max(1);
    let mut all = Vec::new();
    let mut day = dice.wait(options.shared_causes / 365.0);
    while day < options.days() {
        let feed = dice.under(panels) * ON_PANEL;
        let mut fed: Vec<usize> = (feed + 1..devices.min(feed + ON_PANEL)).collect();
        let fed_many = fed.len();
        let wanted = 3 + dice.under(3);
        let unit = dice.under(options.units as usize);
        if fed_many >= 3 {
            let mut trip =
                |_| (fed.swap_remove(dice.under(fed.len())), day + dice.between(0.0, 8.0 / 1_440.0));
            let mut tripped: Vec<(usize, f64)> = (0..wanted.min(fed_many)).map(&mut trip).collect();
            tripped.sort_by(|a, b| a.1.total_cmp(&b.1));
            all.push(Shared { unit, feed, tripped });
        }
        day += dice.wait(options.shared_causes / 365.0);
    }
    all
}
