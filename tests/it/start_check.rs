//! Start check: the checks in walking order, the answer, and what becomes of a check that is not right.
use breakerbook::{
    base::{SignIn, UnitName},
    book::Channel,
    desk::{
        body::{Body, Hold, HoldReason, Release, RepairOpened},
        shop::ShopAct,
    },
    web::paths,
};
use serde_json::json;

use crate::harness::{App, Page, entry_id, report};

fn unit() -> UnitName {
    UnitName::from("QHB 412")
}

fn check() -> String {
    paths::StartCheck(unit()).to_string()
}

fn form_of(kind: &str) -> String {
    paths::WriteKind(unit(), kind.to_owned()).to_string()
}

/// What the page has in a field, if anything is chosen or typed in it.
fn value(page: &Page, name: &str) -> Option<String> {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone())
}

#[tokio::test]
async fn the_checks_stand_in_walking_order_under_the_answer() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = ann.get(paths::Handover(unit())).await;
    assert!(page.body.contains(&format!("href=\"{}\"", check())), "the handover leads here");
    ann.get(paths::Units.with(&[("q", "412")])).await.says("Start check of QHB 412");
    let page = ann.get(check()).await.is(200).says("Only when stopped");
    // Never written to be shut down: an unknown time counts as long.
    let page = page.says("Not now. Before a cold start the test cocks have to be clear");
    let page =
        page.says("Shut down for an unknown time, which counts as long: the cold-engine procedure applies.");
    let page =
        page.says("Your railway's instructions and qualified people decide").says("5 checks not marked yet");
    let text = page.text();
    let order = [
        "Left side",
        "Start fuse (SF)",
        "Engine oil",
        "Fuel pump (FP)",
        "Ground-relay cutout (GRC)",
        "Cold engine",
        "Prelubrication",
        "Battery at rest",
    ];
    let places: Vec<_> =
        order.iter().map(|words| text.find(words).unwrap_or_else(|| panic!("{words}: {text}"))).collect();
    assert!(places.is_sorted(), "{places:?}");
    assert!(!text.contains("Brake test") && !text.contains("Hand brake"));
    // Each caution before the control it belongs to.
    for (caution, control) in [
        ("Starting on air spends the air", "Start fuse (SF)"),
        ("same four figures, insulated tool", "Start fuse (SF)"),
        ("never hold a breaker in", "Fuel pump (FP)"),
        ("look for a tag, lock or blue signal", "Ground-relay cutout (GRC)"),
        ("Anything but clear at a test cock", "Test cocks, blown"),
        ("Read volts from the gauge, never probe", "Battery at rest"),
    ] {
        assert!(text.find(caution).unwrap() < text.find(control).unwrap(), "{caution}");
    }
    let lower = text.to_lowercase();
    assert!(!lower.contains("safe") && !lower.contains(" fit "), "{lower}");
}

#[tokio::test]
async fn readings_and_marks_change_the_answer() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let form = || async {
        let page = ann.get(check()).await.fill("shut_down", "short");
        page.fill("battery_rest_v", "64,5").fill("main_reservoir_psi", "85")
    };
    let page = form().await.ask(None).await.is(200);
    let page = page.says("Nothing in the book is against a start now, with both kinds of motors: battery 64.5 V at rest, at least 55;");
    let page = page.says("at least 80 (common practice, no source)").says("4 checks not marked yet.");
    assert_eq!(value(&page, "battery_rest_v").as_deref(), Some("64,5"), "what was typed stays");
    let page = form().await.fill("main_reservoir_psi", "60").ask(None).await;
    page.says("on the electric motors only")
        .says("What would change it: Couple main-reservoir hoses to another unit");
    let page = form().await.fill("battery_rest_v", "lots").ask(None).await.is(422);
    page.says("Write a figure from 0 to 200").says("The battery at rest is not read");
    let page = form().await.fill("check.1", "not_right").ask(None).await;
    let page = page.says("Not now. Not right: Engine oil.").says("It stands against starting it.");
    let defect = ann.get(page.link_to(&form_of("defect"))).await;
    assert!(
        defect.body.contains("Check: Engine oil; not as it has to be (As it should be)."),
        "{}",
        defect.text()
    );
}

