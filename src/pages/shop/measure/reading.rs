//! A typed form becomes a measurement, or a sentence beside each field that cannot be.
use std::str::FromStr as _;

use crate::{
    base::{Tag, text},
    roster::Schedule,
    rules::fact::FuseFact,
    shop::measurements::{
        Kind, Measured, Scale, Temperature, Wrong,
        battery::{Battery, GravityRule, LowCell},
        breaker::{self, Breaker, Test},
        dead::{Found, TestedDead},
        fuse::FuseComparison,
        ground_relay::{GroundRelayTest, Unit},
        insulation::{Edition, Insulation, InsulationClass, Machine, Object, Reading, Rule, Wound},
        lock_out::{LockOut, Step, What},
    },
    web::forms::Fields,
};

/// What the book knows that a blank field is filled from.
pub struct Known<'a> {
    pub schedule: Option<&'a Schedule>,
    pub breakers: Option<&'a (Vec<breaker::Row>, String)>,
    /// Locks on record: number, and who applied it.
    pub locks: &'a [(String, String)],
    pub signer: &'a str,
}

pub fn read(kind: Kind, fields: &Fields, known: &Known<'_>) -> Result<Measured, Vec<Wrong>> {
    let mut form = Form { fields, wrong: Vec::new() };
    let measured = match kind {
        Kind::Insulation => form.insulation().map(Measured::Insulation),
        Kind::Battery => form.battery().map(Measured::Battery),
        Kind::Breaker => form.breaker(known).map(Measured::Breaker),
        Kind::GroundRelay => form.ground_relay().map(Measured::GroundRelay),
        Kind::Fuse => Some(Measured::Fuse(form.fuse(known))),
        Kind::TestedDead => form.tested_dead().map(Measured::TestedDead),
        Kind::LockOut => form.lock_out(known).map(Measured::LockOut),
    };
    form.wrong.extend(measured.as_ref().map(Measured::wrong).unwrap_or_default());
    match measured {
        Some(measured) if form.wrong.is_empty() => Ok(measured),
        _ => Err(form.wrong),
    }
}

struct Form<'a> {
    fields: &'a Fields,
    wrong: Vec<Wrong>,
}

