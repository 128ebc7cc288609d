//! Made-up units with made-up histories, from a seed: what the server knows whole, and what a tablet has of it, a
//! picture taken some time ago and its own queue.
use std::{collections::BTreeMap, sync::Arc};

use breakerbook::{
    base::{EntryId, Instant, ReportId, SignIn, Tag, UnitName, Zone},
    people::{People, Person, Role},
    reports::{
        Entry, stored,
        vocabulary::{Signs, TestCock},
    },
    roster::{
        Schedule,
        schedule::{CrewResets, StartLimits, StartMotors},
    },
    rules::{
        Dossier, DossierKey, Fact, Told,
        dossier::Subject,
        reset_answer::{Asked, ResetAnswer, Verdict, reset_answer},
        routing::{Source, route, shop_fact},
        situation::{self, Beside, InShop, UnitSituation},
        start_answer::{Readings, ShutDown, Situation, StartAnswer, start_answer},
    },
};
use serde_json::{Map, Value, json};
use uuid::Uuid;

const UNIT: &str = "QHB 412";
const MINUTE: i64 = 60_000_000;
const HOUR: i64 = 60 * MINUTE;
const ZONES: &[&str] = &["America/Chicago", "America/St_Johns", "Asia/Kathmandu", "Etc/UTC", "Europe/London"];

/// SplitMix64 (Steele, Lea, Flood 2014).
pub struct Dice(pub u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: i64) -> i64 {
        i64::try_from(self.next() % n.unsigned_abs()).unwrap()
    }

    fn chance(&mut self, percent: i64) -> bool {
        self.below(100) < percent
    }

    fn one<'t, T>(&mut self, of: &'t [T]) -> &'t T {
        &of[usize::try_from(self.below(i64::try_from(of.len()).unwrap())).unwrap()]
    }

    /// Nothing, or one of these.
    fn maybe<'t, T>(&mut self, percent: i64, of: &'t [T]) -> Option<&'t T> {
        self.chance(percent).then(|| self.one(of))
    }

    /// Whole figures and such with a decimal.
    fn figure(&mut self, least: i64, most: i64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a gauge's figure")]
        let tenths = (least * 10 + self.below((most - least) * 10)) as f64;
        if self.chance(50) { (tenths / 10.0).round() } else { tenths / 10.0 }
    }
}

/// One unit at one moment, as server and tablet have it.
pub struct Case {
    pub tablet: UnitSituation,
    /// Reports in the tablet's queue, as the contract has them.
    pub queue: Vec<Value>,
    pub tag: Tag,
    pub ticked: Vec<Signs>,
    pub tripped_at: Option<Instant>,
    pub readings: Readings,
    pub now: Instant,
    pub reset: ResetAnswer,
    pub start: StartAnswer,
}

impl Case {
    pub fn of(seed: u64) -> Self {
        Making::new(seed).case()
    }

    pub fn asked(&self) -> Value {
        let mut unit = serde_json::to_value(&self.tablet).unwrap();
        unit["words"] = json!(situation::words());
        json!({
            "unit": unit, "queue": self.queue, "tag": self.tag, "ticked": self.ticked,
            "tripped_at": self.tripped_at.map(|at| at.0 / 1000), "readings": self.readings, "now": self.now.0 / 1000,
        })
    }

    /// What the script has to say.
    pub fn wanted(&self) -> Value {
        let (verdict, until) = match self.reset.verdict {
            Verdict::Allowed => ("allowed", None),
            Verdict::WaitUntil(until) => ("wait", Some(until.0 / 1000)),
            Verdict::DoNot => ("do_not", None),
        };
        let ResetAnswer { says, before, after, if_left_off, others_not_known, always, defers, .. } =
            &self.reset;
        json!({
            "reset": {
                "verdict": verdict, "until": until, "says": says, "before": before, "after": after,
                "if_left_off": if_left_off, "others_not_known": others_not_known, "always": always, "defers": defers,
            },
            "start": self.start,
        })
    }
}

struct Making {
    dice: Dice,
    ids: u64,
    now: Instant,
    zone: Zone,
    people: People,
    me: SignIn,
    schedule: Option<Schedule>,
}

