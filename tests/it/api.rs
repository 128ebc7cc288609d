//! The contract over HTTP.
use serde_json::{Value, json};

use crate::harness::{App, entry_id, report};

#[tokio::test]
async fn a_report_is_new_once_and_the_same_ever_after() {
    let app = App::start().await;
    let token = app.token("ann").await;
    let trip = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "device": "TC2", "left": "on"});
    let sent = report(1, "QHB 412", "ann", vec![trip]);
    let (status, first) = app.api(&token, "POST", "/api/v1/reports", Some(&sent)).await;
    assert_eq!(status, 201, "{first}");
    for field in ["receipt", "report", "content_sha256", "recorded_at", "tree_size", "root", "warnings"] {
        assert!(first.get(field).is_some(), "{field} in {first}");
    }
    assert_eq!(first["recorded_at"], "2026-03-03T12:00:00Z");
    let (status, again) = app.api(&token, "POST", "/api/v1/reports", Some(&sent)).await;
    assert_eq!((status, &again["receipt"], &again["root"]), (200, &first["receipt"], &first["root"]));
    let mut other = sent.clone();
    other["remarks"] = "something else".into();
    let (status, body) = app.api(&token, "POST", "/api/v1/reports", Some(&other)).await;
    assert_eq!((status, &body["problems"][0]["code"]), (409, &json!("id_in_use")), "{body}");
}

#[tokio::test]
async fn what_cannot_be_taken_is_told_by_status_and_problems() {
    let app = App::start().await;
    let token = app.token("ann").await;
    let deep = format!("{}1{}", "[".repeat(40), "]".repeat(40));
    let twice =
        br#"{"id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10", "id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b10"}"#
            .to_vec();
    let cases: Vec<(Vec<u8>, u16)> = vec![
        (b"not json".to_vec(), 400),
        (vec![0xff, 0xfe], 400),
        (deep.into_bytes(), 400),
        (twice, 422),
        (b"{}".to_vec(), 422),
        (report(1, "QHB 412", "ben", vec![]).to_string().into_bytes(), 403),
        (vec![b' '; 2_000_001], 413),
    ];
    for (body, want) in cases {
        let shown = String::from_utf8_lossy(&body[..body.len().min(60)]).into_owned();
        let (status, answer) = app.api_bytes(Some(&token), body).await;
        assert_eq!(status, want, "{shown}: {answer}");
        assert!(answer["problems"][0]["says"].as_str().is_some_and(|s| !s.is_empty()), "{shown}: {answer}");
    }
}

#[tokio::test]
async fn without_a_token_nothing_comes_in() {
    let app = App::start().await;
    let body = report(1, "QHB 412", "ann", vec![]).to_string().into_bytes();
    for token in [Some("f".repeat(64)), Some("nonsense".into())] {
        let (status, answer) = app.api_bytes(token.as_deref(), body.clone()).await;
        assert_eq!(status, 401, "{answer}");
    }
    let (status, answer) = app.api_bytes(None, body.clone()).await;
    assert_eq!(status, 401, "neither a token nor a browser's word for where it came from: {answer}");
    // A cookie alone is no signature.
    let ann = app.user("ann").await;
    let request = ann.request("POST", "/api/v1/reports").header("sec-fetch-site", "same-origin");
    let page = ann.send(request.body(body.into()).unwrap()).await;
    assert_eq!(page.status, 403, "{}", page.body);
    assert!(page.body.contains("sign on the page"), "{}", page.body);
}

#[tokio::test]
async fn lists_leave_as_json_and_csv() {
    let app = App::start().await;
    crate::board::a_night(&app).await;
    let token = app.token("sue").await;
    for (list, field, want) in [
        ("findings", "rule", "not_authorised"),
        ("bypasses", "opened_by", "ann"),
        ("entries", "kind", "bypass"),
    ] {
        let (status, rows) = app.api(&token, "GET", &format!("/api/v1/{list}"), None).await;
        assert_eq!(status, 200, "{rows}");
        assert!(rows.as_array().unwrap().iter().any(|row| row[field] == want), "{list}: {rows}");
        let (_, early) =
            app.api(&token, "GET", &format!("/api/v1/{list}?as_of=2026-03-01T00:00:00Z"), None).await;
        assert_eq!(early, json!([]), "{list}: nothing had happened by then");
        let page = app.bare(app.request(&token, "GET", &format!("/api/v1/{list}?format=csv"))).await;
        assert_eq!(page.header("content-type"), "text/csv; charset=utf-8");
        assert!(page.body.lines().next().unwrap().contains(field), "{}", page.body);
    }
    let (status, answer) =
        app.api(&token, "GET", "/api/v1/findings?as_of=yesterday&format=xml&history=maybe", None).await;
    assert_eq!((status, answer["problems"].as_array().unwrap().len()), (422, 3), "{answer}");
    let shop = app.token("sam").await;
    let (_, rows) = app.api(&shop, "GET", "/api/v1/findings", None).await;
    assert!(rows.as_array().unwrap().iter().any(|row| row["rule"] == "reported"), "{rows}");
    assert!(!rows.to_string().contains("not_authorised"), "what may name people is the supervisor's: {rows}");
    let crew = app.token("ann").await;
    let (status, _) = app.api(&crew, "GET", "/api/v1/bypasses", None).await;
    assert_eq!(status, 403);
}

#[tokio::test]
async fn health_tells_how_the_book_does_and_nothing_of_what_is_in_it() {
    let app = App::start().await;
    let page = app.anon().get("/health").await.is(200);
    let mut told: Value = serde_json::from_str(&page.body).unwrap();
    let last = told["last_page"].take().as_u64().unwrap();
    assert!(last > 5, "{last}");
    assert!(told["oldest_unfinished_s"].take().as_f64().unwrap() < 10.0);
    assert_eq!(
        told,
        json!({"ok": true, "readable": true, "writable": true, "says": null, "version": env!("CARGO_PKG_VERSION"),
            "waiting": 0, "last_page": null, "oldest_unfinished_s": null})
    );
    let before = app.web.desk().pages().await;
    app.anon().get("/health").await.is(200);
    assert_eq!(app.web.desk().pages().await, before, "a look at its health writes no page");
}

#[tokio::test]
async fn a_disk_that_takes_nothing_is_told_with_what_to_do() {
    let app = App::start().await;
    let only_read = |yes: &'static str| {
        app.web.desk().aside(move |db| Box::pin(async move { sqlx::query(yes).execute(db).await.map(drop) }))
    };
    only_read("PRAGMA query_only = 1").await.unwrap();
    let page = app.anon().get("/health").await.is(503);
    let told: Value = serde_json::from_str(&page.body).unwrap();
    assert_eq!(
        (&told["ok"], &told["readable"], &told["writable"]),
        (&json!(false), &json!(true), &json!(false))
    );
    let says = told["says"].as_str().unwrap();
    assert!(
        says.starts_with("The book's file cannot be written to") && says.ends_with("tell the administrator."),
        "{says}"
    );
}
