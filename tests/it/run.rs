//! A run of several units: typed once, written down on each, closed under one signature, and what became of it.
use breakerbook::{
    base::{Instant, UnitName, instant::HOUR},
    book::Channel,
    desk::{
        body::{Body, Hold, HoldReason, RepairClosed, RepairOpened},
        shop::ShopAct,
    },
    web::paths,
};
use serde_json::{Value, json};

use crate::harness::{App, Browser, PASSWORD, Page, entry_id};

fn on(unit: &str, kind: &str, tag: &str) -> String {
    paths::WriteKind(UnitName::from(unit), kind.to_owned()).with(&[("device", tag)])
}

fn value(page: &Page, name: &str) -> Option<String> {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone())
}

async fn two_units<'a>(app: &'a App) -> Browser<'a> {
    let ann = app.user("ann").await;
    let run = ann.get(paths::Run).await.says("Only when stopped").fill("units", "412, QHB 431, 412");
    let run = run.fill("run.symbol", "K17").fill("run.from", "Slate Gap").fill("run.to", "Harrow Ferry");
    run.fill("run.started", "2026-03-03T00:10").send().await.goes_to("/run?kept=yes");
    ann
}

async fn rows(app: &App, list: &str) -> Vec<Value> {
    let token = app.token("sue").await;
    let (_, rows) = app.api(&token, "GET", &format!("/api/v1/{list}"), None).await;
    rows.as_array().cloned().unwrap_or_default()
}

#[tokio::test]
async fn two_units_are_closed_under_one_signature_and_nothing_is_typed_twice() {
    let app = App::start().await;
    let ann = two_units(&app).await;
    let trip = ann.get(on("QHB 412", "breaker_trip", "TC2")).await.fill("left", "tripped");
    trip.send().await.goes_to("/units/QHB-412/report?wrote=yes");
    let report = ann.get("/units/QHB-412/report").await.says("The run has several units: QHB 412, QHB 431");
    assert_eq!(value(&report, "run.symbol").as_deref(), Some("K17"));
    ann.get(paths::Run).await.says("leads: 1 entry written down").says("nothing written down yet");
    let close = ann.get(paths::RunClose).await.says("Only when stopped").says("Still open on QHB 412");
    let close = close
        .says("TC2 is left tripped")
        .never_says("Still open on QHB 431")
        .says("One signature for the reports of all 2 units");
    let close = close.fill("QHB-412.cutout.GRC", "closed_sealed").fill("QHB-431.cutout.GRC", "not_looked");
    let close =
        close.fill("hand_over", "yes").fill("handed_to", "J. Sorrel").fill("run.ended", "2026-03-03T06:00");
    let close = close.send().await.is(422).says("Type your password");
    assert_eq!(value(&close, "QHB-412.cutout.GRC").as_deref(), Some("closed_sealed"));
    assert_eq!(value(&close, "handed_to").as_deref(), Some("J. Sorrel"));
    let signed = close.fill("password", PASSWORD).send().await;
    let runs = ann.get(signed.location()).await.says("Signed: 2 reports are in the book, one for each unit.");
    let runs =
        runs.says("K17, Slate Gap to Harrow Ferry").says("QHB 412: 2 entries").says("QHB 431: 1 entry");
    assert_eq!(runs.text().matches("K17").count(), 1, "one run: {}", runs.text());
    let lead = ann.get(runs.link_to("/reports/")).await.says("K17 from Slate Gap to Harrow Ferry");
    lead.says("QHB 412, QHB 431").says("Handed over to J. Sorrel: TC2 is left tripped");
    let ben = app.user("ben").await;
    let handover = ben.get("/units/QHB-412").await.says("Handed over to J. Sorrel: TC2 is left tripped");
    handover.says("ann, 3 Mar 2026 06:00");
    ben.get("/units/QHB-431").await.never_says("Handed over");
    ann.get(paths::Units).await.never_says("Close the run").says("Begin a run");
}

