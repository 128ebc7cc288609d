//! The routes table: one list, from which the router is built and against which the permit matrix is tested.
use axum::{
    Router,
    extract::DefaultBodyLimit,
    handler::Handler,
    http::{Method, StatusCode},
    middleware::{from_fn, from_fn_with_state},
    routing::{MethodFilter, MethodRouter, on},
};
use tower_http::{
    CompressionLevel,
    catch_panic::CatchPanicLayer,
    compression::CompressionLayer,
    limit::RequestBodyLimitLayer,
    timeout::{RequestBodyTimeoutLayer, TimeoutLayer},
};

use super::{App, assets, guard, headers, oops, watched};
use crate::people::Act;

/// Who may come in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Door {
    /// Anybody, signed in or not.
    Open,
    /// Anybody who is signed in, whatever their role: their own password, their own kept forms.
    SignedIn,
    /// Whose role may do this act.
    For(Act),
}

impl From<Act> for Door {
    fn from(act: Act) -> Self {
        Self::For(act)
    }
}

pub struct Route {
    pub method: Method,
    /// A `PATTERN` of [`super::paths`].
    pub path: &'static str,
    pub door: Door,
    handler: MethodRouter<App>,
}

impl Route {
    pub fn get<H: Handler<T, App>, T: 'static>(
        path: &'static str,
        door: impl Into<Door>,
        handler: H,
    ) -> Self {
        Self { method: Method::GET, path, door: door.into(), handler: on(MethodFilter::GET, handler) }
    }

    pub fn post<H: Handler<T, App>, T: 'static>(
        path: &'static str,
        door: impl Into<Door>,
        handler: H,
    ) -> Self {
        Self { method: Method::POST, path, door: door.into(), handler: on(MethodFilter::POST, handler) }
    }
}

/// No request may bring more (ASVS 5.0 4.1 and the contract's 413).
pub const BODY_LIMIT: usize = 2_000_000;

/// The whole site: flat, with one fallback. Each route passes its own guard, so none can miss its act.
pub fn router(app: &App, routes: Vec<Route>) -> Router {
    let mut router = Router::new();
    for route in routes {
        let keeper = from_fn_with_state((app.clone(), route.door), guard::guard);
        router = router.route(route.path, route.handler.route_layer(keeper));
    }
    router = assets::serve(router);
    router
        .fallback(|| async { oops::Oops::NotFound("There is no such page.".into()) })
        .layer(DefaultBodyLimit::disable())
        .layer(RequestBodyLimitLayer::new(BODY_LIMIT))
        .layer(RequestBodyTimeoutLayer::new(app.patience()))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, app.patience()))
        .layer(CatchPanicLayer::custom(oops::after_panic))
        .layer(from_fn_with_state(app.clone(), oops::dress))
        // The first level that looks twice. At level 1 a unit's page with its pictures weighed 15 to 18 kB, a fifth
        // more than it has to, and a slow network takes longer for that than the packing does.
        .layer(CompressionLayer::new().quality(CompressionLevel::Precise(4)))
        .layer(from_fn_with_state(app.clone(), headers::add))
        .layer(from_fn(headers::no_store_unless_said))
        .layer(from_fn_with_state(app.clone(), watched::watch))
        .with_state(app.clone())
}
