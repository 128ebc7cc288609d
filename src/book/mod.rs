//! The book: pages as bytes in a Merkle tree. Knows no domain type; the desk decides what a page says.
pub mod page;
pub mod store;
pub mod tree;

pub use page::{Channel, Envelope, Heading};
pub use tree::{Frontier, Hash};
