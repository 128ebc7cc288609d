//! One room per reader, and what is drawn alike in all of them.
pub mod crew;
pub mod drawn;