impl Form<'_> {
    fn text(&self, name: &str) -> Option<String> {
        text::tidy(self.fields.get(name)).map(|said| said.chars().take(2_000).collect())
    }

    fn needed(&mut self, name: &'static str, says: &str) -> Option<String> {
        let said = self.text(name);
        if said.is_none() {
            self.wrong.push(Wrong::at(name, says));
        }
        said
    }

    fn figure(&mut self, name: &'static str) -> Option<f64> {
        let typed = self.text(name)?;
        let read = number(&typed);
        if read.is_none() {
            let says = format!("{} is no number. Write it as 12.5, without its unit.", text::quoted(&typed));
            self.wrong.push(Wrong::at(name, says));
        }
        read
    }

    fn needed_figure(&mut self, name: &'static str, says: &str) -> Option<f64> {
        if self.text(name).is_none() {
            self.wrong.push(Wrong::at(name, says));
        }
        self.figure(name)
    }

    /// A key that has to be one of the words; blank is nothing.
    fn word<T>(&mut self, name: &'static str, parse: fn(&str) -> Option<T>) -> Option<T> {
        let typed = self.text(name)?;
        let word = parse(&typed);
        if word.is_none() {
            self.wrong.push(Wrong::at(name, "Choose one of these."));
        }
        word
    }

    fn needed_word<T>(&mut self, name: &'static str, parse: fn(&str) -> Option<T>) -> Option<T> {
        if self.text(name).is_none() {
            self.wrong.push(Wrong::at(name, "Choose one of these."));
        }
        self.word(name, parse)
    }

    fn flag(&mut self, name: &'static str) -> Option<bool> {
        self.word(name, yes_or_no)
    }

    fn temperature(&mut self) -> Option<Temperature> {
        let degrees = self.figure("temperature")?;
        let scale = self.needed_word("scale", Scale::parse)?;
        Some(Temperature { degrees, scale })
    }

    fn figures(&mut self, name: &'static str) -> Vec<f64> {
        let typed = self.text(name).unwrap_or_default();
        let parts = || typed.split([' ', '\n', '\r', '\t', ';']).filter(|part| !part.is_empty());
        if let Some(bad) = parts().find(|part| number(part).is_none()) {
            let says = format!("{} is no number. Part the figures by spaces or lines.", text::quoted(bad));
            self.wrong.push(Wrong::at(name, says));
        }
        if parts().count() > 200 {
            self.wrong.push(Wrong::at(name, "More than 200 cells: write at most so many."));
        }
        parts().filter_map(number).take(200).collect()
    }

    fn tag(&self, name: &str) -> Option<Tag> {
        self.text(name).map(|said| Tag::from(said.as_str()))
    }

    fn insulation(&mut self) -> Option<Insulation> {
        let object = self.needed_word("object", Object::parse);
        let ir1 = self.needed_figure("ir1_mohm", "Write the reading at one minute, in megohms.");
        let taken = Insulation {
            object: object.unwrap_or(Object::Cable),
            of: self.text("of"),
            machine: self.word("machine", Machine::parse),
            wound: self.word("wound", Wound::parse),
            rated_v: self.figure("rated_v"),
            is_new: self.flag("is_new"),
            edition: self.word("edition", Edition::parse),
            test_v: self.figure("test_v"),
            ir1_mohm: ir1.unwrap_or(0.0),
            ir10_mohm: self.figure("ir10_mohm"),
            temperature: self.temperature(),
            rule: self.word("rule", Rule::parse),
            class: self.word("class", InsulationClass::parse),
            reading: self.word("reading", Reading::parse),
            limit_mohm: self.figure("limit_mohm"),
            limit_from: self.text("limit_from"),
            ground_confirmed: self.flag("ground_confirmed"),
        };
        object.and(ir1).map(|_| taken)
    }

    fn battery(&mut self) -> Option<Battery> {
        let name = self.needed("battery", "Write the battery's mark: its record follows it by that.");
        let cells = self.figure("cells");
        if cells.is_some_and(|n| n.fract() != 0.0 || !(1.0..=200.0).contains(&n)) {
            self.wrong.push(Wrong::at("cells", "Write how many cells there are, 1 to 200."));
        }
        let taken = Battery {
            name: name.clone().unwrap_or_default().to_uppercase(),
            cells: cells.and_then(|n| u32::from_str(&n.to_string()).ok()),
            gravities: self.figures("gravities"),
            temperature: self.temperature(),
            rule: self.word("gravity_rule", GravityRule::parse).unwrap_or(GravityRule::Per10F),
            full_gravity: self.figure("full_gravity"),
            low_cell: self.word("low_cell", LowCell::parse).unwrap_or(LowCell::Points40),
            rested_v: self.figure("rested_v"),
            charging_v: self.figures("charging_v"),
            level: self.text("level"),
        };
        name.map(|_| taken)
    }

    fn breaker(&mut self, known: &Known<'_>) -> Option<Breaker> {
        let test = self.needed_word("test", Test::parse);
        let device = self.tag("device");
        let listed = device.as_ref().and_then(|tag| known.schedule?.device(tag));
        let rated_a = self.figure("rated_a").or(listed.and_then(|d| d.rating_a));
        let mut most_s = self.figure("most_s");
        let mut limit_from = self.text("limit_from");
        let inverse = test == Some(Test::InverseTime);
        if let (None, true, Some(rated), Some((rows, from))) = (most_s, inverse, rated_a, known.breakers) {
            most_s = breaker::row_for(rows, rated, listed.and_then(|d| d.rating_v)).map(|row| row.most_s);
            limit_from = most_s.map(|_| format!("the railway's own table: {from}")).or(limit_from);
        }
        let taken = Breaker {
            device,
            test: test.unwrap_or(Test::InverseTime),
            rated_a,
            percent: self.figure("percent"),
            seconds: self.figure("seconds"),
            did_not_trip: self.flag("did_not_trip") == Some(true),
            most_s,
            least_s: self.figure("least_s"),
            limit_from,
            set_a: self.figure("set_a"),
            tripped_at_a: self.figure("tripped_at_a"),
        };
        test.map(|_| taken)
    }

    fn ground_relay(&mut self) -> Option<GroundRelayTest> {
        let picked_up = self.needed_word("picked_up", yes_or_no);
        let taken = GroundRelayTest {
            device: self.tag("device"),
            picked_up: picked_up.unwrap_or(false),
            at: self.figure("picked_up_at"),
            unit: self.word("unit_of_measure", Unit::parse).unwrap_or(Unit::Volts),
            reset: self.flag("reset"),
            least: self.figure("least"),
            most: self.figure("most"),
            limit_from: self.text("limit_from"),
        };
        picked_up.map(|_| taken)
    }

    fn fuse(&mut self, known: &Known<'_>) -> FuseComparison {
        let device = self.tag("device");
        let listed = device.as_ref().and_then(|tag| known.schedule?.device(tag));
        let belongs = FuseFact {
            rating_a: self.figure("belongs_a").or(listed.and_then(|d| d.rating_a)),
            rating_v: self.figure("belongs_v").or(listed.and_then(|d| d.rating_v)),
            speed: self
                .word("belongs_speed", crate::roster::schedule::FuseSpeed::parse)
                .or(listed.and_then(|d| d.speed)),
            body: self.text("belongs_body").or(listed.and_then(|d| d.body.clone())),
        };
        let fitted = FuseFact {
            rating_a: self.figure("fitted_a"),
            rating_v: self.figure("fitted_v"),
            speed: self.word("fitted_speed", crate::roster::schedule::FuseSpeed::parse),
            body: self.text("fitted_body"),
        };
        let handling = self.word("handling", crate::reports::vocabulary::Handling::parse);
        FuseComparison { device, belongs, fitted, handling }
    }

    fn tested_dead(&mut self) -> Option<TestedDead> {
        let circuit = self.needed("circuit", "Write which circuit was tested.");
        let found = self.needed_word("found", Found::parse);
        let taken = TestedDead {
            circuit: circuit.clone().unwrap_or_default(),
            volts: self.figure("volts"),
            tester: self.text("tester"),
            checked_before: self.flag("checked_before"),
            checked_after: self.flag("checked_after"),
            locked_or_tagged: self.flag("locked_or_tagged"),
            found: found.unwrap_or(Found::Live),
        };
        circuit.and(found).map(|_| taken)
    }

    fn lock_out(&mut self, known: &Known<'_>) -> Option<LockOut> {
        let lock = self.needed("lock", "Write its number or mark.");
        let step = self.needed_word("step", Step::parse);
        let on_record = lock.as_ref().and_then(|lock| known.locks.iter().find(|(number, _)| number == lock));
        // Who applied it stands in the book: nobody writes another name over it at its removal.
        let applied_by = match (step, on_record) {
            (Some(Step::Removed), Some((_, who))) => who.clone(),
            _ => self.text("applied_by").unwrap_or_else(|| known.signer.to_owned()),
        };
        let removed = step == Some(Step::Removed);
        let remover = || self.text("removed_by").unwrap_or_else(|| known.signer.to_owned());
        let removed_by = removed.then(remover);
        let taken = LockOut {
            lock: lock.clone().unwrap_or_default(),
            step: step.unwrap_or(Step::Applied),
            what: self.word("what", What::parse),
            place: self.text("place"),
            applied_by,
            removed_by,
            absence_ensured: self.flag("absence_ensured"),
            told_before_resuming: self.flag("told_before_resuming"),
        };
        lock.and(step).map(|_| taken)
    }
}

