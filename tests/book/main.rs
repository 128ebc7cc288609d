//! Tests that try to break the book: other orders, other channels, flipped bytes, killed servers, full disks.
mod channels;
mod deeds;
mod flips;
mod house;
mod imports;
mod killed;
mod machine;
mod order;
mod pages;
mod process;
mod tampered;
mod writing;
