//! What a crew writes down: the report, its entries, and which of them can be taken. Pure but for `store`.
pub mod entry;
pub mod kinds;
pub mod report;
pub mod vocabulary;

pub use entry::{AtHow, Entry, When};
pub use kinds::What;
pub use report::{Report, Run};