/// One unit's report signed by itself: the other keeps the run's words, and its consist.
#[tokio::test]
async fn a_unit_signed_for_by_itself_stays_part_of_the_consist() {
    let app = App::start().await;
    let ann = two_units(&app).await;
    let first = ann.get("/units/QHB-412/report").await.fill("password", PASSWORD).send().await;
    ann.get(first.location()).await.says("QHB 412, QHB 431").says("Lead");
    ann.get(paths::Run).await.says("leads: its report is signed").says("nothing written down yet");
    let home = ann.get(paths::Units).await.says("My run: K17");
    assert!(!home.body.contains("/units/QHB-412/write"), "it is signed for");
    let close = ann.get(paths::RunClose).await.never_says("QHB 412").says("One signature for the report.");
    close.fill("password", PASSWORD).send().await.goes_to("/runs?closed=1");
    let runs = ann.get(paths::Runs).await;
    let trail = ann.get(runs.link_to("/reports/")).await;
    trail.says("QHB 412, QHB 431");
    // Written down after the signature: the unit waits for one again.
    let ann = two_units(&app).await;
    ann.get("/units/QHB-412/report").await.fill("password", PASSWORD).send().await;
    ann.get(on("QHB 412", "breaker_trip", "FP")).await.fill("left", "off").send().await;
    ann.get(paths::RunClose)
        .await
        .says("FP is left off")
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to("/runs?closed=2");
}

#[tokio::test]
async fn a_run_closed_twice_files_once_and_an_old_page_is_told() {
    let app = App::start().await;
    let ann = two_units(&app).await;
    let (first, second) = (ann.get(paths::RunClose).await, ann.get(paths::RunClose).await);
    let form = first.form();
    let fields: Vec<_> =
        form.fields.iter().filter_map(|f| Some((f.name.clone(), f.value.clone()?))).collect();
    let mut fields: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.push(("password", PASSWORD));
    let (one, two) = tokio::join!(ann.post(&form.action, &fields), ann.post(&form.action, &fields));
    assert_eq!((one.location().as_str(), two.location().as_str()), ("/runs?closed=2", "/runs?closed=2"));
    ann.post(&form.action, &fields).await.goes_to("/runs?closed=2");
    let other = second.fill("password", PASSWORD).send().await.goes_to("/runs?closed=0");
    ann.get(other.location()).await.says("closed already, in another tab");
    assert_eq!(ann.get(paths::Runs).await.text().matches("nothing to report").count(), 2);
    let ann = two_units(&app).await;
    let old = ann.get(paths::RunClose).await.fill("run.ended", "2026-03-03T06:00");
    ann.get(on("QHB 431", "breaker_trip", "FP")).await.fill("left", "off").send().await;
    let back = old.fill("password", PASSWORD).send().await.is(409).says("changed in another tab");
    let back = back.says("Breaker trip, FP").says("FP is left off");
    assert_eq!(value(&back, "run.ended").as_deref(), Some("2026-03-03T06:00"));
    back.fill("password", PASSWORD).send().await.goes_to("/runs?closed=2");
}

/// What is typed on the closing page outlives a look at one of its units.
#[tokio::test]
async fn what_is_typed_while_closing_is_kept_while_something_is_written_down() {
    let app = App::start().await;
    let ann = two_units(&app).await;
    let close = ann.get(paths::RunClose).await.fill("QHB-431.cutout.GRC", "open").fill("weather", "snow");
    let asked = close.fill("password", PASSWORD).send().await.is(422);
    let asked =
        asked.says("QHB 431: You leave the ground-relay cutout GRC open").says("Write down the opening");
    let then = "/units/QHB-431/write/bypass?device=GRC";
    assert!(asked.body.contains(&format!("value=\"{then}\"")), "{}", asked.body);
    let form = asked.form();
    let fields: Vec<_> =
        form.fields.iter().filter_map(|f| Some((f.name.clone(), f.value.clone()?))).collect();
    let mut fields: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    for elsewhere in ["//evil.test", "/units/QHB-9/write", "/units/QHB-431/\nx"] {
        let mut fields = fields.clone();
        fields.push(("then", elsewhere));
        ann.post(paths::RunClose, &fields).await.is(422);
    }
    fields.push(("then", then));
    ann.post(paths::RunClose, &fields).await.goes_to(then);
    let opening =
        ann.get(then).await.fill("by", "me").fill("purpose", "locating_ground").fill("closed", "no");
    opening.send().await.goes_to("/units/QHB-431/report?wrote=yes");
    let close = ann.get(paths::RunClose).await.says("The ground-relay cutout GRC is open");
    assert_eq!(value(&close, "QHB-431.cutout.GRC").as_deref(), Some("open"));
    assert_eq!(value(&close, "weather").as_deref(), Some("snow"));
    close.fill("password", PASSWORD).send().await.goes_to("/runs?closed=2");
}

