//! What the shop measures, and what that says: pass, fail or 'does not apply', never a guess, each with its source and
//! how sure that source is. Pure: a file for each kind. What standards.md marks as unconfirmed judges nothing here; a
//! limit that somebody types in does, under their name for it.
pub mod battery;
pub mod breaker;
pub mod dead;
pub mod fuse;
pub mod ground_relay;
pub mod insulation;
pub mod limits;
pub mod lock_out;
pub mod polarization;
pub mod source;
pub mod store;
use serde::{Deserialize, Serialize};

use crate::base::{text, words::words};
pub use source::{Source, Sure};

words! {
    pub enum Verdict { Pass = "pass", Fail = "fail", DoesNotApply = "does_not_apply", }
}

impl Verdict {
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "FAIL",
            Self::DoesNotApply => "does not apply",
        }
    }
}

words! {
    pub enum Kind {
        Insulation = "insulation", Battery = "battery", Breaker = "breaker", GroundRelay = "ground_relay", Fuse = "fuse",
        TestedDead = "tested_dead", LockOut = "lock_out",
    }
}

impl Kind {
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Insulation => "insulation resistance",
            Self::Battery => "battery",
            Self::Breaker => "breaker test",
            Self::GroundRelay => "ground-relay test",
            Self::Fuse => "fuse compared",
            Self::TestedDead => "tested dead",
            Self::LockOut => "lock-out",
        }
    }
}

/// What was measured, as it was read off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Measured {
    Insulation(insulation::Insulation),
    Battery(battery::Battery),
    Breaker(breaker::Breaker),
    GroundRelay(ground_relay::GroundRelayTest),
    Fuse(fuse::FuseComparison),
    TestedDead(dead::TestedDead),
    LockOut(lock_out::LockOut),
}

impl Measured {
    pub fn kind(&self) -> Kind {
        match self {
            Self::Insulation(_) => Kind::Insulation,
            Self::Battery(_) => Kind::Battery,
            Self::Breaker(_) => Kind::Breaker,
            Self::GroundRelay(_) => Kind::GroundRelay,
            Self::Fuse(_) => Kind::Fuse,
            Self::TestedDead(_) => Kind::TestedDead,
            Self::LockOut(_) => Kind::LockOut,
        }
    }

    pub fn judge(&self) -> Judged {
        match self {
            Self::Insulation(x) => x.judge(),
            Self::Battery(x) => x.judge(),
            Self::Breaker(x) => x.judge(),
            Self::GroundRelay(x) => x.judge(),
            Self::Fuse(x) => x.judge(),
            Self::TestedDead(x) => x.judge(),
            Self::LockOut(x) => x.judge(),
        }
    }

    /// What cannot be, by the field it stands in. Nothing of it: it can be kept.
    pub fn wrong(&self) -> Vec<Wrong> {
        match self {
            Self::Insulation(x) => x.wrong(),
            Self::Battery(x) => x.wrong(),
            Self::Breaker(x) => x.wrong(),
            Self::GroundRelay(x) => x.wrong(),
            Self::Fuse(_) => Vec::new(),
            Self::TestedDead(x) => x.wrong(),
            Self::LockOut(x) => x.wrong(),
        }
    }

    /// What is odd, and is asked about once.
    pub fn doubts(&self) -> Vec<Wrong> {
        match self {
            Self::Insulation(x) => x.doubts(),
            Self::Battery(x) => x.doubts(),
            _ => Vec::new(),
        }
    }

    /// What it is about beyond the unit: a battery by its name, which follows it; a device's tag; a lock.
    pub fn subject(&self) -> Option<String> {
        let tag = |tag: &Option<crate::base::Tag>| tag.as_ref().map(ToString::to_string);
        match self {
            Self::Insulation(x) => x.of.clone(),
            Self::Battery(x) => Some(x.name.clone()),
            Self::Breaker(x) => tag(&x.device),
            Self::GroundRelay(x) => tag(&x.device),
            Self::Fuse(x) => tag(&x.device),
            Self::TestedDead(x) => Some(x.circuit.clone()),
            Self::LockOut(x) => Some(x.lock.clone()),
        }
    }
}

/// A sentence beside a field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    pub field: &'static str,
    pub says: String,
}

impl Wrong {
    pub fn at(field: &'static str, says: impl Into<String>) -> Self {
        Self { field, says: says.into() }
    }
}

/// What a measurement says, with the arithmetic. Kept with it: what was said when it was signed stays said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Judged {
    pub verdict: Verdict,
    pub parts: Vec<Part>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<Corrected>,
    /// What the reader has to know beside pass and fail.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

