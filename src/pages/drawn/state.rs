//! A device as it was last written down, and how that is drawn and said.
use crate::{
    base::Instant,
    reports::vocabulary::{FuseResult, Left, Seen},
    roster::{Device, DeviceKind},
};

/// What the newest entry about a device says of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    On,
    Off,
    Tripped,
    CutOut,
    /// Closed, but its seal is broken, missing or not the right one. Cutouts only.
    Unsealed,
    Blown,
    Missing,
    WrongOne,
    Bridged,
    /// Somebody wrote that they did not look, or do not know.
    NotKnown,
}

/// A state and since when it stands in the book.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    pub state: State,
    pub at: Instant,
}

impl From<Left> for State {
    fn from(left: Left) -> Self {
        match left {
            Left::On => Self::On,
            Left::Off => Self::Off,
            Left::Tripped => Self::Tripped,
            Left::CutOut => Self::CutOut,
            Left::NotKnown => Self::NotKnown,
        }
    }
}

impl From<Seen> for State {
    fn from(seen: Seen) -> Self {
        match seen {
            Seen::On | Seen::Closed => Self::On,
            Seen::Off | Seen::Open => Self::Off,
            Seen::Tripped => Self::Tripped,
            Seen::NotLooked | Seen::NotKnown => Self::NotKnown,
        }
    }
}

impl From<FuseResult> for State {
    fn from(result: FuseResult) -> Self {
        match result {
            FuseResult::Good => Self::On,
            FuseResult::Blown => Self::Blown,
            FuseResult::Missing => Self::Missing,
            FuseResult::WrongOne => Self::WrongOne,
            FuseResult::Bridged => Self::Bridged,
            FuseResult::NotKnown => Self::NotKnown,
        }
    }
}

/// How one device is drawn: which glyph, which word under it, and how loud.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Face {
    /// Id of a symbol in `templates/parts/glyphs.html`, without the leading `g-`.
    pub glyph: &'static str,
    /// Empty when nothing is written about it.
    pub word: &'static str,
    /// Class of the word and of the glyph: `attention`, `off`, or nothing.
    pub class: &'static str,
}

const fn face(glyph: &'static str, word: &'static str, class: &'static str) -> Face {
    Face { glyph, word, class }
}

/// The drawing of a device in a state; `None` is 'nothing written', an empty slot.
pub fn face_of(device: &Device, state: Option<State>) -> Face {
    match device.kind {
        DeviceKind::Breaker => breaker(state),
        DeviceKind::Fuse => fuse(state),
        DeviceKind::Switch if device.ground_protection => cutout(state),
        DeviceKind::Switch => switch(state),
        DeviceKind::Relay => relay(state),
    }
}

fn breaker(state: Option<State>) -> Face {
    match state {
        None => face("breaker-blank", "", ""),
        Some(State::On) => face("breaker-on", "on", ""),
        Some(State::Tripped) => face("breaker-tripped", "tripped", "attention"),
        Some(State::Off) => face("breaker-off", "off", "off"),
        Some(State::CutOut) => face("breaker-off", "cut out", "off"),
        Some(_) => face("breaker-unknown", "not known", ""),
    }
}

fn fuse(state: Option<State>) -> Face {
    match state {
        None => face("fuse-blank", "", ""),
        Some(State::On) => face("fuse-whole", "good", ""),
        Some(State::Blown | State::Tripped) => face("fuse-broken", "blown", "attention"),
        Some(State::Missing) => face("fuse-missing", "missing", "attention"),
        Some(State::Off | State::CutOut) => face("fuse-missing", "out", "off"),
        Some(State::WrongOne) => face("fuse-whole", "wrong one", "attention"),
        Some(State::Bridged) => face("fuse-bridged", "bridged", "attention"),
        Some(_) => face("fuse-unknown", "not known", ""),
    }
}

fn cutout(state: Option<State>) -> Face {
    match state {
        None => face("cutout-blank", "", ""),
        Some(State::On) => face("cutout-on", "closed", ""),
        Some(State::Unsealed) => face("cutout-unsealed", "closed, seal broken", "off"),
        Some(State::Off | State::CutOut | State::Tripped) => face("cutout-off", "OPEN", "attention"),
        Some(_) => face("cutout-unknown", "not known", ""),
    }
}

fn switch(state: Option<State>) -> Face {
    match state {
        None => face("switch-blank", "", ""),
        Some(State::On) => face("switch-on", "on", ""),
        Some(State::Off | State::Tripped) => face("switch-off", "off", "off"),
        Some(State::CutOut) => face("switch-off", "cut out", "off"),
        Some(_) => face("switch-unknown", "not known", ""),
    }
}

fn relay(state: Option<State>) -> Face {
    match state {
        None => face("relay-blank", "", ""),
        Some(State::On) => face("relay-on", "set", ""),
        Some(State::Tripped) => face("relay-tripped", "operated", "attention"),
        Some(State::Off | State::CutOut) => face("relay-off", "cut out", "off"),
        Some(_) => face("relay-unknown", "not known", ""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_face_has_its_drawing() {
        let glyphs = include_str!("../../../templates/parts/glyphs.html");
        let states = [
            State::On,
            State::Off,
            State::Tripped,
            State::CutOut,
            State::Unsealed,
            State::Blown,
            State::Missing,
            State::WrongOne,
            State::Bridged,
            State::NotKnown,
        ];
        let states = || states.into_iter().map(Some).chain([None]);
        for draw in [breaker, fuse, cutout, switch, relay] {
            for state in states() {
                let glyph = draw(state).glyph;
                assert!(glyphs.contains(&format!("id=\"g-{glyph}\"")), "{glyph}");
            }
        }
    }
}
