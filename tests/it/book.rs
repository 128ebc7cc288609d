//! The book's own page, as supervisors and administrators use it: pages looked up, checkpoints made and printed, the whole
//! verified, packs taken away.
use std::time::Duration;

use breakerbook::{
    base::instant::DAY,
    book::{
        key,
        note::{Checkpoint, Note},
    },
    oversight::pack,
    web::paths,
};
use http_body_util::BodyExt as _;
use serde_json::json;
use tower::ServiceExt as _;

use crate::{
    board::a_night,
    harness::{App, Browser, Page, entry_id, report},
};

async fn an_opening(app: &App) {
    let bypass = json!({"id": entry_id(7), "kind": "bypass", "opened_at": "2026-03-03T01:00:00-06:00", "device": "GRC", "by": "sam",
        "purpose": "repair", "engine_running": "no", "power_taken": "no", "closed_at": "2026-03-03T01:10:00-06:00", "closed_by": "sam",
        "seal_applied": "20418"});
    app.file("ann", &report(7, "QHB 413", "ann", vec![bypass])).await;
}

/// A file as it is taken away, to the byte.
async fn bytes(app: &App, who: &Browser<'_>, path: &str) -> (u16, String, Vec<u8>) {
    let request = who.request("GET", path).body(axum::body::Body::empty()).unwrap();
    let response = app.router.clone().oneshot(request).await.unwrap();
    let (head, body) = response.into_parts();
    let named = head.headers.get("content-disposition").map_or("", |v| v.to_str().unwrap()).to_owned();
    (head.status.as_u16(), named, body.collect().await.unwrap().to_bytes().to_vec())
}

#[tokio::test]
async fn any_page_is_looked_up_by_its_number() {
    let app = App::start().await;
    an_opening(&app).await;
    let sue = app.user("sue").await;
    let page =
        sue.get(paths::Book).await.is(200).says("The book").says("None was made yet").says("report filed");
    page.fill("number", "0").ask(None).await.goes_to(paths::BookPage(0));
    let page = sue.get(paths::BookPage(0)).await.is(200).says("book opened").says("Quarry & Harbor");
    assert!(
        page.body.contains("&quot;book_opened&quot;") || page.body.contains("&#34;book_opened&#34;"),
        "{}",
        page.body
    );
    for wrong in ["999999", "-1", "first"] {
        let page = sue
            .get(paths::Book)
            .await
            .fill("number", wrong)
            .ask(None)
            .await
            .is(422)
            .says("Give a number from 0 to");
        assert!(page.body.contains(&format!("value=\"{wrong}\"")), "what was typed stays");
    }
    sue.get("/book/pages/999999").await.is(404).says("The book has pages 0 to");
    sue.get("/book/pages/x").await.is(404);
    let (status, named, json) = bytes(&app, &sue, "/book/pages/0?format=json").await;
    assert_eq!((status, named.as_str()), (200, "attachment; filename=\"page-00000000.json\""));
    let mut db = app.web.desk().read().await.unwrap();
    let blob: String =
        sqlx::query_scalar("SELECT blob FROM page WHERE seq = 0").fetch_one(&mut *db).await.unwrap();
    assert_eq!(json, blob.into_bytes());
    let last: i64 = sqlx::query_scalar("SELECT max(seq) FROM page WHERE blob ->> 'kind' = 'report_filed'")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    drop(db);
    sue.get(paths::BookPage(last.unsigned_abs()))
        .await
        .says("GRC")
        .says("sent by a program with their token")
        .says("QHB 413");
}

#[tokio::test]
async fn a_page_recorded_before_the_one_in_front_says_so() {
    let app = App::start().await;
    app.clock.set(app.clock.now().plus(DAY));
    an_opening(&app).await;
    app.clock.set(app.clock.now().minus(DAY));
    a_night(&app).await;
    let mut db = app.web.desk().read().await.unwrap();
    let sql = "SELECT seq FROM page p WHERE blob ->> 'recorded_at' < (SELECT blob ->> 'recorded_at' FROM page WHERE seq = p.seq - 1) LIMIT 1";
    let seq: i64 = sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap();
    drop(db);
    let sue = app.user("sue").await;
    sue.get(paths::BookPage(seq.unsigned_abs())).await.says("the machine's clock was set back");
    sue.get(paths::BookPage(seq.unsigned_abs() - 1)).await.never_says("the machine's clock was set back");
}

fn note_of(page: &Page<'_>) -> String {
    let start = page.body.split("<pre class=\"code sheet\">").nth(1).unwrap();
    start.split("</pre>").next().unwrap().replace("&#43;", "+").replace("&#x2b;", "+")
}

