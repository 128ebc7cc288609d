//! The ordinary running of forty units: who took which out, when, and what they wrote down.
use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::{
    days::Calendar,
    dice::Dice,
    fleet::Fleet,
    form::{Filing, Leg, PLACES},
    history::{Act, Event},
    shop::Owed,
    stories,
};
use crate::base::{
    Instant, Zone,
    instant::{DAY, HOUR, MINUTE},
};

/// How a unit stands, as the year goes on.
pub struct UnitState {
    pub name: String,
    pub class: String,
    pub place: usize,
    /// From when it can go out again.
    pub ready: Instant,
    /// No ordinary run begins later: the rest of the year belongs to a story, or the unit stands silent.
    pub until: Instant,
    /// Nobody writes anything about it in between.
    pub silent: Option<(Instant, Instant)>,
    pub last_end: Instant,
    /// The number of the seal on its ground-relay cutout.
    pub seal: i64,
    /// No ground-relay operation earlier than this, so that none follows a test too closely.
    pub quiet_ground_until: Instant,
    pub owed: Vec<Owed>,
    pub last_reset: BTreeMap<String, Instant>,
    /// How much more or less trouble than the class each device of it gives.
    pub luck: f64,
}

pub struct CrewState {
    pub sign_in: String,
    pub free_at: Instant,
}

/// A crew's part in a run, the same for every unit of the consist but for the position.
pub struct Turn<'t> {
    pub leg: &'t Leg,
    pub author: &'t str,
    pub position: &'static str,
    pub consist: &'t [String],
}

pub struct Year<'a> {
    pub dice: Dice,
    /// What the shop measures and inspects is thrown with these, so that it moves nothing else of the year.
    pub shop_dice: Dice,
    pub calendar: Calendar<'a>,
    pub fleet: Fleet,
    pub units: Vec<UnitState>,
    pub crews: Vec<CrewState>,
    pub next_seal: i64,
    events: Vec<Event>,
}

impl<'a> Year<'a> {
    pub fn new(seed: u64, ends: Instant, zone: &'a Zone) -> Self {
        let mut dice = Dice::seeded(seed);
        let calendar = Calendar::new(ends, zone, &mut dice);
        let fleet = Fleet::embedded();
        let (starts, mut next_seal) = (calendar.starts, 20_100);
        let mut units = Vec::new();
        for row in &fleet.units {
            next_seal += dice.whole(3, 9);
            units.push(UnitState {
                name: row.unit.clone(),
                class: row.class.clone(),
                place: usize::try_from(dice.whole(0, 4)).unwrap_or(0),
                ready: starts.plus(dice.minutes(60, 48 * 60)),
                until: stories::ordinary_until(&row.unit, calendar.ends),
                silent: stories::silence(&row.unit, calendar.ends),
                last_end: starts,
                seal: next_seal,
                quiet_ground_until: starts,
                owed: Vec::new(),
                last_reset: BTreeMap::new(),
                luck: dice.between(0.7, 1.3),
            });
        }
        let crews = fleet.crews.iter().filter(|name| !stories::is_story_crew(name));
        let crews = crews.map(|name| CrewState { sign_in: name.clone(), free_at: starts }).collect();
        let shop_dice = Dice::seeded(seed ^ 0x5409);
        Self { dice, shop_dice, calendar, fleet, units, crews, next_seal, events: Vec::new() }
    }

    /// What was put so far, in no order.
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    pub fn into_events(self) -> Vec<Event> {
        self.events
    }

    pub fn put(&mut self, at_recorded: Instant, act: Act) {
        self.events.push(Event { at_recorded, act });
    }

    /// Always the unit that is ready first, until none may go out any more.
    pub fn ordinary_running(&mut self) {
        while let Some(lead) = self.first_ready() {
            let members = self.consist(lead);
            let leg = self.leg(&members);
            let author = self.crew_for(&leg);
            let names: Vec<String> = members.iter().map(|&ix| self.units[ix].name.clone()).collect();
            for (order, &ix) in members.iter().enumerate() {
                let position = if order > 0 {
                    "trail"
                } else if members.len() > 1 {
                    "lead"
                } else {
                    "single"
                };
                self.run(ix, &Turn { leg: &leg, author: &author, position, consist: &names });
            }
        }
    }

    fn first_ready(&self) -> Option<usize> {
        let may_go = |ix: &usize| self.units[*ix].ready < self.units[*ix].until;
        (0..self.units.len()).filter(may_go).min_by_key(|&ix| self.units[ix].ready)
    }

    /// Yard units work alone. Road units take along one or two that stand at the same place and are ready soon.
    fn consist(&mut self, lead: usize) -> Vec<usize> {
        let (place, ready) = (self.units[lead].place, self.units[lead].ready);
        let mut members = vec![lead];
        if self.is_yard(lead) || !self.dice.chance(0.5) {
            return members;
        }
        let soon = ready.plus(8 * HOUR);
        let most = if self.dice.chance(0.3) { 3 } else { 2 };
        for ix in 0..self.units.len() {
            let unit = &self.units[ix];
            let fits = ix != lead
                && !self.is_yard(ix)
                && unit.place == place
                && unit.ready <= soon
                && soon < unit.until;
            if fits && members.len() < most {
                members.push(ix);
            }
        }
        members
    }

    pub fn is_yard(&self, ix: usize) -> bool {
        self.units[ix].class == "QY4"
    }

