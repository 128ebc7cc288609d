//! What the shop measures in its repairs, around an opened cutout, and on batteries.
use uuid::Uuid;

use super::{bypasses::Opening, entries::tenths, history::Act, stories, year::Year};
use crate::{
    base::{
        Instant, Tag,
        instant::{DAY, MINUTE},
    },
    rules::fact::FuseFact,
    shop::measurements::{
        Measured, Temperature,
        battery::{Battery, GravityRule, LowCell},
        breaker::{Breaker, Test},
        dead::{Found, TestedDead},
        fuse::FuseComparison,
        ground_relay::{self, GroundRelayTest},
        insulation::{Edition, Insulation, InsulationClass, Machine, Object, Reading, Wound},
        lock_out::{LockOut, Step, What},
    },
};

/// Where the limits of its breaker tests are from: no published table is taken over.
pub const BREAKER_SHEET: &str = "Quarrow Hill & Bay, shop sheet 7";
/// Up to so many amperes, at most so many seconds at 300 %.
pub const BREAKER_ROWS: [(f64, f64); 3] = [(30.0, 28.0), (100.0, 60.0), (250.0, 110.0)];
const LEAST_S: f64 = 4.0;
const CELLS: usize = 32;
const FULL: f64 = 1.265;

/// Who measured in which repair, which closed when.
type Repairing<'r> = (&'r str, Instant, Uuid);

