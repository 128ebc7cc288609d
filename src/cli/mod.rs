//! See DEVELOPERS.md.
pub mod site;
pub mod demo;
