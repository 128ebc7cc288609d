//! The same report by page, by token over HTTP and from a file: the same projections, but for how it came in.
use axum::{body::Body, http::Request};
use breakerbook::{
    base::SignIn,
    book::Channel,
    cli::site,
    desk::{Refused, keep_people::KeepSecret},
    people::session::Token,
    web::{self, Settings},
};
use http_body_util::BodyExt;
use serde_json::Value;
use tower::ServiceExt;

use crate::{
    house::{House, contents, every_kind, file, id, same_contents, trip},
    process::run,
};

/// Several reports that bear on each other, with every kind among them.
fn reports() -> Vec<Value> {
    let mut all: Vec<Value> = (1..8).map(|n| trip(n, n as u32 * 5)).collect();
    all.push(every_kind());
    let mut nothing = trip(20, 100);
    nothing["entries"] = serde_json::json!([]);
    all.push(nothing);
    all
}

async fn post(router: &axum::Router, token: &str, body: String) -> (u16, Value) {
    let request = Request::post("/api/v1/reports")
        .header("authorization", format!("Bearer {token}"))
        .header("content-type", "application/json")
        .body(Body::from(body))
        .unwrap();
    let response = router.clone().oneshot(request).await.unwrap();
    let status = response.status().as_u16();
    let body = response.into_body().collect().await.unwrap().to_bytes();
    (status, serde_json::from_slice(&body).unwrap_or(Value::Null))
}

#[tokio::test]
async fn page_api_and_import_leave_the_same() {
    let by_page = House::new().await;
    let desk = by_page.desk().await;
    for report in reports() {
        let receipt = file(&desk, &report, "ann", Channel::Page).await.unwrap();
        let again = file(&desk, &report, "ann", Channel::Page).await.unwrap();
        assert!(receipt.is_new && !again.is_new);
        assert_eq!(
            (receipt.receipt, &receipt.root, receipt.tree_size, receipt.recorded_at, &receipt.content_sha256),
            (again.receipt, &again.root, again.tree_size, again.recorded_at, &again.content_sha256)
        );
    }

    let by_token = House::new().await;
    let web = web::App::new(by_token.desk().await, Settings::default());
    let router = site::site(&web);
    let token = Token::fresh().unwrap();
    let kept = KeepSecret::token(&SignIn::from("ann"), token.hash().0, None, by_token.clock.now());
    web.desk().act(kept).await.unwrap();
    for report in reports() {
        let (first, receipt) = post(&router, &token.reveal(), report.to_string()).await;
        // As another program would write the same: other spacing, what was not stated as null.
        let mut other = report.clone();
        other["remarks"] = Value::Null;
        let (second, again) =
            post(&router, &token.reveal(), serde_json::to_string_pretty(&other).unwrap()).await;
        assert_eq!((first, second), (201, 200), "{receipt} {again}");
        for field in ["receipt", "report", "content_sha256", "recorded_at", "tree_size", "root"] {
            assert_eq!(receipt[field], again[field], "{field}");
            assert!(!receipt[field].is_null(), "{field}");
        }
    }

    let by_file = House::new().await;
    let lines: String = reports().iter().chain(&reports()).map(|r| format!("{r}\n")).collect();
    let jsonl = by_file.file("reports.jsonl", lines);
    let (jsonl, db) = (jsonl.to_str().unwrap(), by_file.path.to_str().unwrap());
    let told = run(&["import", "reports", jsonl, "--db", db]).await;
    assert_eq!((told.code, told.last_line()), (Some(0), "new=9 same=9 rejected=0"), "{told:?}");

    let mut page = by_page.raw().await;
    let mut api = by_token.raw().await;
    let mut import = by_file.raw().await;
    let (page, api, mut import) =
        (contents(&mut page).await, contents(&mut api).await, contents(&mut import).await);
    // An import takes class figures at its end; a server does so within the minute.
    let figures = import.insert("class_figures".to_owned(), Vec::new());
    assert_eq!(figures.map(|rows| rows.len()), Some(1));
    assert!(!page["finding"].is_empty() && !page["bypass"].is_empty());
    same_contents(&page, &api, "by page (left), by token (right)");
    same_contents(&page, &import, "by page (left), from a file (right)");

    // How each came in is kept.
    for (house, channel, entered_by) in
        [(&by_page, "page", None), (&by_token, "token", None), (&by_file, "import", Some("console"))]
    {
        let mut db = house.raw().await;
        let how: Vec<(String, String, Option<String>)> =
            sqlx::query_as("SELECT DISTINCT author, channel, entered_by FROM report")
                .fetch_all(&mut db)
                .await
                .unwrap();
        assert_eq!(how, [("ann".into(), channel.into(), entered_by.map(str::to_owned))]);
        drop(db);
        house.is_clean().await;
    }
}

