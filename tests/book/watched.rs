//! The figures for Prometheus, read by its own parser from PyPI, against what was really asked; and where they are not.
use std::collections::BTreeMap;

use http_body_util::Full;
use hyper::Request;
use tokio::process::Command;

use crate::{
    contract::python,
    house::{House, every_kind, trip},
    killed::Client,
    logged::{asked, post},
    process::{done, run, serve_with},
};

const READ: &str = "
import json, sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families as read
families = list(read(sys.stdin.read() if len(sys.argv) < 2 else open(sys.argv[1]).read()))
assert len({f.name for f in families}) == len(families)
print(json.dumps({s.name + json.dumps(s.labels, sort_keys=True): s.value for f in families for s in f.samples}))
";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn figures_are_those_of_what_was_asked_and_of_the_book() {
    let house = House::new().await;
    let db = house.path.to_str().unwrap();
    let token = run(&["token", "--db", db, "--for", "ann"]).await.out.trim().to_owned();
    let told = run(&["backup", "--db", db, "--to", house.dir.path().to_str().unwrap()]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let log = house.dir.path().join("log");
    let server = serve_with(&house.path, &["--metrics", "127.0.0.1:0"], &log).await;
    let mut client = Client::to(&server.address, &token).await;
    for n in 0..7 {
        assert_eq!(client.file(&trip(n, 5)).await.unwrap().0, 201);
    }
    assert_eq!(client.file(&every_kind()).await.unwrap().0, 201);
    asked(&server.address, post("/sign-in", "", "sign_in=ann&password=wrong")).await;
    asked(
        &server.address,
        Request::get("/no-such-page-413").header("host", "x").body(Full::default()).unwrap(),
    )
    .await;
    // On the book's own address there are none.
    let get = || Request::get("/metrics").header("host", "x").body(Full::default()).unwrap();
    assert_eq!(asked(&server.address, get()).await.status(), 404);
    let mut db = house.raw().await;
    let before = size(&mut db).await;
    let answer = asked(&server.figures, get()).await;
    assert_eq!(answer.status(), 200);
    let text = String::from_utf8(answer.body().to_vec()).unwrap();
    assert!(!text.contains("no-such-page"), "paths are no labels: {text}");
    let file = house.file("figures.txt", &text);
    let read = done(Command::new(python().await).args(["-c", READ]).arg(file)).await;
    let figures: BTreeMap<String, f64> = serde_json::from_str(&read).unwrap();
    let is = |name: &str, labels: &str, want: f64| {
        let key = format!("breakerbook_{name}{{{labels}}}");
        assert_eq!(figures.get(&key), Some(&want), "{key} in {figures:#?}");
    };
    let filed = r#""method": "POST", "route": "/api/v1/reports", "status": "201""#;
    is("requests_total", filed, 8.0);
    is("request_seconds_count", r#""route": "/api/v1/reports""#, 8.0);
    is("requests_total", r#""method": "GET", "route": "none", "status": "404""#, 2.0);
    is("wrong_passwords_total", "", 1.0);
    is("open_bypasses", "", 1.0);
    is("writer_waiting", "", 0.0);
    is("writable", "", 1.0);
    // Class figures may be taken meanwhile, which is a page.
    let (pages, after) = (figures["breakerbook_pages{}"], size(&mut db).await);
    assert!(before <= pages && pages <= after, "{before} {pages} {after}");
    let jobs = figures["breakerbook_writer_group_jobs_sum{}"];
    assert!(jobs >= 8.0, "{jobs}");
    assert!(figures["breakerbook_backup_age_seconds{}"] >= 0.0);
}

async fn size(db: &mut sqlx::SqliteConnection) -> f64 {
    let size: i64 = sqlx::query_scalar("SELECT size FROM head").fetch_one(db).await.unwrap();
    f64::from(u32::try_from(size).unwrap())
}
