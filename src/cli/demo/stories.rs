//! The seven stories near the end of the year, told on units and by crews that nothing else happens to then.
use serde_json::{Value, json};

use super::{
    bypasses::Opening,
    form::{Filing, Leg, PLACES},
    history::Act,
    troubles::four_figures,
    year::{Turn, Year},
};
use crate::{
    base::{
        Instant,
        instant::{DAY, HOUR, MINUTE},
    },
    rules::Rule,
};

/// Where a story is to be found, and the rule that says it; the insulation test was in order, so none does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Story {
    pub title: &'static str,
    pub unit: &'static str,
    pub device: &'static str,
    pub rule: Option<Rule>,
}

const fn story(title: &'static str, unit: &'static str, device: &'static str, rule: Option<Rule>) -> Story {
    Story { title, unit, device, rule }
}

pub const STORIES: [Story; 7] = [
    story("A breaker that tripped under four crews", "QHB 412", "TC2", Some(Rule::Burst)),
    story("A repair that did not hold", "QHB 427", "CF1", Some(Rule::DidNotHold)),
    story("One feed takes three breakers down", "QHB 405", "LVS", Some(Rule::SharedCause)),
    story("A fuse of the wrong rating", "QHB 430", "SF", Some(Rule::WrongFuse)),
    story("An insulation test in order", "QHB 433", "GRC", None),
    story("A cutout opened after the right had ended", "QHB 204", "GRC", Some(Rule::NotAuthorised)),
    story("A cutout found open by the next crew", "QHB 209", "GRC", Some(Rule::NobodyNamed)),
];

/// An insulation test in order that nobody has reviewed yet, so that a reviewer finds work and the one who
/// ordered it is refused.
pub const WAITING_FOR_REVIEW: &str = "QHB 408";

/// A unit whose battery loses ten volts in the year, and one whose ground relay operates when it
/// rains: they run like any other, and have no scene of their own.
pub const WEAKENS: &str = "QHB 406";
pub const LEAKS: &str = "QHB 422";

/// The four crews of the first story, then those of the others.
const TRIP_CREWS: [&str; 4] = ["n.okafor", "i.trelfa", "m.qvale", "t.brunnow"];
const CAST: [&str; 8] =
    ["e.sandvall", "d.askarin", "o.pell", "y.hadlan", "p.soule", "l.varnhem", "k.adomar", "s.ulvang"];

pub fn is_story_crew(sign_in: &str) -> bool {
    TRIP_CREWS.contains(&sign_in) || CAST.contains(&sign_in)
}

/// The last moment at which an ordinary run of that unit may begin.
pub fn ordinary_until(unit: &str, ends: Instant) -> Instant {
    let told = STORIES.iter().any(|story| story.unit == unit) || unit == WAITING_FOR_REVIEW;
    match unit {
        _ if told => ends.minus(34 * DAY),
        // Nothing was heard of this one for nearly three weeks.
        "QHB 208" => ends.minus(19 * DAY),
        _ => ends.minus(11 * HOUR),
    }
}

/// Weeks in which nobody wrote anything about a unit.
pub fn silence(unit: &str, ends: Instant) -> Option<(Instant, Instant)> {
    let (before_end, days) = match unit {
        "QHB 411" => (200, 26),
        "QHB 424" => (120, 31),
        "QHB 203" => (300, 21),
        _ => return None,
    };
    let from = ends.minus(before_end * DAY);
    Some((from, from.plus(days * DAY)))
}

/// Tells all of them. `day` is counted back from the last day; each unit runs on the days given.
pub fn tell(year: &mut Year<'_>) {
    let tellings: [fn(&mut Scene<'_, '_>); 8] = [
        four_crews,
        repair_did_not_hold,
        one_feed,
        wrong_fuse,
        test_in_order,
        right_had_ended,
        found_open,
        waits_for_review,
    ];
    let names = STORIES.iter().map(|story| story.unit).chain([WAITING_FOR_REVIEW]);
    for (place, (name, telling)) in names.zip(tellings).enumerate() {
        if let Some(ix) = year.units.iter().position(|unit| unit.name == name) {
            telling(&mut Scene { year, ix, place });
        }
    }
}

struct Scene<'s, 'y> {
    year: &'s mut Year<'y>,
    ix: usize,
    /// Which of the eight stories: it gives the hour of the day and the crew.
    place: usize,
}

impl Scene<'_, '_> {
    fn leg(&mut self, day: i32) -> Leg {
        let hour = i64::try_from(self.place).unwrap_or(0);
        let minute = self.year.dice.whole(0, 50);
        let start = self.year.calendar.ago(day, 1 + hour, minute);
        let from = self.year.units[self.ix].place;
        let step = usize::from(!self.year.is_yard(self.ix));
        let leg = self.year.leg_between(from, (from + step) % PLACES.len(), start);
        self.year.units[self.ix].place = leg.to;
        leg
    }