fn yes_or_no(word: &str) -> Option<bool> {
    match word {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

fn number(typed: &str) -> Option<f64> {
    typed.parse::<f64>().ok().filter(|n| n.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(pairs: &[(&str, &str)]) -> Fields {
        Fields(pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect())
    }

    fn known() -> Known<'static> {
        Known { schedule: None, breakers: None, locks: &[], signer: "r.dunmore" }
    }

    fn wrong(kind: Kind, pairs: &[(&str, &str)]) -> Vec<&'static str> {
        read(kind, &of(pairs), &known()).err().unwrap_or_default().iter().map(|w| w.field).collect()
    }

    #[test]
    fn what_cannot_be_read_says_so_beside_its_field() {
        assert_eq!(wrong(Kind::Insulation, &[]), ["object", "ir1_mohm"]);
        assert_eq!(
            wrong(Kind::Insulation, &[("object", "armature"), ("ir1_mohm", "5 MΩ"), ("temperature", "20")]),
            ["ir1_mohm", "scale"]
        );
        assert_eq!(wrong(Kind::Battery, &[("gravities", "1250 1.2x")]), ["battery", "gravities"]);
        assert_eq!(wrong(Kind::Battery, &[("battery", "B 17"), ("gravities", "1250")]), ["gravities"]);
        assert_eq!(wrong(Kind::GroundRelay, &[("picked_up", "perhaps")]), ["picked_up"]);
        assert_eq!(wrong(Kind::TestedDead, &[("circuit", "traction")]), ["found"]);
    }

    #[test]
    fn a_lock_is_removed_from_whoever_is_on_record() {
        let locks = [("17".to_owned(), "a.lind".to_owned())];
        let known = Known { locks: &locks, ..known() };
        let removed = [("lock", "17"), ("step", "removed"), ("applied_by", "r.dunmore")];
        let refused = read(Kind::LockOut, &of(&removed), &known).err().unwrap();
        assert_eq!(
            refused.iter().map(|w| w.field).collect::<Vec<_>>(),
            ["absence_ensured", "told_before_resuming"]
        );
        let answered = [&removed[..], &[("absence_ensured", "yes"), ("told_before_resuming", "no")]].concat();
        let Ok(Measured::LockOut(lock)) = read(Kind::LockOut, &of(&answered), &known) else { unreachable!() };
        assert_eq!((lock.applied_by.as_str(), lock.removed_by.as_deref()), ("a.lind", Some("r.dunmore")));
    }

    #[test]
    fn a_blank_limit_is_the_railways_own() {
        let table = (breaker::read_rows("100,,140").unwrap(), "sheet 7".to_owned());
        let known = Known { breakers: Some(&table), ..known() };
        let typed = [("test", "inverse_time"), ("rated_a", "60"), ("seconds", "150")];
        let Ok(Measured::Breaker(b)) = read(Kind::Breaker, &of(&typed), &known) else { unreachable!() };
        assert_eq!(
            (b.most_s, b.limit_from.as_deref()),
            (Some(140.0), Some("the railway's own table: sheet 7"))
        );
    }
}
