//! A made-up large railway and what its crews write, as pages of a book: stated shape, the same for the same size.
use breakerbook::{
    base::{
        Instant, SignIn, Stamp, UnitName,
        instant::{DAY, HOUR, MINUTE},
    },
    book::{Channel, Frontier, Heading, page, tree},
    desk::tables::PageRow,
};
use rand::{RngExt as _, SeedableRng as _, rngs::StdRng};
use serde_json::{json, value::RawValue};

/// How many units write, and for how long.
#[derive(Clone, Copy)]
pub struct Fleet {
    pub units: usize,
    pub days: i64,
}

/// The railway of ten million entries.
pub const LARGE: Fleet = Fleet { units: 2_500, days: 4 * 365 };
/// A shop's forty units after a year, as the demo has them.
pub const FORTY: Fleet = Fleet { units: 40, days: 365 };

/// Of any fleet, the most.
pub const UNITS: usize = LARGE.units;
pub const CLASSES: usize = 4;
/// Breakers and fuses of a class, and one ground-relay cutout.
pub const DEVICES: usize = 40;
pub const ENTRIES: usize = 5;
const CREWS: usize = 3_000;
pub const SHAPE: &str = "2,500 units of 4 classes x 40 devices, 4 years, 3,000 crews, 5 entries a report: 'cutout seen closed' in each; \
    of the others 55 in 100 trips, 12 fuse checks, 12 starts, 8 positions, 5 defects, 4 shutdowns, 4 ground-relay operations, \
    1 in 5,000 a bypass; a tenth of all trips on one bad device of each unit";

pub fn unit(n: usize) -> UnitName {
    UnitName::from(format!("QHB {}", 1_000 + n))
}

pub fn crew(n: usize) -> SignIn {
    SignIn::from(format!("c.crew{}", n % CREWS))
}

pub fn tag(n: usize) -> String {
    match n {
        0 => "GRC".to_owned(),
        1..=31 => format!("B{n:02}"),
        _ => format!("F{n:02}"),
    }
}

/// What is pending about a unit.
#[derive(Clone, Default)]
struct Standing {
    /// A device left tripped or off.
    open: Option<usize>,
    defect: bool,
    seal: usize,
}

pub struct Railway {
    dice: StdRng,
    units: Vec<Standing>,
}

/// A page's kind, author, time and body.
pub struct Page {
    pub kind: &'static str,
    pub author: Option<SignIn>,
    pub at: Instant,
    pub body: String,
}

impl Railway {
    pub fn new(fleet: Fleet, seed: u64) -> Self {
        let units = (0..fleet.units).map(|n| Standing { seal: 20_000 + n, ..Standing::default() });
        Self { dice: StdRng::seed_from_u64(seed), units: units.collect() }
    }

    /// As the units stand in a book: with the seals that were applied last.
    pub fn seal(&mut self, applied: impl IntoIterator<Item = (UnitName, usize)>) {
        for (name, seal) in applied {
            if let Some(n) = (0..self.units.len()).find(|n| unit(*n) == name) {
                self.units[n].seal = seal;
            }
        }
    }

    /// The pages that come before any report.
    pub fn roster(&self, at: Instant) -> Vec<Page> {
        let page = |kind, body: serde_json::Value| Page { kind, author: None, at, body: body.to_string() };
        let person = |name: &str, role: &str| {
            page(
                "person_added",
                json!({"sign_in": name, "role": role, "active": true, "name_digest": "0".repeat(64)}),
            )
        };
        let mut pages: Vec<Page> = (0..CREWS).map(|n| person(crew(n).as_str(), "crew")).collect();
        pages.push(person("shop.one", "shop"));
        pages.extend((0..CLASSES).map(|class| page("schedule_issued", schedule(class, at))));
        pages.extend((0..self.units.len()).map(|n| {
            page(
                "unit_added",
                json!({"unit": unit(n), "class": format!("QC{}", n % CLASSES), "in_service": "2001-05-01",
                "retired": null, "home_shop": "Quarrow"}),
            )
        }));
        pages
    }

    /// A report of a run that ended a few minutes ago, and what the shop did about it.
    pub fn report(&mut self, of: usize, signed: Instant) -> Vec<Page> {
        let author = crew(self.dice.random_range(0..CREWS));
        let body = self.report_body(of, signed, 4 * HOUR, &author);
        let mut pages = vec![Page { kind: "report_filed", author: Some(author), at: signed, body }];
        if self.units[of].defect && self.dice.random_bool(0.5) {
            self.units[of].defect = false;
            pages.extend(self.repair(of, None, signed));
        }
        if self.dice.random_bool(0.01) {
            let device = self.device(of);
            pages.extend(self.repair(of, Some(device), signed));
        }
        pages
    }