    /// No two stories have the same crew on the same day.
    fn crew(&self, day: i32) -> &'static str {
        let turn = usize::try_from(day).unwrap_or(0) * 3 + self.place;
        CAST[turn % CAST.len()]
    }

    /// Runs on which nothing happened, the cutout seen closed.
    fn quiet(&mut self, days: &[i32]) {
        for &day in days {
            let author = self.crew(day);
            self.run(day, author, |_, _| Vec::new());
        }
    }

    fn run(&mut self, day: i32, author: &str, happened: impl FnOnce(&mut Self, &Leg) -> Vec<Value>) {
        let leg = self.leg(day);
        let read_at = leg.start.minus(12 * MINUTE);
        let unit = self.year.units[self.ix].name.clone();
        self.year.put(read_at, Act::HandoverRead { unit, by: author.to_owned(), at: read_at });
        let mut entries = vec![self.year.cutout_closed(self.ix, leg.start.plus(15 * MINUTE))];
        entries.extend(happened(self, &leg));
        let turn = Turn { leg: &leg, author, position: "single", consist: &[] };
        self.year.file_run(self.ix, &turn, entries, 2 * MINUTE);
    }

    fn trip(&mut self, at: Instant, device: &str, result: &str, fields: Value) -> Value {
        let reset_at = self.year.calendar.stamp(at.plus(4 * MINUTE));
        let mut all = json!({
            "device": device, "at_how": "clock", "signs": "none",
            "resets": [{"at": reset_at, "basis": "looked_no_sign", "told_by": null, "result": result}],
            "left": if result == "held" { "on" } else { "tripped" },
        });
        if let (Value::Object(all), Value::Object(fields)) = (&mut all, fields) {
            all.extend(fields);
        }
        self.year.make("breaker_trip", at, all)
    }
}

/// Five trips in twenty-four days, each crew's own first or second, so that none of them sees a pattern.
fn four_crews(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[30, 28, 26]);
    for (day, crew, result, mile, load) in [
        (24, 0, "held", "MP 41.2", 610),
        (19, 1, "held", "MP 88.7", 655),
        (13, 2, "held", "MP 40.6", 640),
        (6, 3, "held", "MP 42.0", 590),
        (2, 0, "tripped_again", "MP 41.5", 615),
    ] {
        let running = json!({"place": mile, "throttle": "run_8", "speed_mph": 24, "load_a": load});
        scene.run(day, TRIP_CREWS[crew], |scene, leg| {
            vec![scene.trip(leg.start.plus(97 * MINUTE), "TC2", result, running)]
        });
        scene.quiet(match day {
            24 => &[22, 21],
            19 => &[17, 15],
            13 => &[11, 9, 8],
            6 => &[4],
            _ => &[],
        });
    }
}

/// Three trips, a repair, a quiet spell of two days, then three more.
fn repair_did_not_hold(scene: &mut Scene<'_, '_>) {
    let hot = |throttle: &str| json!({"place": "MP 117.3", "throttle": throttle, "speed_mph": 14});
    for day in [30, 27, 24] {
        let author = scene.crew(day);
        scene.run(day, author, |scene, leg| {
            vec![scene.trip(leg.start.plus(3 * HOUR), "CF1", "held", hot("run_8"))]
        });
    }
    let (year, ix) = (&mut *scene.year, scene.ix);
    let at = year.calendar.ago(23, 15, 10);
    year.hold(ix, "r.dunmore", at.minus(5 * HOUR), "CF1 tripped three times in a week");
    year.repair_closed(
        ix,
        Some("CF1"),
        "b.nyland",
        at,
        "Connection loose at the terminal strip, tightened",
        false,
    );
    let seen = year.cutout_closed(ix, at.plus(10 * MINUTE));
    year.file_in_shop(ix, "b.nyland", vec![seen], at.plus(20 * MINUTE));
    year.release(ix, "r.dunmore", at.plus(HOUR), "Fan tried for an hour");
    scene.quiet(&[22, 20]);
    for (day, throttle) in [(18, "run_8"), (14, "run_7"), (5, "run_8")] {
        let author = scene.crew(day);
        scene.run(day, author, |scene, leg| {
            vec![scene.trip(leg.start.plus(2 * HOUR), "CF1", "held", hot(throttle))]
        });
        scene.quiet(if day == 14 { &[12, 10, 8] } else { &[] });
    }
    scene.quiet(&[3, 1]);
}

/// Both displays and the radio within four minutes: three lines on paper, one cause.
fn one_feed(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[29, 26, 24, 21, 18, 16, 13, 11, 8, 6]);
    let author = scene.crew(3);
    scene.run(3, author, |scene, leg| {
        let at = leg.start.plus(131 * MINUTE);
        let after = |minutes: i64| at.plus(minutes * MINUTE);
        let running = json!({"place": "MP 63.8", "throttle": "run_5", "speed_mph": 31, "note": "One after the other, then all held"});
        [("CD1", 0), ("RAD", 1), ("CD2", 3)]
            .map(|(device, minutes)| scene.trip(after(minutes), device, "held", running.clone()))
            .to_vec()
    });
    scene.quiet(&[1]);
}

