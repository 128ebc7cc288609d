//! See DEVELOPERS.md.
pub mod demo;