impl Making {
    fn new(seed: u64) -> Self {
        let mut dice = Dice(seed);
        let mut people = People::default();
        for (name, role) in [
            ("n.okafor", Role::Crew),
            ("c.rey", Role::Crew),
            ("t.brask", Role::Shop),
            ("m.ruiz", Role::Supervisor),
        ] {
            let person = Person {
                sign_in: name.into(),
                role,
                added_at: Instant(0),
                active: true,
                last: Default::default(),
            };
            people.persons.insert(name.into(), Arc::new(person));
        }
        // Around the change of clocks of 8 March 2026, to the minute.
        let now =
            Instant::parse("2026-03-08T08:00:00Z").unwrap().plus((dice.below(20_000) - 10_000) * MINUTE);
        let zone = Zone::named(dice.one::<&str>(ZONES)).unwrap();
        let me = if dice.chance(85) { "n.okafor".into() } else { "t.brask".into() };
        let schedule = dice.chance(95).then(|| schedule(&mut dice));
        Self { dice, ids: seed << 16, now, zone, people, me, schedule }
    }

    fn case(mut self) -> Case {
        let picture =
            self.now.minus(*self.dice.one(&[0, 0, 5 * MINUTE, HOUR, 61 * MINUTE, 9 * HOUR, 30 * HOUR]));
        let mut facts = self.in_the_book(picture);
        let shop = self.in_shop(picture);
        let tablet =
            situation::of(&UNIT.into(), &dossiers(facts.clone()), shop.clone(), &self.beside(picture));
        let mut queue: Vec<Value> = Vec::new();
        for _ in 0..*self.dice.one(&[0, 0, 1, 1, 2]) {
            let (report, told) = self.waiting();
            facts.extend(told);
            queue.push(report);
        }
        self.answered(picture, tablet, queue, dossiers(facts), shop)
    }

    /// What everybody wrote, up to a year and more ago.
    fn in_the_book(&mut self, picture: Instant) -> Vec<(Subject, Fact)> {
        let mut facts = Vec::new();
        for _ in 0..self.dice.below(9) {
            let days = *self.dice.one(&[1, 1, 2, 10, 40, 400]);
            let at = picture.minus(self.dice.below(days * 24 * 60) * MINUTE);
            if self.dice.chance(15) {
                let fact = if self.dice.chance(30) { self.named(at, &facts) } else { self.shop(at) };
                facts.push(fact);
            } else {
                let author = *self.dice.one(&["n.okafor", "c.rey", "t.brask"]);
                let entry = self.entry(at, false);
                facts.extend(self.routed(&entry, &author.into()));
            }
        }
        facts
    }

    /// A report in the queue, of the last six days.
    fn waiting(&mut self) -> (Value, Vec<(Subject, Fact)>) {
        let mut entries = Vec::new();
        for _ in 0..=self.dice.below(3) {
            let minutes = *self.dice.one(&[60, 24 * 60, 6 * 24 * 60]);
            // Some by a clock that is fast.
            let at = self.now.minus((self.dice.below(minutes) - 4) * MINUTE);
            entries.push(self.entry(at, true));
        }
        let told = entries.iter().flat_map(|entry| self.routed(entry, &self.me)).collect();
        (json!({ "unit": UNIT, "author": self.me, "entries": entries }), told)
    }

    fn in_shop(&mut self, picture: Instant) -> InShop {
        InShop {
            held: self.dice.chance(6).then(|| picture.minus(HOUR)),
            repairs: match self.dice.below(20) {
                0 => vec![(picture.minus(2 * HOUR), None)],
                1 => vec![(picture.minus(3 * HOUR), Some("TC2".into())), (picture.minus(HOUR), None)],
                _ => Vec::new(),
            },
        }
    }

