//! The file on disk: how it is opened, the readers, and the one writer.
pub mod migrate;
pub mod open;
pub mod scratch;
pub mod writer;

pub use open::{OpenError, Opening};
pub use writer::{Clerk, Trouble, WriterOptions, Writing};
