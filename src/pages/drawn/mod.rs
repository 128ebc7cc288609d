//! What every reader's pages draw alike: form fields, the breaker panel. View structs, ready to print.
pub mod facts;
pub mod form;
pub mod pager;
pub mod panel;
pub mod picture;
pub mod rules;
pub mod sent;
pub mod state;
pub mod tablet;
pub mod told;
pub mod watch;

#[cfg(test)]
mod look;
#[cfg(test)]
pub mod sample;
