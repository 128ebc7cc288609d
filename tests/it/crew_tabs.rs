//! Two tabs of one draft: the second is told, and loses nothing.
use breakerbook::{base::UnitName, web::paths};

use crate::harness::{App, Browser, PASSWORD, Page};

fn unit() -> UnitName {
    UnitName::from("QHB 412")
}

fn on(word: &str, tag: &str) -> String {
    paths::WriteKind(unit(), word.to_owned()).with(&[("device", tag)])
}

fn value(page: &Page, name: &str) -> Option<String> {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone())
}

async fn change_link(ann: &Browser<'_>) -> String {
    let report = ann.get(paths::Report(unit())).await;
    let change =
        report.body.split("href=\"").find(|rest| rest.split('"').next().unwrap().ends_with("/change"));
    change.unwrap().split('"').next().unwrap().to_owned()
}

#[tokio::test]
async fn keeping_from_a_stale_tab_is_told_and_goes_through_when_pressed_again() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let (one, two) = (ann.get(paths::Report(unit())).await, ann.get(paths::Report(unit())).await);
    one.fill("run.symbol", "AA11").fill("then", "later").send().await.goes_to(paths::Units);
    let back = two.fill("run.symbol", "ZZ99").fill("then", "later").send().await.is(409);
    let back = back.says("Your draft was changed in another tab");
    assert_eq!(value(&back, "run.symbol").as_deref(), Some("ZZ99"), "what was typed stays");
    let kept = ann.get(paths::Report(unit())).await;
    assert_eq!(value(&kept, "run.symbol").as_deref(), Some("AA11"), "the other tab's is not lost");
    back.fill("then", "later").send().await.goes_to(paths::Units);
    let kept = ann.get(paths::Report(unit())).await;
    assert_eq!(value(&kept, "run.symbol").as_deref(), Some("ZZ99"));
}

#[tokio::test]
async fn changing_an_entry_from_a_stale_tab_is_told_also_when_it_is_gone() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(on("breaker_trip", "TC2")).await.fill("left", "off").send().await.is(303);
    let change = change_link(&ann).await;
    let (one, two, three) = (ann.get(&change).await, ann.get(&change).await, ann.get(&change).await);
    one.fill("note", "from one").send().await.is(303);
    let back = two.fill("note", "from two").send().await.is(409).says("changed in another tab");
    assert!(back.body.contains("from two"));
    back.send().await.is(303);
    let report = ann.get(paths::Report(unit())).await.says("from two").never_says("from one");
    let version = value(&report, "version").unwrap();
    let out = change.replace("/change", "/out");
    ann.post(&out, &[("version", "1")]).await.is(409).says("nothing was taken out").says("from two");
    ann.post(&out, &[("version", &version)]).await.goes_to(paths::Report(unit()));
    let back = three.fill("note", "from three").send().await.is(409).says("taken out, sent or signed");
    back.send().await.is(303);
    ann.get(paths::Report(unit())).await.says("from three");
}

#[tokio::test]
async fn sending_from_a_stale_tab_shows_what_would_be_sent() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let relay = ann.get(paths::WriteKind(unit(), "ground_relay".into())).await;
    let sent = relay.fill("reset", "locked_out").fill("then", "send").send().await;
    let send = ann.get(sent.location()).await.fill("run.started", "2026-03-03T00:10");
    ann.get(change_link(&ann).await).await.fill("note", "smelt of oil").send().await.is(303);
    let back = send.fill("password", PASSWORD).send().await.is(409).says("changed in another tab");
    let back = back.says("smelt of oil");
    assert_eq!(value(&back, "run.started").as_deref(), Some("2026-03-03T00:10"));
    let sent = back.fill("password", PASSWORD).send().await;
    ann.get(sent.location()).await.is(200).says("smelt of oil");
}

#[tokio::test]
async fn a_draft_that_was_signed_with_other_answers_is_not_shown_as_ones_own() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let draft = ann.get(paths::Report(unit())).await.fill("occasion", "yard");
    draft.fill("then", "later").send().await.is(303);
    let open = || ann.get(paths::Report(unit()));
    let (one, two, three) = (open().await, open().await, open().await);
    let signed = one.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await.is(303);
    let back = two.fill("remarks", "door will not shut").fill("password", PASSWORD).send().await.is(409);
    let back = back.says("signed in another tab").says("Receipt of the report");
    assert!(back.body.contains(&signed.location()) && back.body.contains("door will not shut"));
    let further = back.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await.is(303);
    assert_ne!(further.location(), signed.location());
    ann.get(further.location()).await.says("door will not shut");
    let twice = three.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await;
    twice.goes_to(signed.location());
}

/// The browser's Back after signing, and a form that lay open in another tab: a second report that says nothing is filed
/// only by who means it.
#[tokio::test]
async fn a_report_that_is_gone_back_to_after_signing_is_said_to_be_signed() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let open = || ann.get(paths::Report(unit()));
    let (one, two) = (open().await.fill("occasion", "yard"), open().await.fill("occasion", "yard"));
    let one = one.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD);
    let signed = one.send().await.is(303).location();
    let back = open().await.is(200).says("You signed a report for QHB 412, with 1 entry, 3 Mar 2026 06:00");
    let back = back.says("in the book on page").never_says("Sign: nothing to report");
    assert!(back.body.contains(&signed), "the way to its receipt: {}", back.body);
    let two = two.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD);
    let asked = two.send().await.is(422).says("Is this a further one?");
    let second = asked.fill("sure", "yes").fill("password", PASSWORD).send().await.is(303).location();
    assert_ne!(second, signed);
    let third = ann.get("/units/QHB-412/report?another=yes").await.says("Sign: nothing to report");
    let third = third.fill("occasion", "yard").fill("cutout.GRC", "not_looked");
    third.fill("password", PASSWORD).send().await.is(303);
    // Whoever writes something down, or is on a run, has a report to sign.
    open().await.says("You signed a report for QHB 412");
    ann.get(on("breaker_trip", "TC2")).await.fill("left", "off").send().await.is(303);
    open().await.says("Sign and file").never_says("You signed a report");
    app.user("ben").await.get(paths::Report(unit())).await.says("Sign: nothing to report");
}

#[tokio::test]
async fn the_next_day_nobody_is_told_of_the_report_before() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let form = ann.get(paths::Report(unit())).await.fill("occasion", "yard");
    form.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await.is(303);
    ann.get(paths::Report(unit())).await.says("You signed a report for QHB 412");
    app.minutes_pass(17 * 60);
    let ann = app.user("ann").await;
    ann.get(paths::Report(unit())).await.says("Sign: nothing to report");
    // And the same evening, once a run has begun with the unit.
    let form = ann.get(paths::Report(unit())).await.fill("occasion", "yard");
    form.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await.is(303);
    ann.get(paths::Run).await.fill("units", "412").send().await.goes_to("/run?kept=yes");
    ann.get(paths::Report(unit())).await.says("Sign: nothing to report");
}
