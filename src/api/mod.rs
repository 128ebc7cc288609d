//! `/api/v1`: the contract over HTTP. Status codes and bodies as in the interchange contract; errors are
//! `{problems: [..]}` like a refused report, so that a program reads one shape. What it takes and answers is told beside
//! each route (`operations`), and leaves as an OpenAPI document (`contract`).
pub mod contract;
pub mod formats;
mod health;
mod lists;
mod operations;
pub mod out;
mod reports;
mod tablets;

pub use operations::operations;

use crate::web::{Door, Route, paths};

pub fn routes() -> Vec<Route> {
    let mut routes: Vec<Route> = operations().into_iter().map(|operation| operation.route).collect();
    routes.push(Route::get(paths::ApiPage::PATTERN, Door::SignedIn, contract::show));
    routes
}
