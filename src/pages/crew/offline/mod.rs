//! What a tablet needs to be used without network: the page that stands in for the crew's own (`shell`), the worker that
//! keeps it, and pictures of units and classes for its scripts (`pictures`). The scripts are `static/shell.js` and those
//! that it names.
pub mod pictures;
pub mod shell;