impl Judged {
    /// A part that fails fails the whole; else the first part that judges decides.
    pub fn of(parts: Vec<Part>) -> Self {
        let verdicts: Vec<Verdict> = parts.iter().filter_map(|part| part.verdict).collect();
        let verdict = if verdicts.contains(&Verdict::Fail) {
            Verdict::Fail
        } else {
            verdicts.first().copied().unwrap_or(Verdict::DoesNotApply)
        };
        Self { verdict, parts, corrected: None, warnings: Vec::new() }
    }

    pub fn warning(mut self, says: impl Into<String>) -> Self {
        self.warnings.push(says.into());
        self
    }

    pub fn part(&self, about: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.about == about)
    }
}

/// One thing that was judged, or only reckoned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    pub about: String,
    /// `None`: told, not judged.
    pub verdict: Option<Verdict>,
    pub says: String,
    /// Step by step, to be checked with a pencil.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reckoned: Vec<String>,
    pub sources: Vec<Source>,
}

impl Part {
    pub fn judged(about: &str, verdict: Verdict, says: impl Into<String>) -> Self {
        Self {
            about: about.to_owned(),
            verdict: Some(verdict),
            says: says.into(),
            reckoned: Vec::new(),
            sources: Vec::new(),
        }
    }

    pub fn told(about: &str, says: impl Into<String>) -> Self {
        Self { verdict: None, ..Self::judged(about, Verdict::DoesNotApply, says) }
    }

    pub fn does_not_apply(about: &str, says: impl Into<String>) -> Self {
        Self::judged(about, Verdict::DoesNotApply, says)
    }

    pub fn reckoned(mut self, steps: impl IntoIterator<Item = String>) -> Self {
        self.reckoned.extend(steps);
        self
    }

    pub fn by(mut self, sources: impl IntoIterator<Item = Source>) -> Self {
        self.sources.extend(sources);
        self
    }
}

/// Raw readings brought to a base, with the rule that did it: figures by different rules are never compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Corrected {
    pub values: Vec<f64>,
    pub unit: String,
    pub rule: String,
    pub base: String,
}

words! { pub enum Scale { Celsius = "c", Fahrenheit = "f", } }

/// As it was read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Temperature {
    pub degrees: f64,
    pub scale: Scale,
}

impl Temperature {
    pub fn celsius(degrees: f64) -> Self {
        Self { degrees, scale: Scale::Celsius }
    }
    pub fn fahrenheit(degrees: f64) -> Self {
        Self { degrees, scale: Scale::Fahrenheit }
    }
    pub fn in_c(self) -> f64 {
        match self.scale {
            Scale::Celsius => self.degrees,
            Scale::Fahrenheit => (self.degrees - 32.0) * 5.0 / 9.0,
        }
    }
    pub fn in_f(self) -> f64 {
        match self.scale {
            Scale::Celsius => self.degrees * 9.0 / 5.0 + 32.0,
            Scale::Fahrenheit => self.degrees,
        }
    }
    pub fn in_words(self) -> String {
        let scale = if self.scale == Scale::Celsius { "°C" } else { "°F" };
        format!("{} {scale}", figures(self.degrees))
    }
    /// Off any thermometer in a shop.
    pub fn wrong(self) -> Option<Wrong> {
        let off = !(-60.0..=200.0).contains(&self.in_c());
        off.then(|| {
            Wrong::at(
                "temperature",
                format!("{} cannot be right: read the thermometer again, and its scale.", self.in_words()),
            )
        })
    }
}

/// At least, but for the last digit of the arithmetic.
pub fn reaches(value: f64, least: f64) -> bool {
    value >= least - least.abs() * 1e-9
}

/// To four figures, without noughts that say nothing: `50`, `1.6`, `56.57`, `0.4999`.
pub fn figures(n: f64) -> String {
    if n == 0.0 || !n.is_finite() {
        return if n.is_finite() { "0".to_owned() } else { "not a number".to_owned() };
    }
    let digits = (3.0 - n.abs().log10().floor()).clamp(0.0, 9.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped on the line above")]
    let told = format!("{n:.*}", digits as usize);
    let told = if told.contains('.') { told.trim_end_matches('0').trim_end_matches('.') } else { &told };
    told.to_owned()
}

/// Why the record is flagged: whoever did the work writes it down (49 CFR 229.20(c)(1)).
pub fn written_for(writer: &str, doer: Option<&str>) -> Option<String> {
    let doer = doer.map(str::trim).filter(|doer| !doer.is_empty())?;
    (!doer.eq_ignore_ascii_case(writer)).then(|| {
        format!(
            "Written down by {writer}, done by {}: whoever does the work is to write it down.",
            text::own_words(doer)
        )
    })
}

/// Against minima of which it is not known which one holds: all reached passes, none reached fails.
pub fn against_all(value: f64, least: &[f64]) -> Verdict {
    match least.iter().filter(|least| reaches(value, **least)).count() {
        0 => Verdict::Fail,
        n if n == least.len() => Verdict::Pass,
        _ => Verdict::DoesNotApply,
    }
}

#[cfg(test)]
mod tests;
