//! See DEVELOPERS.md.
pub mod site;