#[tokio::test]
async fn what_is_not_right_is_written_down_where_it_belongs() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = ann.get(check()).await;
    let page = page.fill("check.0", "not_right").fill("check.3", "not_right").fill("check.4", "not_right");
    let page = page.ask(None).await.says("Not right: write it down");
    let page = page
        .says("It stands against starting it, loading it.")
        .says("does not say what it stands against. Ask.");
    let fuse = page.link_to(&format!("{}?device=SF", form_of("fuse_check")));
    ann.get(fuse).await.is(200).says("Fuse looked at");
    let cutout = ann.get(page.link_to(&format!("{}?device=GRC", form_of("bypass")))).await;
    assert_eq!(value(&cutout, "when").as_deref(), Some("found"));
    let pump = ann.get(page.link_to(&format!("{}?device=FP", form_of("position")))).await;
    assert!(pump.body.contains("Check: Fuel pump; not as it has to be"), "{}", pump.text());
    let pump = pump.fill("seen", "off").send().await;
    pump.goes_to(paths::Report(unit()).with(&[("wrote", "yes")]));
    // What lies in the own draft counts already.
    let page = ann
        .get(check())
        .await
        .says("FP (Fuel pump) was last written off")
        .says("Last written off, 0 min ago");
    let page = page.fill("check.3", "right").ask(None).await.never_says("was last written off");
    let page = page.says("Written otherwise before").says("FP (Fuel pump) is right.");
    let seen_on = ann.get(page.link_to(&format!("{}?device=FP", form_of("position")))).await;
    assert_eq!(value(&seen_on, "seen").as_deref(), Some("on"));
}

#[tokio::test]
async fn a_failed_attempt_is_an_entry_already_filled_in() {
    let app = App::start().await;
    let failed = json!({"id": entry_id(1), "kind": "engine_start", "at": "2026-03-03T05:00:00-06:00", "outcome": "no_fire", "attempt": 1});
    app.file("ben", &report(1, "QHB 412", "ben", vec![failed])).await;
    let ann = app.user("ann").await;
    let form = || async {
        let page = ann.get(check()).await.says("Attempt 2 of 3.").fill("shut_down", "long");
        page.fill("test_cock_result", "clear").fill("battery_rest_v", "61.5").fill("main_reservoir_psi", "96")
    };
    // Without asking for the answer first, too: what is typed goes along.
    let page = form().await.ask(Some(&form_of("engine_start"))).await;
    assert_eq!(value(&page, "battery_rest_v").as_deref(), Some("61.5"));
    let page = form().await.ask(None).await.says("with both kinds of motors");
    let entry = page.ask(Some(&form_of("engine_start"))).await.is(200).says("Engine start");
    let filled = [
        ("attempt", "2"),
        ("test_cock_result", "clear"),
        ("motors", "both"),
        ("battery_rest_v", "61.5"),
        ("main_reservoir_psi", "96"),
        ("after_long_shutdown", "yes"),
    ];
    for (name, wanted) in filled {
        assert_eq!(value(&entry, name).as_deref(), Some(wanted), "{name}");
    }
    entry.fill("outcome", "no_crank").send().await.goes_to(paths::Report(unit()).with(&[("wrote", "yes")]));
    ann.get(check()).await.says("Attempt 3 of 3.");
}

#[tokio::test]
async fn other_checks_come_from_the_same_list() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let brakes = ann.get(paths::StartCheck(unit()).with(&[("for", "brake_set_up")])).await;
    let brakes = brakes.says("Brake set-up: QHB 412").says("see every wheel turn").never_says("Engine oil");
    let brakes = brakes.never_says("Not now").fill("check.5", "not_right").ask(None).await;
    brakes
        .says("Brake set-up: QHB 412")
        .says("Brake test: not as it has to be")
        .says("It stands against leading with it.");
    let parking = ann.get(paths::StartCheck(unit()).with(&[("for", "parking")])).await;
    parking.says("Hand brake").says("the cooling water freezes").says("1 check not marked yet");
    let unknown = ann.get(paths::StartCheck(UnitName::from("QHB 999"))).await.is(200);
    unknown.says("The book has no schedule of it.").says("The schedule has no checks for this");
}

#[tokio::test]
async fn what_the_shop_has_open_stands_first() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let at = app.clock.now();
    let act = |body| app.web.desk().act(ShopAct::of(body, Some(SignIn::from("sam")), Channel::Page, at));
    let hold = Hold { unit: unit(), at, reason: HoldReason::Repair, words: None };
    act(Body::UnitHeld(Box::new(hold))).await.unwrap();
    let opened = RepairOpened {
        id: uuid::Uuid::from_u128(7),
        unit: unit(),
        device: Some("FP".into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    act(Body::RepairOpened(Box::new(opened))).await.unwrap();
    let page = ann
        .get(check())
        .await
        .says("Not now. The shop holds it since 3 Mar 2026 06:00 -06:00. A repair of FP is open since");
    page.says("The shop releases it.").says("The shop closes the repair.");
    act(Body::UnitReleased(Box::new(Release {
        unit: unit(),
        at,
        words: None,
        how: None,
        restrictions: None,
        checked: None,
    })))
    .await
    .unwrap();
    ann.get(check()).await.never_says("The shop holds it").says("A repair of FP is open since");
    ann.get(paths::StartCheck(UnitName::from("QHB 413"))).await.never_says("A repair of FP");
}