#[tokio::test]
async fn what_an_earlier_crew_left_open_is_pointed_out_until_something_else_is_written() {
    let app = App::start().await;
    let trip = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T04:00:00-06:00", "device": "FP",
        "resets": [], "left": "off"});
    app.file("ben", &crate::harness::report(1, "QHB 412", "ben", vec![trip])).await;
    let ann = app.user("ann").await;
    ann.get("/units/QHB-412").await.fill("password", PASSWORD).send().await;
    ann.get(paths::Units).await.says("My run: QHB 412").says("Breaker tripped");
    ann.get(paths::RunClose)
        .await
        .says("FP stands off in the book since 3 Mar 2026 04:00 -06:00, told by ben");
    ann.get("/units/QHB-412/report").await.says("FP stands off in the book").says("Hand it over");
    let seen = ann.get(on("QHB 412", "position", "FP")).await.fill("seen", "on");
    seen.send().await.goes_to("/units/QHB-412/report?wrote=yes");
    ann.get(paths::RunClose).await.never_says("FP stands").never_says("Hand it over");
}

#[tokio::test]
async fn a_single_units_report_hands_over_as_well_and_pressed_twice_it_is_one() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(on("QHB 412", "breaker_trip", "TC2")).await.fill("left", "tripped").send().await;
    let report = ann.get("/units/QHB-412/report").await.fill("run.started", "2026-03-03T00:10");
    let report = report.fill("remarks", "Rough track.").fill("hand_over", "yes").fill("password", PASSWORD);
    let form = report.form();
    let (one, fields) = (form.action.clone(), form.fields);
    let typed = [
        ("run.started", "2026-03-03T00:10"),
        ("remarks", "Rough track."),
        ("hand_over", "yes"),
        ("password", PASSWORD),
    ];
    let kept = fields.iter().filter_map(|f| Some((f.name.clone(), f.value.clone()?)));
    let kept: Vec<_> = kept.filter(|(n, _)| typed.iter().all(|(name, _)| name != n)).collect();
    let mut all: Vec<_> = kept.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    all.extend(typed);
    let first = ann.post(&one, &all).await;
    assert!(first.location().starts_with("/reports/"), "{}", first.text());
    let again = ann.post(&one, &all).await;
    assert_eq!(again.location(), first.location(), "{}", again.text());
    ann.get(first.location()).await.says("Rough track. Handed over: TC2 is left tripped");
    assert_eq!(rows(&app, "entries").await.len(), 1);
}

#[tokio::test]
async fn a_run_that_cannot_be_is_told_beside_its_fields() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(paths::RunClose).await.goes_to(paths::Run);
    let run = ann.get(paths::Run).await.fill("run.symbol", "K<17>").send().await.is(422);
    let run = run.says("Write at least one road number.").fill("units", "the blue one").send().await.is(422);
    let run = run.says("the blue one is no road number");
    assert_eq!(value(&run, "run.symbol").as_deref(), Some("K<17>"));
    let many: Vec<_> = (1..=13).map(|n| n.to_string()).collect();
    let run = run.fill("units", &many.join(", ")).send().await.is(422).says("one run takes 12 at most");
    let run = run.fill("units", "999").fill("run.started", "yesterday").send().await.is(422);
    let run = run.says("Set a date and a time").fill("run.started", "").send().await;
    assert_eq!(run.location(), "/run?kept=yes");
    ann.get(paths::Units).await.says("K<17>").says("QHB 999");
    // A unit off the roster is closed like any other, after one question.
    let close =
        ann.get(paths::RunClose).await.fill("occasion", "yard").fill("password", PASSWORD).send().await;
    let close = close.is(422).says("not on the roster").fill("sure", "yes").fill("password", PASSWORD);
    close.send().await.goes_to("/runs?closed=1");
}

