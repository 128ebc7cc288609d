//! Tests that try to break the book: other orders, other channels, flipped bytes, killed servers, full disks.
//! More of it: `PROPTEST_CASES=500 FLIPS=3000 KILLS=200 CUTS=50 cargo test --test book`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that fails says so by panicking")]
#![expect(clippy::cast_possible_truncation, reason = "the numbers of reports are small")]
mod backups;
mod backups_in_trouble;
mod bad;
mod bites;
mod channels;
mod deeds;
mod fleets;
mod flips;
mod fuzzed;
mod golden;
mod house;
mod imports;
mod killed;
mod machine;
mod measured;
mod moved;
mod only_read;
mod order;
mod packs;
mod pages;
mod process;
mod proofs;
mod sentences;
mod tampered;
mod together;
mod writing;
