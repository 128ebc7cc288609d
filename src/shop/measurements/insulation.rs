//! Insulation resistance. Kept are the raw reading, the temperature, the rule that corrected it, its base and the
//! corrected value; it is held against a minimum only where that stands at the same base.
use serde::{Deserialize, Serialize};

use super::{
    Corrected, Judged, Part, Source, Temperature, Verdict, Wrong, against_all, figures,
    limits::{self, Minimum},
    polarization, source,
};
use crate::base::words::words;

words! {
    pub enum Object {
        PowerCircuit = "power_circuit", Armature = "armature", FieldWinding = "field_winding", FormWound = "form_wound",
        FormWoundLow = "form_wound_low", RandomWound = "random_wound", Cable = "cable", ControlCircuit = "control_circuit",
    }
}
words! { pub enum Machine { TractionMotor = "traction_motor", Generator = "generator", Other = "other", } }
words! { pub enum Wound { Before1970 = "before_1970", Later = "later", } }
words! { pub enum Edition { Y2000 = "ieee_43_2000", Y2013 = "ieee_43_2013", } }
words! { pub enum InsulationClass { A = "a", B = "b", F = "f", H = "h", } }
words! { pub enum Reading { Steady = "steady", Rising = "rising", Unsteady = "unsteady", } }
words! {
    /// How a reading is brought to a base. The two formulas of IEEE 43-2013 for thermosetting insulation are not here:
    /// their coefficients are not confirmed.
    pub enum Rule { HalvePer10C = "halve_per_10c", HalvePer22F = "halve_per_22f", DoublePer15C = "double_per_15c", }
}

impl Object {
    /// What IEEE 43 is about.
    pub fn is_winding(self) -> bool {
        !matches!(self, Self::PowerCircuit | Self::Cable | Self::ControlCircuit)
    }

    /// The rule whose base the built-in minimum stands at; none for a control circuit, which has no temperature.
    fn rule(self) -> Option<Rule> {
        match self {
            Self::PowerCircuit => Some(Rule::HalvePer22F),
            Self::Cable | Self::ControlCircuit => None,
            _ => Some(Rule::HalvePer10C),
        }
    }
}

