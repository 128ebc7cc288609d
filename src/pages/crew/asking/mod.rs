//! What each kind of entry asks: tables of questions, from which the form is drawn and its answers are read.
//! A question's name is the path of its field in the interchange contract, `resets[0].basis`, so that a
//! problem the contract finds goes straight back to its field.
mod ground;
mod position;
mod running;
mod trip;
pub mod words;

use super::typed::Typed;
use crate::{
    reports::kinds::Kind,
    roster::{Device, DeviceKind},
};

pub type Words = &'static [(&'static str, &'static str)];

/// How a question is answered and what becomes of the answer.
#[derive(Clone, Copy, Debug)]
pub enum Answer {
    /// One of the contract's words, as large keys.
    Words(Words),
    /// The same with short words: several keys side by side.
    Few(Words),
    Text,
    Lines,
    /// A figure read off an instrument.
    Figure,
    Count,
    /// Oneself, somebody else by name, or not known.
    Who,
    /// Somebody by sign-in name or in words.
    Person,
    /// A seal's number, or what was seen instead.
    Seal,
    /// A time of day and date, in the railway's zone.
    Time,
    /// Several names with commas between.
    List,
    /// No field of the contract: only decides which other parts count.
    Gate(Words),
}

#[derive(Clone, Copy, Debug)]
pub struct Question {
    pub name: &'static str,
    pub label: &'static str,
    pub hint: &'static str,
    pub answer: Answer,
}

/// When a part of the form counts. A browser that can hides the others; all are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum If {
    Always,
    /// It was closed again at least once.
    Reset,
    /// Somebody opened it, as against found open.
    Opened,
    /// It has been closed again.
    Closed,
    /// Another fuse was put in.
    Replaced,
}

impl If {
    pub fn class(self) -> &'static str {
        match self {
            Self::Always => "",
            Self::Reset => "if-reset",
            Self::Opened => "if-opened",
            Self::Closed => "if-closed",
            Self::Replaced => "if-replaced",
        }
    }

    pub fn met(self, typed: &Typed) -> bool {
        match self {
            Self::Always => true,
            Self::Reset => !matches!(typed.raw("resets[0].result"), "" | "none"),
            Self::Opened => typed.raw("when") != "found",
            Self::Closed => typed.raw("closed") == "yes",
            Self::Replaced => typed.raw("replaced") == "yes",
        }
    }
}

/// Some questions that belong together.
#[derive(Clone, Copy, Debug)]
pub struct Part {
    /// Nothing: the questions stand in the open. A title: they are folded away under it.
    pub title: &'static str,
    pub only_if: If,
    /// Stands before the first question it belongs to.
    pub caution: &'static [&'static str],
    pub questions: &'static [Question],
}

impl Part {
    const fn open(questions: &'static [Question]) -> Self {
        Self { title: "", only_if: If::Always, caution: &[], questions }
    }

    const fn folded(title: &'static str, questions: &'static [Question]) -> Self {
        Self { title, only_if: If::Always, caution: &[], questions }
    }

    const fn only_if(mut self, only_if: If) -> Self {
        self.only_if = only_if;
        self
    }

    const fn caution(mut self, caution: &'static [&'static str]) -> Self {
        self.caution = caution;
        self
    }
}

const fn ask(name: &'static str, label: &'static str, answer: Answer) -> Question {
    Question { name, label, hint: "", answer }
}

const fn hinted(mut question: Question, hint: &'static str) -> Question {
    question.hint = hint;
    question
}

/// Folded away under every kind.
const CIRCUMSTANCES: Part = Part::folded(
    "Place, throttle, speed, load, weather",
    &[
        ask("place", "Place", Answer::Text),
        ask("throttle", "Throttle", Answer::Few(words::THROTTLE)),
        ask("speed_mph", "Speed, mph", Answer::Figure),
        ask("load_a", "Load meter, A", Answer::Figure),
        ask("load_klbf", "Tractive effort, klbf", Answer::Figure),
        ask("weather", "Weather", Answer::Few(words::WEATHER)),
    ],
);
const NOTE: Part = Part::open(&[ask("note", "Anything else worth knowing", Answer::Lines)]);
const SIGNS: Question = ask("signs", "Anything smelt, seen or felt at it?", Answer::Few(words::SIGNS));

/// The parts of a form, in order. `device` decides between `on` and `closed` for a position.
pub fn parts(kind: Kind, device: Option<&Device>) -> Vec<Part> {
    let own: &[Part] = match kind {
        Kind::BreakerTrip => trip::TRIP,
        Kind::FuseCheck => trip::FUSE,
        Kind::GroundRelay => ground::RELAY,
        Kind::Bypass => ground::BYPASS,
        Kind::EngineStart => running::START,
        Kind::Shutdown => running::SHUTDOWN,
        Kind::Defect => running::DEFECT,
        Kind::Position => match device {
            Some(device) if device.kind == DeviceKind::Switch => position::SWITCH,
            _ => position::BREAKER,
        },
    };
    own.iter().copied().chain([CIRCUMSTANCES, NOTE]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reports::vocabulary as v;

    /// The words behind the keys are the contract's own, and none of its words is out of reach but
    /// `not_known`, where leaving the question alone says as much.
    #[test]
    fn keys_offer_the_contracts_words() {
        macro_rules! same {
            ($($words:ident is $of:ident $(but $($left:literal)+)?;)*) => {$({
                let keys: Vec<_> = words::$words.iter().map(|(word, _)| *word).filter(|w| *w != "none" || stringify!($of) != "ResetResult").collect();
                for key in &keys { assert!(v::$of::parse(key).is_some(), "{key} of {}", stringify!($words)); }
                for word in v::$of::ALL.iter().map(|w| w.as_str()) {
                    let left: &[&str] = &["not_known", $($($left),+)?];
                    assert!(keys.contains(&word) || left.contains(&word), "{word} of {}", stringify!($words));
                }
            })*};
        }
        same! {
            THROTTLE is Throttle; WEATHER is Weather; SIGNS is Signs; RESET is ResetResult; BASIS is Basis; LEFT is Left;
            MODE is Mode; CIRCUIT is Circuit; GROUND_RESET is GroundReset; AFTER is After; PURPOSE is Purpose;
            AUTHORISED_HOW is AuthorisedHow; PROTECTION is Protection; FUSE_RESULT is FuseResult; TESTED_WITH is TestedWith;
            HANDLING is Handling; FUSE_SPEED is FuseSpeed; TEST_COCK is TestCock; MOTORS is Motors; OUTCOME is Outcome;
            CAUSE is ShutdownCause; MAY_GO_ON is MayGoOn; SEEN is Seen but "open" "closed"; SEEN_SWITCH is Seen but "on" "off" "tripped";
            YES_NO is YesNo; SEAL is SealWord; OCCASION is Occasion; RUN_POSITION is RunPosition;
        }
    }

    #[test]
    fn every_kind_has_its_questions_and_no_name_twice() {
        for kind in Kind::ALL {
            let parts = parts(*kind, None);
            let mut names: Vec<_> = parts.iter().flat_map(|p| p.questions).map(|q| q.name).collect();
            let all = names.len();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), all, "{kind}");
        }
    }
}
