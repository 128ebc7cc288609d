//! The crew's pages: units, handover, write it down, end-of-trip report, receipt.
pub mod answers;
pub mod asking;
pub mod entry_form;
pub mod typed;
pub mod draft;
pub mod picture;
pub mod store;
pub mod write;
