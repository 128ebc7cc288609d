//! What every page shares: state, routes, the guard at the door, errors, assets. See DEVELOPERS.md.
pub mod app;
pub mod assets;
pub mod carried;
pub mod client;
pub mod cookie;
pub mod forms;
pub mod frame;
pub mod gate;
pub mod guard;
pub mod headers;
pub mod listening;
pub mod me;
pub mod metrics;
pub mod naming;
pub mod noticed;
pub mod oops;
pub mod origin;
pub mod page;
pub mod palette;
pub mod parking;
pub mod paths;
pub mod qr;
pub mod route;
pub mod seen;
pub mod sheet;
pub mod signature;
pub mod watched;

pub use app::{App, Settings};
pub use forms::{Asked, Typed, Whole};
pub use frame::Frame;
pub use me::Me;
pub use oops::Oops;
pub use page::{page, see};
pub use parking::SentAt;
pub use route::{Door, Route};
pub use seen::Seen;

/// What a handler returns.
pub type Answer = Result<axum::response::Response, Oops>;
