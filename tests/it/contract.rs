//! The API's document against the API: no route without its word, no word without its route, and no answer in any of these
//! tests that it does not foresee.
use std::collections::BTreeSet;

use axum::{body::Body, http::Request};
use breakerbook::{api, cli::site, web::paths};
use serde_json::Value;

use crate::{
    harness::{App, Page},
    html,
};

/// A request, for as long as its answer is waited for.
pub struct Asked {
    method: String,
    path: String,
}

impl Asked {
    pub fn of(request: &Request<Body>) -> Self {
        Self { method: request.method().as_str().to_ascii_lowercase(), path: request.uri().path().to_owned() }
    }

    /// Of the API, that is; pages are told by nobody.
    #[track_caller]
    pub fn is_answered_as_documented(&self, page: &Page<'_>) {
        let operation = &api::contract::document()["paths"][&self.path][&self.method];
        if operation.is_null() {
            return;
        }
        let (asked, status) = (format!("{} {}", self.method, self.path), page.status.to_string());
        let told = &operation["responses"][&status];
        assert!(
            !told.is_null(),
            "{asked} answered {status}, which its document does not have: {}",
            page.body
        );
        let kind = page.header("content-type").split(';').next().unwrap();
        let kinds = told["content"].as_object().unwrap();
        assert!(kinds.contains_key(kind), "{asked} answered {status} with {kind}: {kinds:?}");
        let Ok(body) = serde_json::from_str::<Value>(&page.body) else { return };
        for problem in body["problems"].as_array().into_iter().flatten() {
            let codes = told["x-problem-codes"].as_array().unwrap();
            assert!(codes.contains(&problem["code"]), "{asked} answered {status} with {problem}: {codes:?}");
        }
    }
}

#[test]
fn every_route_of_the_api_is_in_its_document_and_nothing_else_is() {
    let is_api = |path: &str| path.starts_with("/api/") || path == paths::Health::PATTERN;
    let routes: BTreeSet<String> = site::routes()
        .iter()
        .filter(|route| is_api(route.path))
        .map(|route| format!("{} {}", route.method.as_str().to_ascii_lowercase(), route.path))
        .collect();
    let told: BTreeSet<String> = api::contract::document()["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, methods)| methods.as_object().unwrap().keys().map(move |m| format!("{m} {path}")))
        .collect();
    assert_eq!(told, routes);
    assert!(routes.len() > 7, "{routes:?}");
}

/// Names that lead nowhere, and shapes that nothing leads to, would be a document that was not read.
#[test]
fn every_name_in_it_leads_to_a_shape_and_every_shape_is_led_to() {
    let document = api::contract::document();
    let shapes: BTreeSet<String> =
        document["components"]["schemas"].as_object().unwrap().keys().cloned().collect();
    let text = document.to_string();
    let named: BTreeSet<String> = text
        .split("#/components/schemas/")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap().to_owned())
        .collect();
    assert_eq!(named, shapes);
    for shape in ["Report", "BreakerTrip", "Position", "Receipt", "FindingOut", "Problem", "Code"] {
        assert!(shapes.contains(shape), "{shape} in {shapes:?}");
    }
    let fields = document["components"]["schemas"]["Bypass"]["properties"].as_object().unwrap();
    for field in ["opened_at", "found_open_at", "seal_applied", "at_how"] {
        assert!(fields.contains_key(field), "{field} in {fields:?}");
    }
}

#[tokio::test]
async fn who_is_signed_in_reads_it_as_a_page_and_as_a_document() {
    let app = App::start().await;
    app.anon().get(paths::ApiPage).await.goes_to(paths::SignIn.with(&[("next", "/api")]));
    let ann = app.user("ann").await;
    let page = ann.get(paths::ApiPage).await.is(200).says("POST /api/v1/reports").says("breaker_trip");
    for tag in html::tags(&page.body) {
        for name in ["href", "src", "action"] {
            let to = tag.get(name).unwrap_or("/");
            assert!(to.starts_with(['/', '#']) && !to.starts_with("//"), "{} leads to {to}", tag.name);
        }
    }
    // What a line names is on the page.
    let tags = html::tags(&page.body);
    let ids: BTreeSet<&str> = tags.iter().filter_map(|tag| tag.get("id")).collect();
    let links = tags.iter().filter_map(|tag| tag.get("href")).filter_map(|to| to.strip_prefix('#'));
    let lost: Vec<&str> = links.filter(|to| !ids.contains(to)).collect();
    assert!(lost.is_empty(), "{lost:?}");
    let served = ann.get(paths::ApiDocument).await.is(200);
    let served: Value = serde_json::from_str(&served.body).unwrap();
    assert_eq!(&served, api::contract::document());
    assert_eq!(served["openapi"], "3.1.0");
}