#[tokio::test]
async fn a_checkpoint_is_made_shown_and_taken_away() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let made = ada.post(paths::Checkpoints, &[]).await.is(303).location();
    let page = ada.get(&made).await.is(200).says("Checkpoint of").says("asked for by ada").says("Public key");
    assert!(
        page.body.contains("<path class=\"dark\" d=\"M4 4h7v1h-7z"),
        "the square's first corner is drawn"
    );
    let note = note_of(&page);
    let told = Checkpoint::read(Note::read(&note).unwrap().text).unwrap();
    assert_eq!(told.origin, app.web.desk().origin());
    let (status, named, file) = bytes(&app, &ada, &format!("{made}?format=txt")).await;
    assert_eq!((status, file), (200, note.clone().into_bytes()));
    assert_eq!(named, format!("attachment; filename=\"checkpoint-{}.txt\"", told.head.size));
    // Nothing was written since: the same one.
    ada.post(paths::Checkpoints, &[]).await.goes_to(&made);
    ada.get(paths::Book).await.says("made by ada").says(&told.head.root.to_string());
    ada.get("/book/checkpoints/1").await.is(404).says("No checkpoint was made of the book at that size");
    // The key cannot be read: a sentence, and the page.
    an_opening(&app).await;
    std::fs::write(key::beside(&app.path()), "no key").unwrap();
    ada.post(paths::Checkpoints, &[])
        .await
        .is(503)
        .says("Nothing was signed: the key in")
        .says("cannot be read");
    ada.get(&made).await.is(200);
}

#[tokio::test]
async fn verifying_goes_on_beside_and_its_result_stays() {
    let app = App::start().await;
    an_opening(&app).await;
    let sue = app.user("sue").await;
    sue.get(paths::Book).await.says("Nobody has asked for it on this page yet.");
    sue.post(paths::BookVerify, &[]).await.is(303);
    for _ in 0..600 {
        if app.web.desk().checking().is_none() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    sue.get(paths::Book).await.says("Clean : asked for by sue").says("all as filed").says("Verify now");
    // Somebody with a tool of their own.
    let url = format!("sqlite://{}", app.path().display());
    let mut db = <sqlx::SqliteConnection as sqlx::Connection>::connect(&url).await.unwrap();
    let sql = "DROP TRIGGER page_is_never_updated; UPDATE page SET blob = replace(blob, '20418', '20419')";
    sqlx::raw_sql(sql).execute(&mut db).await.unwrap();
    sue.post(paths::BookVerify, &[]).await.is(303);
    for _ in 0..600 {
        if app.web.desk().checking().is_none() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let page =
        sue.get(paths::Book).await.says("Not clean").says("its bytes are not the ones that were filed");
    let seq = page
        .text()
        .split("Page ")
        .filter_map(|rest| rest.split_once(": its bytes").map(|(n, _)| n.to_owned()))
        .last()
        .unwrap();
    sue.get(format!("/book/pages/{seq}")).await.says("These are not the bytes that were filed");
}

#[tokio::test]
async fn packs_are_taken_from_where_their_subject_is() {
    let app = App::start().await;
    an_opening(&app).await;
    let sue = app.user("sue").await;
    let of_bypass = sue.get(format!("/bypasses/{}", entry_id(7))).await.is(200).link_to("/book/pack?bypass=");
    let (status, named, zip) = bytes(&app, &sue, &of_bypass).await;
    assert_eq!(
        (status, named.as_str()),
        (200, &*format!("attachment; filename=\"evidence-bypass-{}.zip\"", entry_id(7)))
    );
    let checked = pack::check(&zip).unwrap();
    assert!(checked.about.starts_with("Opening of GRC on unit QHB 413"), "{}", checked.about);
    assert_eq!(checked.made_by, "sue");
    let of_unit = sue.get("/units/QHB-413/records").await.is(200).link_to("/book/pack?unit=");
    pack::check(&bytes(&app, &sue, &of_unit).await.2).unwrap();
    // The shop reads a unit's records; the book itself is not theirs to hand on.
    let page = app.user("sam").await.get("/units/QHB-413/records").await.is(200);
    assert!(!page.body.contains("/book/pack"));
    app.user("sam").await.get(&of_unit).await.is(403);
    app.user("ann").await.get(&of_bypass).await.is(403);
    // By days, from the book's page.
    let (status, _, zip) = bytes(&app, &sue, "/book/pack?unit=&from=2026-03-03&to=2026-03-03").await;
    assert_eq!(status, 200);
    let checked = pack::check(&zip).unwrap();
    assert_eq!(checked.pages.len() as u64, checked.head.size);
}

#[tokio::test]
async fn what_is_asked_wrongly_of_a_pack_stays_typed_with_a_sentence() {
    let app = App::start().await;
    an_opening(&app).await;
    let sue = app.user("sue").await;
    for (query, status, words) in [
        ("unit=&from=&to=", 422, "Give a day, as in 2026-03-01."),
        ("unit=&from=2026-03-04&to=2026-03-03", 422, "The last day is before the first."),
        ("unit=nonsense&from=&to=", 422, "No unit of the roster is that."),
        ("unit=QHB+413&from=2026-03-04&to=", 422, "Give a day, as in 2026-03-01."),
        ("unit=QHB+999&from=&to=", 404, "The book holds nothing about that"),
        ("unit=&from=2020-01-01&to=2020-01-02", 404, "The book holds nothing about that"),
        ("bypass=nonsense", 422, "The register holds no such opening"),
        ("bypass=00000000-0000-4000-9000-000000000999", 404, "The register holds no such opening"),
    ] {
        let page = sue.get(format!("/book/pack?{query}")).await.is(status).says(words);
        for typed in ["nonsense", "2026-03-04", "2020-01-01"] {
            let kept = page.body.contains(&format!("value=\"{typed}\""));
            assert_eq!(kept, query.contains(typed) && !query.starts_with("bypass"), "{query}: {typed}");
        }
    }
}