    fn beside(&self, now: Instant) -> Beside<'_> {
        let Self { me, people, zone, schedule, .. } = self;
        Beside { me, people, zone, schedule: schedule.as_ref(), now }
    }

    /// What the server would say, that has everything.
    fn answered(
        mut self,
        picture: Instant,
        tablet: UnitSituation,
        queue: Vec<Value>,
        whole: Vec<(DossierKey, Dossier)>,
        shop: InShop,
    ) -> Case {
        let now = self.now;
        let tag = Tag::from(*self.dice.one(&["TC2", "TC2", "TC2", "LCP", "SF", "not listed: AUX COMPR"]));
        let signs = [Signs::None, Signs::Smoke, Signs::NotLooked];
        let ticked: Vec<Signs> = self.dice.maybe(15, &signs).copied().into_iter().collect();
        let tripped_at = self.dice.chance(50).then(|| now.minus(self.dice.below(4) * MINUTE));
        let readings = self.readings();
        let of_it = whole.iter().find(|(key, _)| key.subject == Subject::Device(tag.clone()));
        let reset = reset_answer(&Asked {
            device: self.schedule.as_ref().and_then(|s| s.device(&tag)),
            facts: of_it.map_or(&[], |(_, dossier)| dossier.facts()),
            me: &self.me,
            people: &self.people,
            ticked: &ticked,
            tripped_at,
            picture_from: picture,
            now,
            zone: &self.zone,
        });
        // As if nothing were old: nothing is left out.
        let book = situation::in_book(&whole, shop, &self.beside(Instant(0)));
        let situation = Situation { picture_from: picture, book, readings: readings.clone() };
        let start = start_answer(&situation, &self.zone, now);
        Case { tablet, queue, tag, ticked, tripped_at, readings, now, reset, start }
    }

    fn readings(&mut self) -> Readings {
        let dice = &mut self.dice;
        let volts = dice.figure(45, 75);
        let psi = dice.figure(60, 130);
        Readings {
            battery_rest_v: dice.chance(85).then_some(volts),
            main_reservoir_psi: dice.chance(80).then_some(psi),
            test_cock: dice
                .maybe(
                    70,
                    &[TestCock::Clear, TestCock::Clear, TestCock::Clear, TestCock::Fuel, TestCock::NotLooked],
                )
                .copied(),
            shut_down: dice.maybe(30, &[ShutDown::Short, ShutDown::Long]).copied(),
            not_right: dice.maybe(8, &["Oil on the dipstick".to_owned()]).cloned().into_iter().collect(),
            seen_on: dice.maybe(20, &[Tag::from("LCP"), Tag::from("SF")]).cloned().into_iter().collect(),
        }
    }

    fn id(&mut self) -> EntryId {
        self.ids += 1;
        // Not in the order of time: ids only break ties.
        EntryId(Uuid::from_u64_pair(self.dice.next() | 1, self.ids))
    }

    /// A repair closed, of a device or of the unit.
    fn shop(&mut self, at: Instant) -> (Subject, Fact) {
        self.ids += 1;
        let act = EntryId(Uuid::from_u64_pair(0, self.ids));
        let closed = Told::RepairClosed { new_life: false, no_fault_found: false, from: None };
        let (subject, told) = match self.dice.below(6) {
            0 => (Subject::Unit, Told::StartRepaired),
            1 => (Subject::Unit, Told::Released),
            2 => (Subject::Unit, closed),
            _ => (Subject::Device((*self.dice.one(TAGS)).into()), closed),
        };
        (subject, shop_fact(act, at, &"t.brask".into(), (1, at), told))
    }

    /// A repair of the unit closed that answers some of what was written before, and nothing else.
    fn named(&mut self, at: Instant, facts: &[(Subject, Fact)]) -> (Subject, Fact) {
        self.ids += 1;
        let act = EntryId(Uuid::from_u64_pair(0, self.ids));
        let some = facts.iter().filter(|_| self.dice.chance(60)).map(|(_, fact)| fact.entry).collect();
        let told = Told::RepairAnswered { entries: some };
        (Subject::Unit, shop_fact(act, at, &"t.brask".into(), (1, at), told))
    }

    fn routed(&self, entry: &Value, author: &SignIn) -> Vec<(Subject, Fact)> {
        let entry: Entry = stored::entry(&entry.to_string()).unwrap_or_else(|why| panic!("{why}: {entry}"));
        let (recorded_at, author) = (entry.when.at(), author.clone());
        let report = ReportId(Uuid::nil());
        let source = Source { report, seq: 2, author, recorded_at, run: None, position: None };
        route(&source, &entry, self.schedule.as_ref())
    }

    /// Of the contract, of any kind. On a tablet nobody names somebody of the shop: it does not know who is.
    fn entry(&mut self, at: Instant, queued: bool) -> Value {
        let id = self.id();
        let kind = *self.dice.one(&KINDS);
        let mut map = Map::new();
        let mut put = |name: &str, value: Value| drop(map.insert(name.to_owned(), value));
        let dice = &mut self.dice;
        let bypass = kind == "bypass";
        let field = match (bypass, dice.chance(15)) {
            (false, false) => "at",
            (false, true) => "found_at",
            (true, false) => "opened_at",
            (true, true) => "found_open_at",
        };
        put("id", json!(id));
        put("kind", json!(kind));
        put(field, json!(at.to_z()));
        if let Some(signs) =
            dice.maybe(15, &["none", "smell", "smoke", "heat", "arcing", "water", "not_looked"])
        {
            put("signs", json!(signs));
        }
        let people: &[&str] = if queued { &["n.okafor", "c.rey"] } else { &["n.okafor", "c.rey", "t.brask"] };
        for (name, value) in told(kind, at, people, dice) {
            put(name, value);
        }
        Value::Object(map)
    }
}

