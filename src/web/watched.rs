//! Each request has a number of its own: it stands in the answer, and in whatever is logged about it. What is logged is the
//! path, never what stands after its question mark or in its body, and no header.
use std::time::Instant;

use axum::{
    extract::{MatchedPath, Request, State},
    http::HeaderValue,
    middleware::Next,
    response::Response,
};
use tracing::Instrument;
use uuid::Uuid;

use super::{
    App,
    client::{self, Peer},
};

pub const NUMBER: &str = "x-request-id";

pub async fn watch(State(app): State<App>, request: Request, next: Next) -> Response {
    let begun = Instant::now();
    // Never the client's own: it would stand in our log.
    let number = Uuid::new_v4().simple().to_string();
    let client = match request.extensions().get::<Peer>() {
        Some(peer) => client::of(peer.0.ip(), request.headers(), app.proxies()).to_string(),
        None => String::new(),
    };
    let method = request.method().clone();
    let route = request.extensions().get::<MatchedPath>().map_or("none", MatchedPath::as_str).to_owned();
    // Of the highest level, so that it is there with every line that is written at all.
    let span = tracing::error_span!("request", number, client, %method, path = request.uri().path());
    let answered = async {
        let response = next.run(request).await;
        let (status, took) = (response.status().as_u16(), begun.elapsed());
        app.metrics().answered(method.as_str(), &route, status, took);
        tracing::info!(status, ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX), "answered");
        response
    };
    let mut response = answered.instrument(span).await;
    if let Ok(number) = HeaderValue::try_from(number) {
        response.headers_mut().insert(NUMBER, number);
    }
    response
}
