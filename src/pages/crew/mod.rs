//! The crew's pages.
