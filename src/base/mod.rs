//! Plain values, no I/O. Every other room may use this one; it uses none.
pub mod clock;
pub mod ids;
pub mod instant;
pub mod problems;
mod schemas;
pub mod table;
pub mod text;
pub mod words;
pub mod zone;

pub use clock::Clock;
pub use ids::{AmendmentId, ClassName, EntryId, ReportId, SignIn, Tag, UnitName};
pub use instant::{Instant, Stamp};
pub use problems::{Code, Problem, Problems};
pub use zone::{Day, Zone};
