//! Without network, in real Chromium: nothing written is lost, and what was signed is in the book exactly once.
mod cab;
mod contract;
mod gate;
mod journeys;
mod keys;
mod queue;
mod run;
mod storage;
mod thumbs;
