//! Figures for Prometheus. Counted here while requests pass; what the book itself knows is looked up when somebody asks.
use std::{sync::atomic::AtomicU64, time::Duration};

use prometheus_client::{
    encoding::{EncodeLabelSet, text::encode},
    metrics::{counter::Counter, family::Family, gauge::Gauge, histogram::Histogram},
    registry::{Registry, Unit},
};

use super::{App, Oops};
use crate::{desk::backup::told, oversight};

/// By route pattern, never by path: a path names a unit or an id, and there would be no end of them.
#[derive(Clone, Debug, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Asked {
    method: String,
    route: String,
    status: u16,
}

#[derive(Clone, Debug, Hash, PartialEq, Eq, EncodeLabelSet)]
struct Spent {
    route: String,
}

pub struct Metrics {
    requests: Family<Asked, Counter>,
    seconds: Family<Spent, Histogram, fn() -> Histogram>,
    wrong_passwords: Counter,
}

fn seconds() -> Histogram {
    Histogram::new([0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0])
}

impl Default for Metrics {
    fn default() -> Self {
        Self {
            requests: Family::default(),
            seconds: Family::new_with_constructor(seconds),
            wrong_passwords: Counter::default(),
        }
    }
}

impl Metrics {
    pub fn answered(&self, method: &str, route: &str, status: u16, took: Duration) {
        // Methods are the client's words: those that no route has are told together.
        let method = if matches!(method, "GET" | "HEAD" | "POST") { method } else { "other" };
        let route = route.to_owned();
        self.seconds.get_or_create(&Spent { route: route.clone() }).observe(took.as_secs_f64());
        self.requests.get_or_create(&Asked { method: method.to_owned(), route, status }).inc();
    }

    pub fn wrong_password(&self) {
        self.wrong_passwords.inc();
    }
}

/// The text format (OpenMetrics 1.0), as Prometheus asks for it.
pub const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

pub async fn written(app: &App) -> Result<String, Oops> {
    let mut registry = Registry::with_prefix("breakerbook");
    passed(app.metrics(), &mut registry);
    at_the_writer(app, &mut registry).await;
    in_the_book(app, &mut registry).await?;
    let mut text = String::new();
    encode(&mut text, &registry).map_err(|why| Oops::machine(&why))?;
    Ok(text)
}

fn passed(metrics: &Metrics, registry: &mut Registry) {
    registry.register("requests", "Requests answered", metrics.requests.clone());
    let seconds = metrics.seconds.clone();
    registry.register_with_unit("request", "How long they took", Unit::Seconds, seconds);
    registry.register(
        "wrong_passwords",
        "Wrong passwords, at signing in and signing",
        metrics.wrong_passwords.clone(),
    );
}

async fn at_the_writer(app: &App, registry: &mut Registry) {
    let health = app.desk().health().await;
    let groups = app.desk().at_work().groups().clone();
    registry.register("writer_group_jobs", "Jobs that were written together", groups);
    put(registry, "writer_waiting", "Jobs that wait for the writer", health.waiting as f64);
    let oldest = health.oldest.map_or(0.0, |oldest| oldest.as_secs_f64());
    put(registry, "writer_oldest_job_seconds", "How long the oldest unfinished job has waited", oldest);
    put(
        registry,
        "writable",
        "1 if the book can be written",
        f64::from(u8::from(health.not_writable.is_none())),
    );
    if let Some(pages) = health.pages {
        put(registry, "pages", "Pages in the book", pages as f64);
    }
}

async fn in_the_book(app: &App, registry: &mut Registry) -> Result<(), Oops> {
    let mut db = app.desk().read().await?;
    let open = oversight::store::open(&mut db).await?;
    put(registry, "open_bypasses", "Ground-relay cutouts that stand open", open as f64);
    let kept = told::kept(&mut db).await?;
    // Without one there is no age: an alarm on an absent figure says so.
    if let Some(good) = kept.good {
        let age = app.now().since(good.at) as f64 / 1e6;
        put(registry, "backup_age_seconds", "Since the last good back-up ended", age);
    }
    Ok(())
}

fn put(registry: &mut Registry, name: &str, help: &str, value: f64) {
    let gauge = Gauge::<f64, AtomicU64>::default();
    gauge.set(value);
    registry.register(name, help, gauge);
}