    /// The contract's JSON, as the book has it.
    pub fn report_body(&mut self, of: usize, signed: Instant, length: i64, author: &SignIn) -> String {
        let (ended, started) = (signed.minus(5 * MINUTE), signed.minus(length));
        let mut entries = vec![self.look(of, started.plus(length / 50))];
        for n in 1..i64::try_from(ENTRIES).unwrap() {
            let at = started.plus(n * length / 6 + self.dice.random_range(0..length / 7));
            entries.push(self.entry(of, at, author));
        }
        format!(
            r#"{{"id":"{}","unit":"{}","author":"{author}","occasion":"run","final":true,"run":{{"symbol":"Q{}","from":"Quarrow","to":"Slate Gap","started":"{}","ended":"{}"}},"position":"lead","weather":"dry","entries":[{}],"signed_at":"{}"}}"#,
            self.id(signed),
            unit(of),
            of % 90 + 10,
            started.to_z(),
            ended.to_z(),
            entries.join(","),
            signed.to_z()
        )
    }

    fn look(&mut self, of: usize, at: Instant) -> String {
        let seal = self.units[of].seal;
        self.told(at, "position", &format!(r#""device":"GRC","seen":"closed","seal":"{seal}""#))
    }

    fn entry(&mut self, of: usize, at: Instant, author: &SignIn) -> String {
        if let Some(open) = self.units[of].open
            && self.dice.random_bool(0.8)
        {
            self.units[of].open = None;
            let body = format!(
                r#""device":"{}","seen":"tripped","moved_to":"on","by":"{author}","why":"closed as the shop said""#,
                tag(open)
            );
            return self.told(at, "position", &body);
        }
        let device = self.device(of);
        let name = tag(device);
        match self.dice.random_range(0..5_000) {
            0 => self.bypass(of, at, author),
            1..2_750 => self.trip(of, device, at),
            2_750..3_350 => {
                let fuse = self.dice.random_range(32..DEVICES);
                let good = self.dice.random_bool(0.7);
                let fitted = r#"{"rating_a":60,"rating_v":250,"speed":"slow","body":"B"}"#;
                let what = if good { r#""result":"good","tested_with":"meter""#.to_owned() } else {
                    format!(r#""result":"blown","tested_with":"meter","fitted":{fitted},"replaced_by":{fitted},"basis":"examined""#)
                };
                self.told(at, "fuse_check", &format!(r#""device":"{}",{what}"#, tag(fuse)))
            }
            3_350..3_950 => {
                let volts = f64::from(self.dice.random_range(440..520)) / 10.0;
                let outcome = if self.dice.random_bool(0.95) { "running" } else { "no_fire" };
                self.told(at, "engine_start", &format!(
                    r#""attempt":1,"after_long_shutdown":"no","battery_cranking_v":{volts},"main_reservoir_psi":96,"outcome":"{outcome}""#
                ))
            }
            3_950..4_350 => self.told(at, "position", &format!(r#""device":"{name}","seen":"on""#)),
            4_350..4_600 => self.defect(of, at),
            4_600..4_800 => self.told(at, "shutdown", r#""cause":"crew","water_drained":"no""#),
            _ => self.told(at, "ground_relay", r#""operations":1,"mode":"motoring","circuit":"high_voltage","reset":"by_hand","after":"loads_again""#),
        }
    }

    fn trip(&mut self, of: usize, device: usize, at: Instant) -> String {
        let left = match self.dice.random_range(0..100) {
            0..94 => "on",
            94..97 => "off",
            _ => "tripped",
        };
        if left != "on" {
            self.units[of].open = Some(device);
        }
        let reset = at.plus(3 * MINUTE).to_z();
        let result = if left == "on" { "held" } else { "tripped_again" };
        let body = format!(
            r#""place":"MP 41.2","throttle":"run_8","speed_mph":38,"load_a":610,"signs":"none","device":"{}","resets":[{{"at":"{reset}","basis":"looked_no_sign","result":"{result}"}}],"left":"{left}""#,
            tag(device)
        );
        self.told(at, "breaker_trip", &body)
    }

    fn defect(&mut self, of: usize, at: Instant) -> String {
        let restricted = self.dice.random_bool(0.15);
        self.units[of].defect |= restricted;
        let may = if restricted {
            r#""may_go_on":"restricted","restriction":"trail only""#
        } else {
            r#""may_go_on":"yes""#
        };
        self.told(
            at,
            "defect",
            &format!(r#""system":"cab_signal","text":"Drops out over the east switch",{may}"#),
        )
    }

    fn bypass(&mut self, of: usize, at: Instant, author: &SignIn) -> String {
        let found = self.units[of].seal;
        self.units[of].seal = found + UNITS;
        let body = format!(
            r#""device":"GRC","opened_at":"{}","by":"{author}","authorised_by":"shop.one","authorised_how":"written","purpose":"insulation_test","engine_running":"no","power_taken":"no","protection":"lock","seal_found":"{found}","closed_at":"{}","closed_by":"{author}","seal_applied":"{}""#,
            at.to_z(),
            at.plus(40 * MINUTE).to_z(),
            found + UNITS
        );
        format!(r#"{{"id":"{}","kind":"bypass","at_how":"clock",{body}}}"#, self.id(at))
    }

    fn told(&mut self, at: Instant, kind: &str, body: &str) -> String {
        format!(r#"{{"id":"{}","kind":"{kind}","at":"{}","at_how":"clock",{body}}}"#, self.id(at), at.to_z())
    }

    /// A breaker: some trip far oftener than others, and one of each unit is a bad one.
    fn device(&mut self, of: usize) -> usize {
        if self.dice.random_bool(0.1) {
            return 1 + of % 31;
        }
        let two: (usize, usize) = (self.dice.random_range(1..32), self.dice.random_range(1..32));
        two.0.min(two.1)
    }

    fn repair(&mut self, of: usize, device: Option<usize>, at: Instant) -> [Page; 2] {
        let id = self.id(at);
        let page = |kind, at: Instant, body: serde_json::Value| Page {
            kind,
            author: Some(SignIn::from("shop.one")),
            at,
            body: body.to_string(),
        };
        let (opened, closed) = (at.plus(HOUR), at.plus(3 * HOUR));
        [
            page(
                "repair_opened",
                opened,
                json!({"id": id, "unit": unit(of), "device": device.map(tag),
                "at": opened.to_z(), "findings": []}),
            ),
            page(
                "repair_closed",
                closed,
                json!({"id": id, "at": closed.to_z(), "cause": "loose lug, tightened",
                "words": null, "new_life": false}),
            ),
        ]
    }

    fn id(&mut self, at: Instant) -> String {
        let millis = u64::try_from(at.0 / 1000).unwrap();
        uuid::Builder::from_unix_timestamp_millis(millis, &self.dice.random()).into_uuid().to_string()
    }
}

impl Page {
    /// The page as it stands in the book, at its end.
    pub fn row(&self, frontier: &mut Frontier) -> PageRow {
        let heading = Heading {
            author: self.author.clone(),
            channel: Channel::Import,
            on_behalf_of: None,
            recorded_at: Stamp::utc(self.at.plus(MINUTE)),
            happened_at: Some(Stamp::utc(self.at)),
        };
        let body = RawValue::from_string(self.body.clone()).unwrap();
        let seq = frontier.size();
        let blob = page::write(seq, self.kind, &heading, &body).unwrap();
        let leaf = tree::leaf_hash(blob.as_bytes());
        frontier.push(leaf);
        PageRow { seq, blob, leaf: leaf.to_string() }
    }
}

fn schedule(class: usize, at: Instant) -> serde_json::Value {
    let device = |n: usize| {
        json!({"tag": tag(n), "legend": format!("Device {n}"), "kind": if n < 32 { "breaker" } else { "fuse" },
            "place": {"on_panel": {"panel": "P1", "row": n / 8 + 1, "column": n % 8 + 1}}, "rating_a": 60.0, "rating_v": 250.0,
            "speed": "slow", "body": "B", "feed": null, "start_group": false, "normal_lead": "on", "normal_trail": "on",
            "normal_dead": "any", "normal_shut_down": "any", "keep_on_running": false, "keep_on_after_shutdown_min": null,
            "crew_resets": {"times": 3, "hours": 24.0, "wait_s": 60}, "overload_by_design": false, "before_closing": null,
            "after_closing": null, "if_left_off": null, "off_effect": "one motor", "restricts_off": [],
            "ground_protection": n == 0, "safety_device": false, "severity": null})
    };
    json!({"class": format!("QC{class}"), "effective": at.minus(30 * DAY).to_z(),
        "start": {"control_min_v": null, "cranking_min_v": null, "air_min_psi": null},
        "panels": [{"name": "P1", "title": "Panel", "at": "cab", "rows": 5, "columns": 8}],
        "devices": (0..DEVICES).map(device).collect::<Vec<_>>()})
}
