//! What a crew writes down: the report, its entries, and which of them can be taken. Pure but for `store`.
pub mod amendment;
pub mod content;
pub mod entry;
pub mod json;
pub mod kinds;
pub mod reading;
pub mod report;
#[cfg(test)]
pub mod sample;
mod schemas;
pub mod store;
pub mod stored;
pub mod validity;
pub mod vocabulary;

pub use amendment::Amendment;
pub use content::content_sha256;
pub use entry::{AtHow, Entry, When};
pub use json::{Json, Unreadable};
pub use kinds::What;
pub use reading::{read_amendment, read_entry, read_report, read_report_bytes};
pub use report::{Report, Run};