#[tokio::test]
async fn a_forgotten_run_gives_way_and_one_with_entries_does_not() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get("/units/QHB-412").await.fill("password", PASSWORD).send().await;
    app.minutes_pass(17 * 60);
    let ann = app.user("ann").await;
    ann.get("/units/QHB-431").await.fill("password", PASSWORD).send().await;
    ann.get(paths::Units).await.says("My run: QHB 431").never_says("QHB 412");
    ann.get(on("QHB 431", "breaker_trip", "FP")).await.fill("left", "off").send().await;
    app.minutes_pass(17 * 60);
    let ann = app.user("ann").await;
    ann.get("/units/QHB-412").await.fill("password", PASSWORD).send().await;
    ann.get(paths::Units).await.says("My run: QHB 431");
}

#[tokio::test]
async fn place_and_throttle_are_remembered_from_the_last_entry_and_said_to_be() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let trip = ann.get(on("QHB 412", "breaker_trip", "TC2")).await.never_says("As you last wrote it");
    trip.fill("left", "on").fill("place", "MP 41.2").fill("throttle", "run_8").send().await;
    let again =
        ann.get(on("QHB 412", "breaker_trip", "FP")).await.says("As you last wrote it: MP 41.2, Run 8");
    assert_eq!(value(&again, "place").as_deref(), Some("MP 41.2"));
    assert_eq!(value(&again, "throttle").as_deref(), Some("run_8"));
    again.fill("left", "on").send().await;
    let report = ann.get("/units/QHB-412/report").await;
    assert_eq!(report.text().matches("At: MP 41.2. Throttle: run 8.").count(), 2, "{}", report.text());
    report.fill("run.started", "2026-03-03T00:10").fill("password", PASSWORD).send().await;
    ann.get(on("QHB 412", "breaker_trip", "FP")).await.says("As you last wrote it: MP 41.2, Run 8");
    ann.get(on("QHB 412", "engine_start", ""))
        .await
        .says("As you last wrote it: MP 41.2")
        .never_says("Run 8?");
    app.user("ben").await.get(on("QHB 412", "breaker_trip", "FP")).await.never_says("As you last wrote it");
    app.minutes_pass(17 * 60);
    let ann = app.user("ann").await;
    ann.get(on("QHB 412", "breaker_trip", "FP")).await.never_says("As you last wrote it");
}

#[tokio::test]
async fn my_runs_say_what_became_of_each_entry() {
    let app = App::start().await;
    let at = |hour: u32| format!("2026-03-03T0{hour}:00:00-06:00");
    let trip = |n: u32, tag: &str, left: &str| json!({"id": entry_id(n), "kind": "breaker_trip", "at": at(n), "device": tag, "resets": [], "left": left});
    let fine =
        json!({"id": entry_id(4), "kind": "fuse_check", "at": at(4), "device": "SF", "result": "good"});
    let bypass = json!({"id": entry_id(5), "kind": "bypass", "opened_at": at(5), "device": "GRC", "by": "ann", "purpose": "repair",
        "engine_running": "no", "power_taken": "no", "closed_at": "2026-03-03T05:05:00-06:00", "closed_by": "ann", "seal_applied": "20418"});
    let entries = vec![trip(1, "TC2", "tripped"), trip(2, "FP", "off"), trip(3, "ALR", "on"), fine, bypass];
    app.file("ann", &crate::harness::report(1, "QHB 412", "ann", entries)).await;
    let now = app.clock.now();
    shop(&app, Body::RepairOpened(Box::new(opened(7, "TC2", now))), now).await;
    let ann = app.user("ann").await;
    let runs = ann.get(paths::Runs).await.says("In repair since 3 March 2026.");
    let runs = runs.says("On the shop's board since 3 March 2026: reported by a crew.");
    let runs = runs.says("On the supervisor's register; not reviewed yet.");
    assert_eq!(runs.text().matches("what became of it is not written yet").count(), 1, "{}", runs.text());
    let later = Instant(now.0 + HOUR);
    shop(&app, Body::RepairClosed(Box::new(closed(7, later))), later).await;
    app.minutes_pass(90);
    ann.get(paths::Runs)
        .await
        .says("Lead chafed, replaced: repair closed 3 March 2026.")
        .never_says("In repair since");
    let seen = json!({"id": entry_id(9), "kind": "position", "at": "2026-03-03T07:20:00-06:00", "device": "FP", "seen": "on"});
    let mut report = crate::harness::report(9, "QHB 412", "ben", vec![seen]);
    report["signed_at"] = json!("2026-03-03T07:25:00-06:00");
    report["run"]["ended"] = json!("2026-03-03T07:22:00-06:00");
    app.file("ben", &report).await;
    ann.get(paths::Units).await.says("Seen in order again 3 March 2026, told by ben.");
    app.user("ben").await.get(paths::Runs).await.says("QHB 412: 1 entry").never_says("became of it is");
}

