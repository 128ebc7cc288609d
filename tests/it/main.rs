//! Pages as people meet them: through the real router, with real cookies, in the words of the house.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on stops")]

mod fakes;
mod harness;
mod html;
mod phone;
mod roster;

mod api;
mod attacks;
mod authorisations;
mod backups;
mod board;
mod book;
mod bypass;
mod codes;
mod contract;
mod crew;
mod crew_asks;
mod crew_reads;
mod crew_tabs;
mod doors;
mod entries;
mod fleet;
mod notices;
mod parked;
mod people;
mod permits;
mod pictures;
mod run;
mod sessions;
mod shop;
mod shop_measures;
mod sign_in;
mod start_check;
mod tablets;
mod thresholds;
mod tokens;
mod triage;
mod vectors;
mod waiting;
mod weight;
