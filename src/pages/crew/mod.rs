//! The crew's pages: units, handover, write it down, end-of-trip report, receipt.
pub mod answers;
pub mod asking;
pub mod draft;
pub mod entry_form;
pub mod picture;
pub mod store;
pub mod typed;
pub mod write;