async fn shop(app: &App, body: Body, at: Instant) {
    app.web.desk().act(ShopAct::of(body, Some("sam".into()), Channel::Page, at)).await.unwrap();
}

fn opened(n: u128, tag: &str, at: Instant) -> RepairOpened {
    RepairOpened {
        id: uuid::Uuid::from_u128(n),
        unit: "QHB 412".into(),
        device: Some(tag.into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    }
}

fn closed(n: u128, at: Instant) -> RepairClosed {
    let json = json!({"id": uuid::Uuid::from_u128(n), "at": at.to_z(), "cause": "lead chafed, replaced.", "words": null, "new_life": false});
    serde_json::from_value(json).unwrap()
}

#[tokio::test]
async fn older_runs_are_on_pages_of_their_own() {
    let app = App::start().await;
    for n in 1..=25 {
        let mut report = crate::harness::report(n, "QHB 412", "ann", vec![]);
        report["run"]["symbol"] = json!(format!("K{n}."));
        report["run"]["started"] = json!(format!("2026-03-01T{:02}:{:02}:00-06:00", n / 6, n % 6));
        app.file("ann", &report).await;
    }
    let ann = app.user("ann").await;
    let page = ann.get(paths::Runs).await.says("K25.").says("K6.").never_says("K5.");
    let earlier = page.link_to("/runs?before=");
    ann.get(earlier).await.says("K5.").says("K1.").never_says("K6.").never_says("Earlier ones");
}

/// The shop's hold stands against leading, loading and moving.
#[tokio::test]
async fn a_held_unit_is_said_to_be_held() {
    let app = App::start().await;
    let now = app.clock.now();
    let hold = Hold { unit: "QHB 412".into(), at: now, reason: HoldReason::Repair, words: None };
    shop(&app, Body::UnitHeld(Box::new(hold)), now).await;
    app.minutes_pass(60);
    let ann = app.user("ann").await;
    let handover =
        ann.get("/units/QHB-412").await.says("The book holds this against leading, loading or moving it");
    handover.says("Held by the shop since 3 Mar 2026 06:00 -06:00: ask the shop");
    ann.get("/units/QHB-431").await.says("Nothing in the book against leading");
}

/// 49 CFR 220 subpart C: the line about devices stands before anything can be written, on every page.
#[tokio::test]
async fn every_page_on_which_something_is_written_begins_with_the_law() {
    let app = App::start().await;
    let ann = two_units(&app).await;
    ann.get(on("QHB 412", "breaker_trip", "TC2")).await.fill("left", "off").send().await;
    let report = ann.get("/units/QHB-412/report").await;
    let entry = report.link_to("/units/QHB-412/report/");
    let mut pages = vec![
        paths::Run.to_string(),
        paths::RunClose.to_string(),
        entry.clone(),
        entry.replace("/change", "/send"),
    ];
    for path in ["/units/QHB-412", "/units/QHB-412/write", "/units/QHB-412/report"] {
        pages.push(path.to_owned());
    }
    for kind in breakerbook::reports::kinds::Kind::ALL {
        pages.push(format!("/units/QHB-412/write/{kind}"));
        pages.push(format!("/units/QHB-412/write/{kind}?device=TC2"));
    }
    for path in pages {
        let page = ann.get(&path).await.is(200);
        let main = page.body.split_once("<main").unwrap().1;
        let before = main.split_once("<h1").unwrap().0;
        assert!(before.contains("<p class=\"law\">Only when stopped, or by the one not at the controls, on the railway's device."), "{path}");
    }
}
