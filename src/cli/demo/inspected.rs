//! Inspections of the year: each unit's in its turn, some due soon and a few overdue at the end of it.
use std::collections::{BTreeMap, BTreeSet};

use super::{
    form::PLACES,
    history::Act,
    measured::{BREAKER_ROWS, BREAKER_SHEET},
    stories,
    year::Year,
};
use crate::{
    base::{
        Instant, SignIn, UnitName,
        instant::{DAY, HOUR, MINUTE},
    },
    shop::inspections::{InspectionDone, InspectionKind, PERIODIC_DAYS, PERIODIC_DAYS_MONITORED},
};

/// The class that tells its own condition on board.
const MONITORED: &str = "QA6";
/// Days left at the end of the year, of those the shop has to see about; fewer than none: overdue.
const PRESSING: [(&str, i64); 6] =
    [("QHB 208", -5), ("QHB 205", -2), ("QHB 412", 6), ("QHB 401", 9), ("QHB 203", 11), ("QHB 428", 13)];
/// What was found, and what the one who inspected put right at once.
const CONDITIONS: [(&str, Option<&str>); 5] = [
    ("Brake rigging pin worn, left rear", Some("Pin renewed")),
    ("Sander hose cracked", Some("Hose renewed")),
    ("Number light out, front", Some("Lamp renewed")),
    ("Step tread loose, right front", Some("Bolted")),
    ("Oil on the walkway at the pump", None),
];

/// When each unit was out, begin and end.
type Out = BTreeMap<String, Vec<(Instant, Instant)>>;