/// The right fuse was not to be had at night, so a bigger one went in.
fn wrong_fuse(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[30, 27, 25, 22, 20, 17, 14, 12, 9, 7]);
    let (year, ix) = (&mut *scene.year, scene.ix);
    let at = year.calendar.ago(5, 2, 40);
    let class = year.units[ix].class.clone();
    let Some(device) = year.fleet.of_class(&class).iter().find(|device| device.tag == "SF") else { return };
    let fitted = four_figures(device);
    let mut replaced_by = fitted.clone();
    replaced_by["rating_a"] = 500.0.into();
    let fields = json!({
        "device": "SF", "result": "blown", "tested_with": "meter", "fitted": fitted, "replaced_by": replaced_by,
        "basis": "examined", "handling": "de_energised", "note": "No 400 in the store at Slate Gap",
    });
    let check = year.make("fuse_check", at, fields);
    let seen = year.cutout_closed(ix, at.plus(9 * MINUTE));
    year.file_in_shop(ix, "j.oduya", vec![check, seen], at.plus(25 * MINUTE));
    scene.quiet(&[4, 2]);
}

/// A ground-relay operation, a test under hold and lock, a new seal, and a review by somebody else.
fn test_in_order(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[29, 27, 24, 22, 19, 17, 15, 12]);
    let author = scene.crew(10);
    scene.run(10, author, |scene, leg| {
        let fields = json!({
            "device": null, "operations": 1, "mode": "motoring", "circuit": "high_voltage", "reset": "by_hand",
            "after": "loads_again", "place": "MP 12.9", "throttle": "run_6", "speed_mph": 19,
        });
        vec![scene.year.make("ground_relay", leg.start.plus(2 * HOUR), fields)]
    });
    let (year, ix) = (&mut *scene.year, scene.ix);
    let opened_at = year.calendar.ago(8, 8, 20);
    let opening = Opening {
        opened_at,
        minutes: 105,
        by: "a.lind",
        authorised_by: "m.ruiz",
        reference: "WO 5581",
        purpose: "insulation_test",
    };
    let (entry, _) = year.open_in_shop(ix, &opening);
    let repaired = opened_at.plus(90 * MINUTE);
    let cause = "Chafed lead at motor 3, repaired; insulation above the limit";
    year.repair_closed(ix, Some("ground_relay"), "a.lind", repaired, cause, false);
    year.review(ix, &entry, "h.vance", year.calendar.ago(6, 10, 15));
    scene.quiet(&[5, 3, 1]);
}

/// Everything right but the date: the electrician's right had run out eleven days before. Nobody has reviewed it yet,
/// and more than a week has gone by.
fn right_had_ended(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[30, 28, 25, 23, 20, 18, 15, 13, 11]);
    let opening = Opening {
        opened_at: scene.year.calendar.ago(9, 14, 10),
        minutes: 35,
        by: "t.brask",
        authorised_by: "t.brask",
        reference: "WO 5602",
        purpose: "locating_ground",
    };
    scene.year.open_in_shop(scene.ix, &opening);
    scene.quiet(&[7, 5, 2, 1]);
}

/// Seen closed two days ago, not looked at yesterday, open this morning, and nobody knows since when.
fn found_open(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[29, 27, 24, 22, 19, 16, 14, 11, 9, 7, 5, 3, 2]);
    let leg = scene.leg(1);
    let author = scene.crew(1);
    let turn = Turn { leg: &leg, author, position: "single", consist: &[] };
    scene.year.file_run(scene.ix, &turn, Vec::new(), MINUTE);
    let (year, ix) = (&mut *scene.year, scene.ix);
    let found_at = year.calendar.ends.minus(190 * MINUTE);
    let fields = json!({
        "device": "GRC", "by": "not_known", "purpose": "none_given", "engine_running": "no", "power_taken": "no",
        "protection": "none", "seal_found": "missing", "note": "Left as found, foreman called",
    });
    let entry = year.make_with("bypass", "found_open_at", found_at, fields);
    let unit = year.units[ix].name.clone();
    let signed_at = found_at.plus(8 * MINUTE);
    let report = Filing {
        unit: &unit,
        author: "l.varnhem",
        occasion: "yard",
        is_final: false,
        leg: None,
        position: Some("single"),
        consist: &[],
        weather: Some(year.calendar.weather(found_at)),
        remarks: None,
        entries: vec![entry],
        signed_at,
    }
    .into_json(&mut year.dice, &year.calendar);
    year.put(signed_at.plus(MINUTE), Act::Report(report));
    let reason = "Cutout found open and nobody named: not to move before it is looked at";
    year.hold(ix, "c.holmsund", found_at.plus(35 * MINUTE), reason);
}

fn waits_for_review(scene: &mut Scene<'_, '_>) {
    scene.quiet(&[30, 28, 25, 23, 21, 18, 16, 13, 10, 8, 6, 4]);
    let opening = Opening {
        opened_at: scene.year.calendar.ago(2, 9, 5),
        minutes: 50,
        by: "p.imrie",
        authorised_by: "m.ruiz",
        reference: "WO 5611",
        purpose: "insulation_test",
    };
    scene.year.open_in_shop(scene.ix, &opening);
}
