//! Tests that try to break the book: other orders, other channels, flipped bytes, killed servers, full disks.
//! More of it: `PROPTEST_CASES=500 FLIPS=3000 KILLS=200 CUTS=50 cargo test --test book`;
//! a million damaged inputs at each door: `INPUTS=1000000 cargo test --test book fuzzed -- --nocapture --test-threads 1`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that fails says so by panicking")]
#![expect(clippy::cast_possible_truncation, reason = "the numbers of reports are small")]
mod backups;
mod backups_in_trouble;
mod bad;
mod bites;
mod channels;
mod contract;
mod deeds;
mod fleets;
mod flips;
mod fuzzed;
mod golden;
mod house;
mod imports;
mod killed;
mod limits;
mod logged;
mod machine;
mod measured;
mod moved;
mod only_read;
mod order;
mod packaged;
mod packs;
mod pages;
mod process;
mod proofs;
mod proxied;
mod sentences;
mod sign_in;
mod tampered;
mod together;
mod watched;
mod writing;
