//! See DEVELOPERS.md.
pub mod out;