impl Year<'_> {
    pub fn inspections(&mut self) {
        let begins = self.calendar.starts.plus(HOUR);
        let reason = "Condition monitoring on board since delivery".to_owned();
        let (class, by) = (MONITORED.to_owned(), "c.ibsenius".to_owned());
        self.put(begins, Act::IntervalSet { class, days: PERIODIC_DAYS_MONITORED, by: by.clone(), reason });
        let (rows, from) = (BREAKER_ROWS.to_vec(), BREAKER_SHEET.to_owned());
        self.put(begins, Act::BreakerTable { by, rows, from });
        let out = self.out();
        for ix in 0..self.units.len() {
            let monitored = self.units[ix].class == MONITORED;
            let days = if monitored { PERIODIC_DAYS_MONITORED } else { PERIODIC_DAYS };
            self.periodic(ix, i64::from(days), &out);
            if monitored {
                self.by_mechanical_inspector(ix, &out);
            }
            self.daily(ix, &out);
        }
    }

    /// A yard report tells of about eight hours before it was signed.
    fn out(&self) -> Out {
        let mut out = Out::new();
        for event in self.events() {
            let Act::Report(report) = &event.act else { continue };
            let (unit, signed) = (report["unit"].as_str(), report["signed_at"].as_str());
            let Some((unit, signed)) = unit.zip(signed.and_then(Instant::parse)) else { continue };
            let in_shop = report["occasion"] == "in_shop";
            let began = report["run"]["started"].as_str().and_then(Instant::parse);
            let began = began.unwrap_or_else(|| signed.minus(if in_shop { HOUR } else { 8 * HOUR }));
            out.entry(unit.to_owned()).or_default().push((began, signed));
        }
        out
    }

    /// A morning or afternoon on which it stands still, at the latest on that day.
    fn standing_still(&self, ix: usize, day: Instant, out: &Out) -> Instant {
        let busy = out.get(&self.units[ix].name).map_or(&[][..], Vec::as_slice);
        let free = |at: &Instant| {
            let until = at.plus(5 * HOUR);
            busy.iter().all(|(from, to)| *to < *at || until < *from)
        };
        let back = i32::try_from(self.calendar.ends.since(day) / DAY).unwrap_or(0);
        let hours = (0..7).flat_map(|earlier| [8, 13, 10, 15, 6].map(|hour| (back + earlier, hour)));
        let mut times = hours.map(|(days, hour)| self.calendar.ago(days, hour, 20));
        times.find(free).unwrap_or(day)
    }

    /// The last, then each one before it; the annual tests with one of them, and the battery with all.
    fn periodic(&mut self, ix: usize, days: i64, out: &Out) {
        let pressing = PRESSING.iter().find(|(unit, _)| *unit == self.units[ix].name);
        let left = pressing.map_or_else(|| self.shop_dice.whole(18, days - 4), |(_, left)| *left);
        let mut day = self.calendar.ends.minus((days - left) * DAY);
        let mut done = Vec::new();
        while day > self.calendar.starts.plus(8 * DAY) {
            let at = self.standing_still(ix, day, out);
            done.push(at);
            day = at.minus((days - self.shop_dice.whole(2, 11)) * DAY);
        }
        let annual = ix % done.len().max(1);
        for (n, at) in done.into_iter().enumerate() {
            let by = self.dice_electrician();
            self.inspected(ix, InspectionKind::Periodic, &by, at.plus(4 * HOUR));
            if n == annual {
                self.inspected(ix, InspectionKind::Annual, &by, at.plus(4 * HOUR + 20 * MINUTE));
            }
            self.battery_measured(ix, &by, at.plus(HOUR));
        }
        if self.units[ix].name == stories::WEAKENS {
            for month in 0..12 {
                let day = self.calendar.ends.minus((3 + month * 30) * DAY);
                let (at, by) = (self.standing_still(ix, day, out), self.dice_electrician());
                self.battery_measured(ix, &by, at);
            }
        }
    }

    fn by_mechanical_inspector(&mut self, ix: usize, out: &Out) {
        let mut day = self.calendar.ends.minus(self.shop_dice.whole(1, 26) * DAY);
        while day > self.calendar.starts.plus(8 * DAY) {
            let at = self.standing_still(ix, day, out);
            self.inspected(ix, InspectionKind::MechanicalDaily, "w.sella", at);
            day = at.minus(self.shop_dice.whole(26, 32) * DAY);
        }
    }

    /// Of the last fortnight: what is older is with the paper only, and now and then one was not written down.
    fn daily(&mut self, ix: usize, out: &Out) {
        let begins: Vec<Instant> =
            out.get(&self.units[ix].name).into_iter().flatten().map(|(began, _)| *began).collect();
        let mut told = BTreeSet::new();
        for began in begins {
            let at = began.minus(35 * MINUTE);
            let day = self.calendar.day(began);
            // As the law has it by calendar days, so before midnight is another one.
            let at = if self.calendar.day(at) == day { at } else { began };
            let lately = at > self.calendar.ends.minus(15 * DAY);
            if lately && told.insert(day) && self.shop_dice.chance(0.94) {
                let by = self.dice_electrician();
                self.inspected(ix, InspectionKind::Daily, &by, at);
            }
        }
    }

    fn dice_electrician(&mut self) -> String {
        self.shop_dice.pick(&self.fleet.electricians).clone()
    }

    fn inspected(&mut self, ix: usize, kind: InspectionKind, by: &str, at: Instant) {
        let found = self.shop_dice.chance(if kind == InspectionKind::Periodic { 0.3 } else { 0.02 });
        let (conditions, repairs) = if found { *self.shop_dice.pick(&CONDITIONS) } else { ("none", None) };
        let certified = kind == InspectionKind::Periodic;
        let certified =
            certified.then(|| (*self.shop_dice.pick(&["Rhona Dunmore", "Carl Holmsund"])).to_owned());
        let place = self.fleet.units[ix].home_shop.clone().unwrap_or_else(|| PLACES[0].to_owned());
        let done = InspectionDone {
            id: self.paper_id(at),
            unit: UnitName::from(self.units[ix].name.as_str()),
            kind,
            at,
            place,
            conditions: conditions.to_owned(),
            repairs: repairs.map(str::to_owned),
            repaired_by: repairs.map(|_| SignIn::from(by)),
            certified_by: certified,
        };
        let recorded = at.plus(self.shop_dice.minutes(3, 40));
        self.put(recorded, Act::Inspected { by: by.to_owned(), done: Box::new(done) });
    }
}
