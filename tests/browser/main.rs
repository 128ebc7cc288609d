//! The pages in real headless Chromium: the whole job from a tripped breaker to a signed review, looked at,
//! weighed, done with the keyboard alone, and done twice by mistake. Wants Debian's `chromium` and
//! `chromium-driver`; without them every test here fails and says so.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on stops")]

mod accessible;
mod answers;
mod chromium;
mod every;
mod extremes;
mod house;
mod journey;
mod keyboard;
mod keys;
mod looks;
mod offline;
mod person;
mod screens;
mod sheet;
mod shop;
mod situations;
mod slow;
mod taps;
mod twice;
mod weight;