    fn leg(&mut self, members: &[usize]) -> Leg {
        let ready = members.iter().map(|&ix| self.units[ix].ready).max().unwrap_or(self.calendar.ends);
        let free = self.crews.iter().map(|crew| crew.free_at).min().unwrap_or(ready);
        let start = ready.max(free);
        let from = self.units[members[0]].place;
        let to = if self.is_yard(members[0]) {
            from
        } else {
            (from + usize::try_from(self.dice.whole(1, 4)).unwrap_or(1)) % PLACES.len()
        };
        self.leg_between(from, to, start)
    }

    /// About eight hours: under the twelve that a crew may work, whatever the dice add.
    pub fn leg_between(&mut self, from: usize, to: usize, start: Instant) -> Leg {
        let start = Instant(start.0 - start.0.rem_euclid(MINUTE));
        let letter = ["H", "Q", "C", "S", "V"][to];
        let symbol = format!("{letter}{}", self.dice.whole(10, 59));
        let end = start.plus(8 * HOUR + self.dice.minutes(-150, 150));
        Leg { symbol, from, to, start, end }
    }

    /// Somebody who is rested by then; a rest is ten hours at least.
    fn crew_for(&mut self, leg: &Leg) -> String {
        let free: Vec<usize> =
            (0..self.crews.len()).filter(|&ix| self.crews[ix].free_at <= leg.start).collect();
        let chosen = if free.is_empty() { 0 } else { *self.dice.pick(&free) };
        self.crews[chosen].free_at = leg.end.plus(10 * HOUR);
        self.crews[chosen].sign_in.clone()
    }

    /// One unit's part in a run: handover read, entries, the report, then rest or shop.
    fn run(&mut self, ix: usize, turn: &Turn<'_>) {
        let leg = turn.leg;
        if self.dice.chance(0.3) {
            let at = leg.start.minus(self.dice.minutes(6, 25));
            self.put(
                at,
                Act::HandoverRead { unit: self.units[ix].name.clone(), by: turn.author.to_owned(), at },
            );
        }
        let entries = self.entries_of_run(ix, leg);
        let waits = self.until_recorded();
        let (report, recorded) = self.file_run(ix, turn, entries, waits);
        self.perhaps_amend(&report, turn.author, recorded);
        let rest = self.dice.minutes(12 * 60, 76 * 60);
        let unit = &mut self.units[ix];
        unit.place = leg.to;
        unit.last_end = leg.end;
        unit.ready = leg.end.plus(rest);
        self.perhaps_to_the_shop(ix);
        let unit = &mut self.units[ix];
        if let Some((from, to)) = unit.silent
            && (from..to).contains(&unit.ready)
        {
            unit.ready = to;
        }
    }

    /// From signing to recording: mostly at once, often when the network comes back, now and then a day late.
    fn until_recorded(&mut self) -> i64 {
        match self.dice.whole(1, 100) {
            1..=2 => self.dice.minutes(25 * 60, 70 * 60),
            3..=30 => self.dice.minutes(4, 170),
            _ => self.dice.minutes(0, 2),
        }
    }

    /// Files the report of a run, or of a yard job, recorded `waits` after it was signed.
    pub fn file_run(
        &mut self,
        ix: usize,
        turn: &Turn<'_>,
        entries: Vec<Value>,
        waits: i64,
    ) -> (Value, Instant) {
        let signed_at = turn.leg.end.plus(self.dice.minutes(4, 28));
        let yard = self.is_yard(ix);
        let unit = self.units[ix].name.clone();
        let report = Filing {
            unit: &unit,
            author: turn.author,
            occasion: if yard { "yard" } else { "run" },
            is_final: true,
            leg: (!yard).then_some(turn.leg),
            position: Some(turn.position),
            consist: if turn.consist.len() > 1 { turn.consist } else { &[] },
            weather: Some(self.calendar.weather(turn.leg.start)),
            remarks: None,
            entries,
            signed_at,
        }
        .into_json(&mut self.dice, &self.calendar);
        let recorded = signed_at.plus(waits);
        self.put(recorded, Act::Report(report.clone()));
        (report, recorded)
    }

    /// One trip in twenty is put right later by whoever wrote it down.
    fn perhaps_amend(&mut self, report: &Value, author: &str, recorded: Instant) {
        let mut entries = report["entries"].as_array().into_iter().flatten();
        let trip = entries.find(|entry| entry["kind"] == "breaker_trip");
        let Some(entry) = trip.filter(|_| self.dice.chance(0.05)) else { return };
        let at = recorded.plus(self.dice.minutes(40, 20 * 60));
        let mut replacement = entry.clone();
        let (reason, replacement) = if self.dice.chance(0.1) {
            ("Written down twice", Value::Null)
        } else if entry["place"] == "yard" {
            replacement["place"] = format!("yard, track {}", self.dice.whole(2, 14)).into();
            ("Which track it was on", replacement)
        } else {
            replacement["place"] = self.mile_post().into();
            ("Wrong mile post", replacement)
        };
        let amendment = json!({
            "id": self.dice.id(at), "report": report["id"], "entry": entry["id"], "author": author,
            "at": self.calendar.stamp(at), "reason": reason, "replacement": replacement,
        });
        self.put(at, Act::Amended(amendment));
    }

    pub fn mile_post(&mut self) -> String {
        format!("MP {}.{}", self.dice.whole(3, 180), self.dice.whole(0, 9))
    }

    pub fn class_figures(&mut self) {
        for as_of in self.calendar.firsts_of_months() {
            self.put(as_of, Act::ClassFigures { as_of });
        }
    }

    /// Days of service since the last run, as the book counts them: at most the last few.
    pub fn gap_days(&self, ix: usize, until: Instant) -> f64 {
        until.since(self.units[ix].last_end).clamp(0, 5 * DAY) as f64 / DAY as f64
    }
}