const TAGS: &[&str] = &["TC2", "TC2", "TC2", "LCP", "SF"];
const KINDS: [&str; 14] = [
    "breaker_trip",
    "breaker_trip",
    "breaker_trip",
    "breaker_trip",
    "position",
    "position",
    "fuse_check",
    "ground_relay",
    "bypass",
    "engine_start",
    "engine_start",
    "engine_start",
    "shutdown",
    "defect",
];

fn told(kind: &str, at: Instant, people: &[&str], dice: &mut Dice) -> Vec<(&'static str, Value)> {
    let later = |dice: &mut Dice| at.plus(dice.below(180) * MINUTE).to_z();
    let device = json!(match dice.below(12) {
        0 => json!({ "not_listed": " aux  compr" }),
        _ => json!(dice.one(TAGS)),
    });
    let basis = ["examined", "overload_known", "looked_no_sign", "told_by_shop", "not_determined"];
    match kind {
        "breaker_trip" => {
            let resets: Vec<Value> = (0..dice.below(3))
                .map(|_| {
                    let at = dice.chance(80).then(|| later(dice));
                    let result =
                        dice.maybe(90, &["held", "held", "tripped_again", "would_not_latch"]).copied();
                    json!({ "at": at, "basis": dice.maybe(80, &basis), "result": result })
                })
                .collect();
            let left = dice.one(&["on", "on", "on", "off", "tripped", "cut_out", "not_known"]);
            vec![("device", device), ("resets", json!(resets)), ("left", json!(left))]
        }
        "position" => {
            let device = if dice.chance(30) { json!("GRC") } else { device };
            let seen = ["on", "off", "tripped", "open", "closed", "not_looked"];
            let by = match dice.below(4) {
                0 => Value::Null,
                1 => json!("not_known"),
                2 => json!({ "name": "the electrician" }),
                _ => json!(dice.one(people)),
            };
            let moved = dice.maybe(50, &["on", "off", "open", "closed"]);
            vec![("device", device), ("seen", json!(dice.one(&seen))), ("moved_to", json!(moved)), ("by", by)]
        }
        "fuse_check" => {
            let result = ["good", "blown", "blown", "missing", "wrong_one", "bridged", "not_known"];
            let put_in = dice.chance(40).then(|| json!({ "rating_a": 400 }));
            vec![
                ("device", device),
                ("result", json!(dice.one(&result))),
                ("replaced_by", json!(put_in)),
                ("basis", json!(dice.maybe(70, &basis))),
            ]
        }
        "ground_relay" => vec![("device", Value::Null), ("operations", json!(dice.maybe(50, &[1, 2, 3])))],
        "bypass" => {
            let protection = ["lock", "tag", "blue_signal", "none", "not_looked"];
            let closed = dice.chance(30).then(|| later(dice));
            vec![
                ("device", json!("GRC")),
                ("by", json!("not_known")),
                ("protection", json!(dice.maybe(80, &protection))),
                ("closed_at", json!(closed)),
            ]
        }
        _ => told_of_engine(kind, dice),
    }
}