#[tokio::test]
async fn an_id_in_use_is_a_conflict_and_changes_nothing() {
    let house = House::new().await;
    let desk = house.desk().await;
    file(&desk, &trip(1, 5), "ann", Channel::Token).await.unwrap();
    let mut db = desk.read().await.unwrap();
    let before = contents(&mut db).await;
    let mut other_words = trip(1, 5);
    other_words["remarks"] = "something else".into();
    let mut other_author = trip(1, 5);
    other_author["author"] = "bob".into();
    let mut entry_in_use = trip(2, 6);
    entry_in_use["entries"][0]["id"] = id(1_000_001).into();
    for (report, by, path) in
        [(&other_words, "ann", "id"), (&other_author, "bob", "id"), (&entry_in_use, "ann", "entries[0].id")]
    {
        match file(&desk, report, by, Channel::Token).await {
            Err(Refused::Conflict(problems)) => {
                assert_eq!(problems[0].path, path);
                assert_eq!(problems[0].code.as_str(), "id_in_use");
            }
            other => panic!("{other:?}"),
        }
    }
    // Somebody else's name under it is refused before anything is looked up.
    assert!(matches!(file(&desk, &trip(3, 6), "bob", Channel::Token).await, Err(Refused::NotYours(_))));
    same_contents(&before, &contents(&mut db).await, "before and after");
    drop(db);
    house.is_clean().await;
}

/// The same report from many at once, some of it under one id with other words: one is in, nobody is told otherwise.
#[tokio::test]
async fn the_same_report_from_many_at_once_is_filed_once() {
    let house = House::new().await;
    let desk = house.desk().await;
    let gate = crate::writing::hold(&desk).await;
    let mut other = trip(1, 5);
    other["remarks"] = "something else".into();
    let mut twin_entry = trip(2, 6);
    twin_entry["entries"][0]["id"] = id(1_000_001).into();
    let hand = |report: &Value| {
        desk.hand_over(crate::house::read(&desk, report, "ann", Channel::Token).unwrap(), None).unwrap()
    };
    let mut pending = vec![hand(&trip(1, 5)), hand(&other), hand(&twin_entry)];
    pending.extend((0..10).map(|_| hand(&trip(1, 5))));
    gate.open().await;
    let mut answers = Vec::new();
    for one in pending {
        answers.push(one.answer().await);
    }
    assert!(answers[0].as_ref().unwrap().is_new);
    assert!(
        matches!(&answers[1], Err(Refused::Conflict(_))) && matches!(&answers[2], Err(Refused::Conflict(_)))
    );
    for again in &answers[3..] {
        let (first, again) = (answers[0].as_ref().unwrap(), again.as_ref().unwrap());
        assert!(!again.is_new);
        assert_eq!((first.receipt, &first.root), (again.receipt, &again.root));
    }
    house.is_clean().await;
}

/// An amendment is safe to retry as well.
#[tokio::test]
async fn the_same_amendment_twice_is_in_the_book_once() {
    use breakerbook::{
        desk::reports::AmendEntry,
        people::{Act, Role},
        reports::stored,
    };
    let house = House::new().await;
    let desk = house.desk().await;
    let report = trip(1, 5);
    file(&desk, &report, "ann", Channel::Token).await.unwrap();
    let size = house.is_clean().await;
    let amend = |note: &str| {
        let mut entry = report["entries"][0].clone();
        entry["note"] = note.into();
        let amendment = serde_json::json!({"id": id(9), "report": report["id"], "entry": entry["id"], "author": "ann",
            "at": "2026-03-20T00:00:00Z", "reason": "forgot it", "replacement": entry});
        let permit =
            desk.world().people.person(&SignIn::from("ann")).unwrap().permit(Act::AmendEntry).unwrap();
        AmendEntry::of(stored::amendment(&amendment.to_string()).unwrap(), &permit, Role::Crew, Channel::Page)
    };
    let gate = crate::writing::hold(&desk).await;
    let pending: Vec<_> =
        ["a", "a", "b"].iter().map(|note| desk.hand_over(amend(note), None).unwrap()).collect();
    gate.open().await;
    let mut answers = Vec::new();
    for one in pending {
        answers.push(one.answer().await);
    }
    assert!(matches!(&answers[..], [Ok(Some(_)), Ok(None), Err(Refused::Conflict(_))]), "{answers:?}");
    assert!(matches!(desk.act(amend("a")).await, Ok(None)));
    assert!(matches!(desk.act(amend("b")).await, Err(Refused::Conflict(_))));
    assert_eq!(house.is_clean().await, size + 1);
}
