//! The whole site: every room's routes in one list.
use axum::Router;

use crate::{
    api, pages,
    web::{App, Route, palette, route},
};

/// The list from which the router and the permit matrix are made.
pub fn routes() -> Vec<Route> {
    [palette::routes(), pages::routes(), api::routes()].into_iter().flatten().collect()
}

pub fn site(app: &App) -> Router {
    route::router(app, routes())
}