impl Rule {
    pub fn base(self) -> &'static str {
        match self {
            Self::HalvePer10C => "40 °C",
            Self::HalvePer22F => "77 °F",
            Self::DoublePer15C => "25 °C",
        }
    }

    pub fn source(self) -> Source {
        match self {
            Self::HalvePer10C => source::halving_10c(),
            Self::HalvePer22F => source::army_halving(),
            Self::DoublePer15C => source::mil_doubling(),
        }
    }

    /// How often the resistance doubles from the base to this temperature downwards.
    fn doublings(self, at: Temperature) -> f64 {
        match self {
            Self::HalvePer10C => (at.in_c() - 40.0) / 10.0,
            Self::HalvePer22F => (at.in_f() - 77.0) / 22.0,
            Self::DoublePer15C => (at.in_c() - 25.0) / 15.0,
        }
    }

    /// What this reading would be at the base.
    pub fn correct(self, mohm: f64, at: Temperature) -> f64 {
        mohm * 2f64.powf(self.doublings(at))
    }

    fn step(self, mohm: f64, at: Temperature) -> String {
        let power = match self {
            Self::HalvePer10C => format!("({} − 40) ÷ 10", figures(at.in_c())),
            Self::HalvePer22F => format!("({} − 77) ÷ 22", figures(at.in_f())),
            Self::DoublePer15C => format!("({} − 25) ÷ 15", figures(at.in_c())),
        };
        format!(
            "{} MΩ at {} × 2^({power}) = {} × {} = {} MΩ at {}",
            figures(mohm),
            at.in_words(),
            figures(mohm),
            figures(2f64.powf(self.doublings(at))),
            figures(self.correct(mohm, at)),
            self.base()
        )
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Insulation {
    pub object: Object,
    /// Which one, in the shop's words: `traction motor 3`.
    pub of: Option<String>,
    pub machine: Option<Machine>,
    pub wound: Option<Wound>,
    /// Between terminals.
    pub rated_v: Option<f64>,
    /// Of a control circuit.
    pub is_new: Option<bool>,
    pub edition: Option<Edition>,
    pub test_v: Option<f64>,
    /// At one minute, in megohms, as read.
    pub ir1_mohm: f64,
    pub ir10_mohm: Option<f64>,
    pub temperature: Option<Temperature>,
    /// `None`: the one whose base the minimum stands at.
    pub rule: Option<Rule>,
    pub class: Option<InsulationClass>,
    pub reading: Option<Reading>,
    /// Typed in; it goes before every built-in minimum.
    pub limit_mohm: Option<f64>,
    pub limit_from: Option<String>,
    /// Somebody found the very place: this winding is grounded.
    pub ground_confirmed: Option<bool>,
}

impl Insulation {
    pub fn judge(&self) -> Judged {
        let rule = self.rule.or(self.object.rule());
        let corrected = rule.zip(self.temperature).map(|(rule, at)| (rule, rule.correct(self.ir1_mohm, at)));
        let mut parts = vec![self.resistance(corrected)];
        parts.extend(self.steadiness());
        parts.extend(polarization::judge(self));
        parts.extend(self.grounded());
        let judged = Judged::of(parts);
        let unsteady = self.reading == Some(Reading::Unsteady) && judged.verdict == Verdict::Pass;
        let verdict = if unsteady { Verdict::DoesNotApply } else { judged.verdict };
        let corrected = corrected.map(|(rule, value)| Corrected {
            values: vec![value],
            unit: "MΩ".into(),
            rule: rule.as_str().into(),
            base: rule.base().into(),
        });
        Judged { verdict, corrected, ..judged }
    }

    fn resistance(&self, corrected: Option<(Rule, f64)>) -> Part {
        let about = "insulation resistance";
        let raw = format!("As read: {} MΩ at one minute", figures(self.ir1_mohm));
        let raw = match self.temperature {
            Some(at) => format!("{raw}, {}.", at.in_words()),
            None => format!("{raw}, temperature not stated."),
        };
        let minima = match limits::minima(self) {
            Ok(minima) => minima,
            Err(why) => return Part::does_not_apply(about, why).reckoned([raw]).by(self.steps(corrected).1),
        };
        let (steps, sources) = self.steps(corrected);
        let reckoned =
            std::iter::once(raw).chain(steps).chain(minima.iter().filter_map(|m| m.reckoned.clone()));
        let part = match self.comparable(corrected) {
            Err(why) => Part::does_not_apply(about, why),
            Ok(value) => held_against(about, value, &minima),
        };
        part.reckoned(reckoned).by(minima.into_iter().map(|m| m.source).chain(sources))
    }

    fn steps(&self, corrected: Option<(Rule, f64)>) -> (Option<String>, Option<Source>) {
        match (corrected, self.temperature) {
            (Some((rule, _)), Some(at)) => (Some(rule.step(self.ir1_mohm, at)), Some(rule.source())),
            _ => (None, None),
        }
    }

    /// The value that may be held against the minimum, or why none may.
    fn comparable(&self, corrected: Option<(Rule, f64)>) -> Result<f64, String> {
        let (built_in, typed) = (self.object.rule(), self.limit_mohm.is_some());
        if !typed && self.object == Object::ControlCircuit {
            return Ok(self.ir1_mohm);
        }
        if typed && self.rule.is_none() {
            // The limit is whoever's typed it: so is whether it stands at a temperature.
            return match (corrected, built_in) {
                (Some((_, value)), _) => Ok(value),
                (None, None) => Ok(self.ir1_mohm),
                (None, Some(rule)) => Err(no_temperature(rule)),
            };
        }
        match corrected {
            None => Err(no_temperature(self.rule.or(built_in).unwrap_or(Rule::HalvePer10C))),
            Some((rule, _)) if !typed && Some(rule) != built_in => Err(format!(
                "The minimum does not stand at {}, to which this was corrected: figures by different rules are not compared.",
                rule.base()
            )),
            Some((_, value)) => Ok(value),
        }
    }

    fn steadiness(&self) -> Option<Part> {
        let says = match self.reading? {
            Reading::Steady => "Constant: sound.",
            Reading::Rising => "Rising: sound.",
            Reading::Unsteady => {
                "Unsteady: dirt or moisture. Clean it, dry it and measure again; no single figure of it passes."
            }
        };
        Some(Part::told("steadiness", says).by([source::army_steady()]))
    }

    /// Grounded is not in order on a motor or a generator, whatever the figure; a relay that operated for a cause nobody
    /// found is a defect to look for, not yet that.
    fn grounded(&self) -> Option<Part> {
        let about = "ground";
        if !self.ground_confirmed? {
            let says = "No ground was confirmed. A ground-relay operation for a cause not known is a defect to look for, not yet a non-complying condition.";
            return Some(Part::told(about, says).by([source::cfr_229_91()]));
        }
        let rotating = matches!(self.machine, Some(Machine::TractionMotor | Machine::Generator));
        Some(if rotating {
            let says = "A ground was confirmed on a traction motor or generator: a non-complying condition, and running with the relay cut out does not cure it.";
            Part::judged(about, Verdict::Fail, says).by([source::cfr_229_91()])
        } else {
            let says =
                "A ground was confirmed, but not on a traction motor or generator: a defect to repair.";
            Part::judged(about, Verdict::Fail, says).by([Source::typed_in("what the shop found")])
        })
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let mut out: Vec<Wrong> = self.temperature.and_then(Temperature::wrong).into_iter().collect();
        let off = |n: f64| !(0.0..=10_000_000.0).contains(&n);
        if off(self.ir1_mohm) {
            out.push(Wrong::at("ir1_mohm", "Write the megohms as a number from 0 to 10,000,000."));
        }
        if self.ir10_mohm.is_some_and(off) {
            out.push(Wrong::at("ir10_mohm", "Write the megohms as a number from 0 to 10,000,000."));
        }
        if self.ir10_mohm.is_some() && self.ir1_mohm == 0.0 {
            out.push(Wrong::at("ir10_mohm", "With 0 at one minute there is no index: leave this blank."));
        }
        if self.limit_mohm.is_some() && self.limit_from.is_none() {
            out.push(Wrong::at("limit_from", "Say where this limit is from: it is named beside the result."));
        }
        out
    }

    pub fn doubts(&self) -> Vec<Wrong> {
        let mut out = Vec::new();
        // A dirty traction circuit reads a few megohms; thousands are new insulation, or kilohms.
        if self.ir1_mohm >= 1_000.0 {
            out.push(Wrong::at("ir1_mohm", format!(
                "{} megohms is very much. If the instrument showed kilohms, write {}; if these are megohms, sign again.",
                figures(self.ir1_mohm),
                figures(self.ir1_mohm / 1_000.0)
            )));
        }
        match self.ir10_mohm {
            Some(ir10) if self.ir1_mohm > 0.0 && !(0.02..=50.0).contains(&(ir10 / self.ir1_mohm)) => {
                out.push(Wrong::at("ir10_mohm", "One of the two readings is more than fifty times the other. Is one of them in kilohms? If both are megohms, sign again."));
            }
            Some(ir10) if ir10 < self.ir1_mohm => {
                out.push(Wrong::at("ir10_mohm", "The ten-minute reading is below the one-minute reading. Are the two in each other's place? If not, sign again."));
            }
            _ => {}
        }
        out
    }
}

fn no_temperature(rule: Rule) -> String {
    format!(
        "The minimum stands at {}, and no temperature was stated: the reading is kept as it was read.",
        rule.base()
    )
}

fn held_against(about: &str, value: f64, minima: &[Minimum]) -> Part {
    let least: Vec<f64> = minima.iter().map(|m| m.mohm).collect();
    let all = least.iter().map(|m| figures(*m)).collect::<Vec<_>>().join(" and ");
    let told = figures(value);
    match against_all(value, &least) {
        Verdict::Pass => Part::judged(about, Verdict::Pass, format!("{told} MΩ reaches {all} MΩ.")),
        Verdict::Fail => Part::judged(about, Verdict::Fail, format!("{told} MΩ is under {all} MΩ.")),
        Verdict::DoesNotApply => Part::does_not_apply(
            about,
            format!(
                "{told} MΩ reaches one of {all} MΩ, not the other; which of them holds depends on what was not stated."
            ),
        ),
    }
}
