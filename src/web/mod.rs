//! See DEVELOPERS.md.
pub mod frame;
