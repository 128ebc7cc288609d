//! The headers every answer carries.
use axum::{
    extract::{Request, State},
    http::{HeaderValue, header},
    middleware::Next,
    response::Response,
};

use super::App;

/// Nothing but our own files, nothing inline, no frame around us. Tested against every template.
pub const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; \
    img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; \
    base-uri 'none'; frame-ancestors 'none'";

pub async fn add(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-opener-policy", HeaderValue::from_static("same-origin"));
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    if app.settings().tls {
        // Over plain http a browser ignores it, and a railway's own network may have no TLS to promise.
        let year = HeaderValue::from_static("max-age=31536000");
        headers.insert(header::STRICT_TRANSPORT_SECURITY, year);
    }
    response
}

/// Pages hold names and unit histories: no cache keeps them unless the handler said otherwise.
pub async fn no_store_unless_said(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
