//! What the crew's forms refuse, ask about once, and leave alone.
use breakerbook::{base::UnitName, web::paths};

use crate::harness::{App, Browser, PASSWORD, Page};

fn unit() -> UnitName {
    UnitName::from("QHB 412")
}

async fn form<'a>(who: &Browser<'a>, word: &str, tag: &str, typed: &[(&str, &str)]) -> Page<'a> {
    let form = who.get(paths::WriteKind(unit(), word.to_owned()).with(&[("device", tag)])).await;
    typed.iter().fold(form, |form, (name, value)| form.fill(name, value))
}

fn value(page: &Page, name: &str) -> Option<String> {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone())
}

#[tokio::test]
async fn answers_that_contradict_each_other_are_asked_about_once() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let closed_late =
        [("closed", "no"), ("closed_at", "2026-03-03T05:50"), ("by", "not_known"), ("when", "found")];
    for (kind, tag, typed, asks) in [
        ("breaker_trip", "TC2", &[("resets[0].result", "none"), ("left", "on")][..], "'Not reset'"),
        (
            "breaker_trip",
            "TC2",
            &[("resets[0].result", "would_not_latch"), ("left", "on")],
            "'Would not latch'",
        ),
        ("breaker_trip", "TC2", &[("resets[0].result", "held"), ("left", "tripped")], "Did it trip again?"),
        ("bypass", "GRC", &[("by", "other")], "wrote no name"),
        ("bypass", "GRC", &closed_late, "Which of the two is it?"),
    ] {
        let page = form(&ann, kind, tag, typed).await.send().await.is(422).says(asks);
        page.says("one more look is asked for").fill("sure", "yes").send().await.is(303);
    }
    ann.get(paths::Report(unit())).await.says("Closing time as typed, with 'still open': 2026-03-03T05:50");
}

#[tokio::test]
async fn a_defect_needs_words_and_problems_use_the_words_on_the_keys() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = form(&ann, "defect", "", &[("text", "   ")]).await.send().await.is(422);
    let page = page.says("Say in a few words what is wrong.");
    assert!(page.body.contains("href=\"#text-says\"") && page.body.contains("id=\"text-says\""));
    let page =
        form(&ann, "breaker_trip", "TC2", &[]).await.says("If you leave it: on after").send().await.is(422);
    page.says("'Cut out'").never_says("cut_out").never_says("not_known");
}

#[tokio::test]
async fn now_stays_now_and_by_the_clock_after_an_error() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = form(&ann, "breaker_trip", "TC2", &[("speed_mph", "fast")]).await.send().await.is(422);
    assert_eq!(value(&page, "when").as_deref(), Some("now"));
    app.minutes_pass(7);
    page.fill("speed_mph", "38").fill("left", "off").send().await.is(303);
    ann.get(paths::Report(unit())).await.says("3 Mar 2026 06:00").never_says("about 3 Mar");
}

#[tokio::test]
async fn the_last_look_at_a_cutout_is_not_after_the_run() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T01:00");
    let report = report.fill("run.ended", "2026-03-03T05:30").fill("cutout.GRC", "closed_sealed");
    let signed = report.fill("password", PASSWORD).send().await.is(303);
    ann.get(signed.location()).await.says("3 Mar 2026 05:30");
}

#[tokio::test]
async fn whoever_leaves_a_found_open_cutout_sealed_has_closed_it() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    form(&ann, "bypass", "GRC", &[("when", "found"), ("by", "not_known"), ("closed", "no")])
        .await
        .send()
        .await
        .is(303);
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T01:00");
    let report = report.fill("cutout.GRC", "closed_sealed").fill("cutout.GRC.seal", "77");
    let signed = report.fill("password", PASSWORD).send().await.is(303);
    ann.get(signed.location()).await.says("seen open, moved to closed by ann.").says("Seal: 77.");
    let sue = app.user("sue").await;
    let register = sue.get(paths::Bypasses).await;
    register.says("ann").never_says("seal applied: not stated");
}

#[tokio::test]
async fn an_open_cutout_that_nobody_wrote_about_is_asked_about() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T01:00");
    let report = report.fill("cutout.GRC", "open").fill("password", PASSWORD).send().await.is(422);
    let report = report.says("Write down the opening of GRC first");
    report.link_to("/units/QHB-412/write/bypass");
    report.fill("sure", "yes").fill("password", PASSWORD).send().await.is(303);
}
