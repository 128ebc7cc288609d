//! The whole site: every room's routes in one list.
use axum::{Router, extract::State, http::header, response::IntoResponse, routing::get};

use crate::{
    api, pages,
    web::{App, Oops, Route, metrics, palette, route},
};

/// The list from which the router and the permit matrix are made.
pub fn routes() -> Vec<Route> {
    [palette::routes(), pages::routes(), api::routes()].into_iter().flatten().collect()
}

pub fn site(app: &App) -> Router {
    route::router(app, routes())
}

/// What Prometheus reads, at an address of its own: it tells how much is asked and what fails, which is nobody else's business.
pub fn figures(app: &App) -> Router {
    Router::new().route("/metrics", get(written)).with_state(app.clone())
}

async fn written(State(app): State<App>) -> Result<impl IntoResponse, Oops> {
    Ok(([(header::CONTENT_TYPE, metrics::KIND)], metrics::written(&app).await?))
}
