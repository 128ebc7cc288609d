//! The book: pages as bytes in a Merkle tree. Knows no domain type; the desk decides what a page says.
pub mod checkpoint_store;
pub mod key;
pub mod note;
pub mod page;
pub mod proof;
pub mod store;
pub mod tree;

pub use page::{Channel, Envelope, Heading};
pub use proof::Head;
pub use tree::{Frontier, Hash};