impl Year<'_> {
    pub fn paper_id(&mut self, at: Instant) -> Uuid {
        Uuid::parse_str(&self.shop_dice.id(at)).unwrap_or_default()
    }

    fn measured(&mut self, ix: usize, by: &str, at: Instant, repair: Option<Uuid>, measured: Measured) {
        let (id, unit) = (self.paper_id(at), self.units[ix].name.clone());
        let recorded = at.plus(2 * MINUTE);
        let measured = Box::new(measured);
        self.put(recorded, Act::Measured { id, unit, by: by.to_owned(), at, repair, measured });
    }

    /// What was measured before a repair was closed: as it was found, then as it was left.
    pub fn tests_of_repair(&mut self, ix: usize, device: Option<&str>, repair: Repairing<'_>, cause: &str) {
        let Some(tag) = device else { return };
        match cause {
            _ if tag == Tag::GROUND_RELAY => self.look_for_the_ground(ix, repair, cause),
            _ if cause.starts_with("Breaker weak") => self.two_breakers(ix, tag, repair),
            _ if cause.starts_with("Blown fuse") => self.fuse_compared(ix, tag, repair),
            _ if cause.starts_with("Wire chafed") || cause.starts_with("Contactor coil") => {
                let (by, closed, id) = repair;
                let of = format!("circuit of {tag}");
                let (found, left) = (self.shop_dice.between(0.05, 0.4), self.shop_dice.between(1.2, 8.0));
                let circuit = |ir1: f64| insulation(Object::ControlCircuit, &of, ir1, None);
                self.measured(ix, by, closed.minus(40 * MINUTE), Some(id), circuit(found));
                self.measured(ix, by, closed.minus(9 * MINUTE), Some(id), circuit(left));
            }
            _ => {}
        }
    }

    /// Where something was found, the circuit failed before it was put right; then the relay itself is tried.
    fn look_for_the_ground(&mut self, ix: usize, (by, closed, id): Repairing<'_>, cause: &str) {
        let at = self.warmth(closed);
        let circuit = |ir1: f64| insulation(Object::PowerCircuit, "high-voltage circuit", ir1, Some(at));
        if !cause.starts_with("No fault found") {
            let found = self.shop_dice.between(0.12, 0.5);
            self.measured(ix, by, closed.minus(38 * MINUTE), Some(id), circuit(found));
        }
        let left = self.shop_dice.between(2.6, 9.0);
        self.measured(ix, by, closed.minus(12 * MINUTE), Some(id), circuit(left));
        if cause.contains("motor 3") {
            let machine = Insulation {
                ir10_mohm: Some(tenths(left * 12.0 * 2.3)),
                class: Some(InsulationClass::H),
                edition: Some(Edition::Y2013),
                rated_v: Some(600.0),
                wound: Some(Wound::Later),
                machine: Some(Machine::TractionMotor),
                ..reading(Object::Armature, "traction motor 3", left * 12.0, Some(at))
            };
            self.measured(ix, by, closed.minus(10 * MINUTE), Some(id), Measured::Insulation(machine));
        }
        if self.shop_dice.chance(0.85) {
            let test = self.relay_test();
            self.measured(ix, by, closed.minus(5 * MINUTE), Some(id), test);
        }
    }

    fn relay_test(&mut self) -> Measured {
        let at = self.shop_dice.between(38.0, 52.0).round();
        Measured::GroundRelay(GroundRelayTest {
            device: Some(Tag::from("GR")),
            picked_up: true,
            at: Some(at),
            unit: ground_relay::Unit::Volts,
            reset: Some(true),
            least: Some(35.0),
            most: Some(60.0),
            limit_from: Some("Quarrow Hill & Bay, shop sheet 4".to_owned()),
        })
    }

    /// The old one on the bench, then the one that went in.
    fn two_breakers(&mut self, ix: usize, tag: &str, (by, closed, id): Repairing<'_>) {
        let class = self.units[ix].class.clone();
        let device = self.fleet.of_class(&class).iter().find(|device| device.tag == tag);
        let Some(rated_a) = device.and_then(|device| device.rating_a) else { return };
        let Some((_, most)) = BREAKER_ROWS.into_iter().find(|(up_to, _)| rated_a <= *up_to) else { return };
        let stuck = self.shop_dice.chance(0.2);
        let early = tenths(self.shop_dice.between(1.2, 3.6));
        let good = tenths(self.shop_dice.between(most * 0.3, most * 0.8));
        let test = |seconds: Option<f64>| {
            Measured::Breaker(Breaker {
                device: Some(Tag::from(tag)),
                test: Test::InverseTime,
                rated_a: Some(rated_a),
                percent: Some(300.0),
                seconds,
                did_not_trip: seconds.is_none(),
                most_s: Some(most),
                least_s: Some(LEAST_S),
                limit_from: Some(BREAKER_SHEET.to_owned()),
                set_a: None,
                tripped_at_a: None,
            })
        };
        self.measured(ix, by, closed.minus(35 * MINUTE), Some(id), test((!stuck).then_some(early)));
        self.measured(ix, by, closed.minus(14 * MINUTE), Some(id), test(Some(good)));
    }

    fn fuse_compared(&mut self, ix: usize, tag: &str, (by, closed, id): Repairing<'_>) {
        let class = self.units[ix].class.clone();
        let Some(device) = self.fleet.of_class(&class).iter().find(|device| device.tag == tag) else {
            return;
        };
        let belongs: FuseFact =
            serde_json::from_value(super::troubles::four_figures(device)).unwrap_or_default();
        let compared = FuseComparison {
            device: Some(Tag::from(tag)),
            fitted: belongs.clone(),
            belongs,
            handling: Some(crate::reports::vocabulary::Handling::DeEnergised),
        };
        self.measured(ix, by, closed.minus(8 * MINUTE), Some(id), Measured::Fuse(compared));
    }

    /// Locked, tested dead, measured, unlocked; and the relay tried afterwards, but where a story leaves that out.
    pub fn tests_of_opening(&mut self, ix: usize, opening: &Opening<'_>, closed_at: Instant) {
        let (by, opened) = (opening.by, opening.opened_at);
        let lock = format!("L{}", self.shop_dice.whole(11, 68));
        let locked = |step: Step| {
            let removed_by = (step == Step::Removed).then(|| by.to_owned());
            Measured::LockOut(LockOut {
                lock: lock.clone(),
                step,
                what: Some(What::LockAndTag),
                place: Some("battery knife switch".to_owned()),
                applied_by: by.to_owned(),
                removed_by,
                absence_ensured: None,
                told_before_resuming: None,
            })
        };
        self.measured(ix, by, opened.minus(9 * MINUTE), None, locked(Step::Applied));
        let dead = TestedDead {
            circuit: "high-voltage circuit".to_owned(),
            volts: Some(600.0),
            tester: Some(format!("two-pole tester {}", self.shop_dice.whole(1, 5))),
            checked_before: Some(true),
            checked_after: Some(true),
            locked_or_tagged: Some(true),
            found: Found::Dead,
        };
        self.measured(ix, by, opened.minus(4 * MINUTE), None, Measured::TestedDead(dead));
        let left_out = stories::STORIES.iter().any(|story| story.unit == self.units[ix].name);
        // Where the story goes on to a repair, what was measured is the repair's.
        if opening.purpose == "insulation_test" && !left_out {
            let (at, ir1) = (self.warmth(opened), self.shop_dice.between(2.6, 14.0));
            let circuit = insulation(Object::PowerCircuit, "high-voltage circuit", ir1, Some(at));
            self.measured(ix, by, opened.plus(18 * MINUTE), None, circuit);
        }
        self.measured(ix, by, closed_at.plus(3 * MINUTE), None, locked(Step::Removed));
        let left_out = left_out || self.units[ix].name == stories::WAITING_FOR_REVIEW;
        if !left_out && self.shop_dice.chance(0.9) {
            let test = self.relay_test();
            self.measured(ix, by, closed_at.plus(8 * MINUTE), None, test);
        }
    }

    /// Which battery a unit has: half way through the year one of them went from unit to unit.
    fn battery_of(&self, ix: usize, at: Instant) -> String {
        let late = at > self.calendar.ends.minus(150 * DAY);
        match self.units[ix].name.as_str() {
            "QHB 409" if late => "B14".to_owned(),
            "QHB 404" if late => "B51".to_owned(),
            _ => format!("B{}", 11 + ix),
        }
    }

    /// Cell by cell, as the electrician reads them. One battery loses its charge through the year, a cell of it first.
    pub fn battery_measured(&mut self, ix: usize, by: &str, at: Instant) {
        let year = at.since(self.calendar.starts) as f64 / (365 * DAY) as f64;
        let weak = self.units[ix].name == stories::WEAKENS;
        let worn = if weak { 0.078 * year } else { 0.009 * year };
        let warmth = self.warmth(at);
        let (mut gravities, mut sum) = (Vec::new(), 0.0);
        for cell in 0..CELLS {
            let low = if weak && cell == 18 { 0.034 * year } else { 0.0 };
            let gravity = 1.262 - worn - low - self.shop_dice.between(0.0, 0.006);
            sum += gravity + 0.84;
            gravities.push(thousandths(gravity - GravityRule::Per10F.correction(warmth)));
        }
        let battery = Battery {
            name: self.battery_of(ix, at),
            cells: u32::try_from(CELLS).ok(),
            gravities,
            temperature: Some(warmth),
            rule: GravityRule::Per10F,
            full_gravity: Some(FULL),
            low_cell: LowCell::Points25,
            rested_v: Some(tenths(sum)),
            charging_v: Vec::new(),
            level: Some("to the mark".to_owned()),
        };
        self.measured(ix, by, at, None, Measured::Battery(battery));
    }

    /// In the shop, by the time of the year.
    fn warmth(&mut self, at: Instant) -> Temperature {
        let mean = match self.calendar.month(at) {
            12 | 1 | 2 => 54,
            3..=5 | 10 | 11 => 64,
            _ => 79,
        };
        Temperature::fahrenheit((mean + self.shop_dice.whole(-6, 6)) as f64)
    }
}

fn reading(object: Object, of: &str, ir1: f64, at: Option<Temperature>) -> Insulation {
    Insulation {
        object,
        of: Some(of.to_owned()),
        machine: None,
        wound: None,
        rated_v: None,
        is_new: (object == Object::ControlCircuit).then_some(false),
        edition: None,
        test_v: Some(if object == Object::ControlCircuit { 250.0 } else { 500.0 }),
        ir1_mohm: (ir1 * 100.0).round() / 100.0,
        ir10_mohm: None,
        temperature: at,
        rule: None,
        class: None,
        reading: Some(Reading::Steady),
        limit_mohm: None,
        limit_from: None,
        ground_confirmed: None,
    }
}

fn insulation(object: Object, of: &str, ir1: f64, at: Option<Temperature>) -> Measured {
    Measured::Insulation(reading(object, of, ir1, at))
}

/// As a hydrometer is read.
fn thousandths(gravity: f64) -> f64 {
    (gravity * 1_000.0).round() / 1_000.0
}
