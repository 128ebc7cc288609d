//! Entries amended and spoken to by page: whole, signed, and every version readable.
use breakerbook::web::paths;
use serde_json::json;

use crate::{
    board::a_night,
    harness::{App, PASSWORD, entry_id, report},
};

#[tokio::test]
async fn an_author_amends_on_the_form_it_was_written_with() {
    let app = App::start().await;
    a_night(&app).await;
    let ann = app.user("ann").await;
    let receipt = ann.get("/reports/00000000-0000-4000-8000-000000000001").await.is(200);
    let path = receipt.link_to("/entries/");
    let page = ann.get(&path).await.is(200).says("Breaker trip, TC2 on QHB 412").says("Signs: heat");
    let page = ann.get(page.link_to(&format!("{path}/am"))).await.is(200);
    let page =
        page.fill("left", "tripped").fill("signs", "none").fill("password", PASSWORD).send().await.is(422);
    let page =
        page.says("Say in a few words why").fill("reason", "it was warm, not hot").fill("password", PASSWORD);
    page.send().await.goes_to(&path);
    let page = ann.get(&path).await.says("Left tripped").says("What it said before").says("Left off");
    let page = page.says("Replaced by ann").says("it was warm, not hot");
    // Amended once more, the last recorded counts; what nobody touched stays.
    page.says("Closed again (not determined): tripped again");
    let page = ann.get(format!("{path}/amend")).await.fill("left", "on").fill("resets[0].result", "held");
    page.fill("reason", "it held in the end").fill("password", PASSWORD).send().await.goes_to(&path);
    let page = ann.get(&path).await.says("it held in the end").says("Left on");
    assert_eq!(page.text().matches("Replaced by ann").count(), 2);
    let sam = app.user("sam").await;
    sam.get("/units/QHB-412/shop")
        .await
        .says("Entry amended")
        .says("it was warm, not hot")
        .link_to("/entries/");
    sam.get("/triage?unit=412&rule=reported").await.says("No line for what you asked for.");
}

#[tokio::test]
async fn others_amend_only_as_shop_or_supervisor_and_a_wrong_figure_stays_on_the_form() {
    let app = App::start().await;
    a_night(&app).await;
    let path = format!("/entries/{}", entry_id(1));
    let ben = app.user("ben").await;
    ben.get(&path).await.is(200).never_says("Amend it").never_says("State something");
    ben.get(format!("{path}/amend"))
        .await
        .is(403)
        .says("Only the author of a report, the shop or a supervisor");
    let sam = app.user("sam").await;
    let page = sam.get(format!("{path}/amend")).await.is(200).fill("speed_mph", "fast").fill("reason", "x");
    let page = page.fill("password", PASSWORD).send().await.is(422).says("Write a figure");
    assert!(page.body.contains("value=\"fast\""));
    let page = page
        .fill("speed_mph", "31,5")
        .fill("device", "FP")
        .fill("reason", "it was the pump's")
        .fill("password", "no");
    let page = page.send().await.is(422).says("This is not your password.");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    sam.get(&path).await.says("FP Fuel pump tripped").says("Replaced by sam").says("written by ann");
}

#[tokio::test]
async fn two_who_amend_at_once_and_a_withdrawal() {
    let app = App::start().await;
    a_night(&app).await;
    let path = format!("/entries/{}", entry_id(1));
    let (ann, sam) = (app.user("ann").await, app.user("sam").await);
    let theirs = sam.get(format!("{path}/amend")).await;
    let page = ann
        .get(format!("{path}/amend"))
        .await
        .fill("left", "on")
        .fill("resets[0].result", "held")
        .fill("reason", "closed it");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    let page =
        theirs.fill("withdraw", "yes").fill("reason", "another unit").fill("password", PASSWORD).send().await;
    let page = page.is(409).says("Somebody amended this entry since this page was shown");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    let page = sam
        .get(&path)
        .await
        .says("Withdrawn by an amendment")
        .says("Withdrawn by sam")
        .says("Left on")
        .says("Left off");
    page.never_says("Amend it");
    ann.get(paths::Runs).await.says("Withdrawn by an amendment; both stand in the book.");
}

#[tokio::test]
async fn a_statement_is_for_whom_the_entry_names() {
    let app = App::start().await;
    let told = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "device": "TC2",
        "resets": [{"basis": "told_by_shop", "told_by": "ben", "result": "held"}], "left": "on"});
    app.file("ann", &report(1, "QHB 412", "ann", vec![told])).await;
    let path = format!("/entries/{}", entry_id(1));
    let stan = app.user("stan").await;
    stan.get(&path).await.is(200).never_says("State something yourself");
    let form = [("words", "I was there"), ("password", PASSWORD), ("signer", "stan")];
    stan.post(format!("{path}/statement"), &form).await.is(403).says("does not name you");
    let ben = app.user("ben").await;
    let page =
        ben.get(&path).await.is(200).says("State something yourself").fill("password", PASSWORD).send().await;
    let page =
        page.is(422).says("Write what you want to stand beside it.").fill("words", "I said: look first");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    for _ in 0..2 {
        let form = [("words", "I said: look first"), ("password", PASSWORD), ("signer", "ben")];
        ben.post(format!("{path}/statement"), &form).await.goes_to(&path);
    }
    let page = stan.get(&path).await.says("I said: look first");
    assert_eq!(page.text().matches("I said: look first").count(), 1, "said once");
    app.user("sam").await.get("/units/QHB-412/shop").await.says("Statement beside an entry");
}