fn told_of_engine(kind: &str, dice: &mut Dice) -> Vec<(&'static str, Value)> {
    let notice = dice.chance(15).then_some("Do not start");
    match kind {
        "engine_start" => {
            let outcome = [
                "running",
                "running",
                "running",
                "no_crank",
                "slow_crank",
                "no_fire",
                "started_then_stopped",
                "low_oil",
                "low_water",
                "overspeed",
                "crankcase_device",
                "not_known",
            ];
            let cock = ["clear", "clear", "clear", "water", "not_looked", "not_known"];
            let volts = dice.figure(35, 60);
            vec![
                ("attempt", json!(dice.maybe(60, &[1, 1, 2, 3]))),
                ("motors", json!(dice.maybe(60, &["both", "electric", "air"]))),
                ("battery_cranking_v", json!(dice.chance(60).then_some(volts))),
                ("test_cock_result", json!(dice.maybe(50, &cock))),
                ("outcome", json!(dice.one(&outcome))),
            ]
        }
        "shutdown" => {
            let cause = [
                "crew",
                "crew",
                "crew",
                "low_oil",
                "low_water",
                "overspeed",
                "crankcase_device",
                "not_known",
            ];
            vec![("cause", json!(dice.maybe(90, &cause))), ("warning_notice", json!(notice))]
        }
        _ => vec![("text", json!("horn weak")), ("warning_notice", json!(notice))],
    }
}

fn dossiers(facts: Vec<(Subject, Fact)>) -> Vec<(DossierKey, Dossier)> {
    let mut all: BTreeMap<Subject, Vec<Fact>> = BTreeMap::new();
    for (subject, fact) in facts {
        all.entry(subject).or_default().push(fact);
    }
    let key = |subject| DossierKey { unit: UnitName::from(UNIT), subject };
    all.into_iter().map(|(subject, facts)| (key(subject), Dossier::of(facts))).collect()
}

fn schedule(dice: &mut Dice) -> Schedule {
    let start = StartLimits {
        motors: dice
            .maybe(95, &[StartMotors::Both, StartMotors::Both, StartMotors::Electric, StartMotors::Air])
            .copied(),
        control_min_v: dice.maybe(95, &[50.0, 52.5]).copied(),
        cranking_min_v: dice.maybe(90, &[43.0, 55.0]).copied(),
        air_min_psi: dice.maybe(60, &[90.0, 100.0]).copied(),
        crank_seconds_max: dice.maybe(80, &[20]).copied(),
        crank_rest_s: dice.maybe(80, &[120, 600]).copied(),
        crank_attempts: dice.maybe(80, &[2, 3]).copied(),
        long_shutdown_h: dice.maybe(90, &[4.0, 12.5, 48.0]).copied(),
    };
    let csv = "class,panel,panel_where,tag,legend,kind,start_group,ground_protection\n\
        E8,outside,nose,TC2,Traction 2,breaker,no,no\nE8,outside,nose,LCP,Local control,breaker,yes,no\n\
        E8,outside,nose,SF,Start fuse,fuse,yes,no\nE8,outside,nose,GRC,Cutout,switch,no,yes\n";
    let read = breakerbook::roster::import::schedules(csv.as_bytes(), Instant(0)).unwrap();
    let mut schedule = read.good.into_iter().next().unwrap();
    schedule.start = start;
    for device in &mut schedule.devices {
        device.crew_resets = CrewResets {
            times: dice.maybe(90, &[0, 1, 1, 2, 3]).copied(),
            hours: dice.maybe(80, &[24.0, 8.0, 0.5, 36.25]).copied(),
            wait_s: dice.maybe(80, &[0, 60, 90, 120, 3600]).copied(),
        };
        device.before_closing = dice.maybe(50, &["Idle, isolated.".to_owned()]).cloned();
    }
    schedule
}
