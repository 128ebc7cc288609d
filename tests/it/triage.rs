//! The board as the shop works from it: narrowed down in the address bar, where units are, what is new to whom.
use std::collections::BTreeSet;

use breakerbook::{
    base::{Tag, UnitName},
    rules::{
        Finding,
        store::{Wanted, open_at},
    },
    web::paths,
};
use serde_json::json;

use crate::harness::{App, PASSWORD, entry_id, report};

/// Two breakers left off, on two units: lines that are certain.
async fn two_lines(app: &App) {
    for (n, unit, device) in [(1, "QHB 412", "TC2"), (2, "QHB 413", "FP")] {
        let trip = json!({"id": entry_id(n), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "device": device,
            "resets": [{"basis": "not_determined", "result": "tripped_again"}], "left": "off"});
        let mut told = report(n, unit, "ann", vec![trip]);
        told["run"]["to"] = "Quarrow".into();
        app.file("ann", &told).await;
    }
}

#[tokio::test]
async fn a_line_says_where_its_unit_is() {
    let app = App::start().await;
    two_lines(&app).await;
    let sam = app.user("sam").await;
    let page = sam
        .get(paths::Triage)
        .await
        .is(200)
        .says("Home shop Slate Gap · last run to Quarrow, 3 Mar 2026 05:10");
    assert!(page.body.contains("href=\"/units/QHB-412/timeline\""));
}

#[tokio::test]
async fn a_line_says_when_its_unit_is_next_in_the_shop() {
    let app = App::start().await;
    two_lines(&app).await;
    let sam = app.user("sam").await;
    let lines = |text: &str| text.split_once("What the book says").unwrap().1.to_owned();
    assert!(
        !lines(&sam.get(paths::Triage).await.text()).contains("in the shop by"),
        "nothing of it is in the book"
    );
    let form = paths::UnitInspections(UnitName::from("QHB 412"));
    for (kind, at) in
        [("annual", "2025-06-10T09:00"), ("periodic", "2025-12-10T09:00"), ("periodic", "2025-09-09T09:00")]
    {
        let page = sam.get(form.clone()).await.fill("kind", kind).fill("at", at).fill("place", "Slate Gap");
        page.fill("conditions", "none").fill("password", PASSWORD).send().await.is(303);
    }
    // 10 December + 92 days is 12 March; the annual tests have until June.
    let next = "next in the shop by 12 March 2026: periodic inspection, 9 days left";
    let text = lines(&sam.get(paths::Triage).await.text());
    let lines_of_412 = text.matches("Unit QHB 412").count();
    assert_eq!(
        text.matches("in the shop by").count(),
        lines_of_412,
        "the other unit has none in the book: {text}"
    );
    assert!(text.contains(&format!("· {next}")), "{text}");
    sam.get(paths::Unit(UnitName::from("QHB 412"))).await.is(200).says(next);
    app.minutes_pass(9 * 24 * 60);
    let sam = app.user("sam").await;
    sam.get(paths::Triage).await.says("12 March 2026: periodic inspection, today is the last day");
    app.minutes_pass(2 * 24 * 60);
    let sam = app.user("sam").await;
    sam.get(paths::Triage)
        .await
        .says("in the shop since 12 March 2026 at the latest: periodic inspection OVERDUE by 2 days")
        .says("1 inspection overdue.");
}

#[tokio::test]
async fn the_board_is_narrowed_down_by_device_shop_and_severity_in_the_address() {
    let app = App::start().await;
    two_lines(&app).await;
    let sam = app.user("sam").await;
    let lines = |text: &str| text.split_once("What the book says").unwrap().1.to_owned();
    // However the tag is written.
    let page = sam.get("/triage?device=tc2").await.is(200);
    let text = lines(&page.text());
    assert!(text.contains("QHB 412 · TC2") && !text.contains("QHB 413"), "{text}");
    assert!(page.says("1 written since yesterday").body.contains("value=\"tc2\""), "what was typed stays");
    let text = lines(&sam.get("/triage?shop=Slate+Gap").await.is(200).text());
    assert!(text.contains("QHB 412") && text.contains("QHB 413"), "{text}");
    let text = lines(&sam.get("/triage?severity=5").await.is(200).text());
    assert!(text.contains("No line for what you asked for."), "{text}");
    for (query, says) in [
        ("device=TC3", "No schedule has a device \"TC3\". Did you mean TC2?"),
        ("shop=Nowhere", "No unit of the roster is at home there."),
        ("severity=lots", "Choose one of the list"),
    ] {
        let page = sam.get(format!("/triage?{query}")).await.is(422).says(says);
        page.says("Nothing is listed until the filter is put right");
    }
    // Paging and the notes keep all of it.
    let page = sam.get("/triage?device=TC2&shop=Slate+Gap&severity=").await.is(200);
    assert!(
        page.body.contains("name=\"back\" value=\"/triage?device=TC2&#38;shop=Slate%20Gap\""),
        "{}",
        page.body
    );
}

/// The board is narrowed down in memory, other lists by the file: both mean the same.
#[tokio::test]
async fn what_is_wanted_is_the_same_in_the_file_and_in_hand() {
    let app = App::start().await;
    two_lines(&app).await;
    let units: BTreeSet<UnitName> = ["QHB 413".into()].into();
    let (tag, now) = (Tag::from("TC2"), app.clock.now());
    let mut db = app.web.desk().read().await.unwrap();
    let board = app.web.desk().board(&mut db, now).await.unwrap();
    for (wanted, unit) in [
        (Wanted { device: Some(&tag), ..Wanted::default() }, Some("QHB 412")),
        (Wanted { units: Some(&units), ..Wanted::default() }, Some("QHB 413")),
        (Wanted { severity: Some(1.0), ..Wanted::default() }, None),
        (Wanted { severity: Some(9.0), ..Wanted::default() }, Some("none")),
    ] {
        let keys = |found: Vec<Finding>| found.into_iter().map(|f| f.key).collect::<BTreeSet<_>>();
        let in_file = keys(open_at(&mut db, &wanted, now).await.unwrap());
        assert_eq!(in_file, keys(board.open(&wanted).cloned().collect()), "{wanted:?}");
        match unit {
            Some("none") => assert!(in_file.is_empty(), "{in_file:?}"),
            Some(unit) => {
                assert!(in_file.len() == 1 && in_file.iter().all(|key| key.contains(unit)), "{in_file:?}")
            }
            None => assert_eq!(in_file.len(), 2),
        }
    }
}

#[tokio::test]
async fn what_is_new_is_new_to_each_person_and_changes_nothing_in_the_book() {
    let app = App::start().await;
    two_lines(&app).await;
    let (sam, sue) = (app.user("sam").await, app.user("sue").await);
    let pages = || async {
        let health: serde_json::Value = serde_json::from_str(&sam.get(paths::Health).await.body).unwrap();
        health["last_page"].as_u64().unwrap()
    };
    let before = pages().await;
    let page = sam.get(paths::Triage).await.is(200).never_says("new since");
    // The first form of the page asks for the filter; this one is further down.
    let looked = |page: &crate::harness::Page<'_>| {
        let forms = crate::html::forms(&page.body);
        let form = forms.into_iter().find(|form| form.action == "/triage/looked").expect("a form to say so");
        let value = |name: &str| form.fields.iter().find(|f| f.name == name).unwrap().value.clone().unwrap();
        [("lines", value("lines")), ("back", value("back"))]
    };
    let fields = looked(&page);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    app.minutes_pass(5);
    sam.post(paths::TriageLooked, &fields).await.goes_to("/triage");
    assert_eq!(pages().await, before, "the book has as many pages as before");
    let page = sam.get(paths::Triage).await.is(200).says("0 new since 3 Mar 2026 06:05");
    assert!(!page.body.contains("/triage/looked"), "there is nothing new to look at");
    // Something is written: new to sam, who looked, and not to sue, who never said so.
    let wrong = json!({"id": entry_id(9), "kind": "breaker_trip", "at": "2026-03-03T03:00:00-06:00", "device": "ALR",
        "resets": [{"basis": "not_determined", "result": "tripped_again"}], "left": "off"});
    app.file("ann", &report(9, "QHB 431", "ann", vec![wrong])).await;
    let new = sam.get(paths::Triage).await.is(200).says("new QHB 431 · ALR");
    let n = |text: &str| {
        let (before, _) = text.split_once(" new since").unwrap();
        before.rsplit(' ').next().unwrap().parse::<usize>().unwrap()
    };
    assert!(n(&new.text()) >= 1);
    new.never_says("new QHB 412");
    sam.get("/triage?new=yes").await.is(200).says("QHB 431 · ALR").never_says("QHB 412 · TC2");
    sue.get(paths::Triage).await.is(200).never_says("new QHB 431").never_says("new since");
}

#[tokio::test]
async fn having_looked_leads_back_to_the_board_and_nowhere_else() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    sam.post(paths::TriageLooked, &[("back", "/triage?unit=412")]).await.goes_to("/triage?unit=412");
    for bad in ["https://elsewhere.example/", "//elsewhere", "/triagex", ""] {
        sam.post(paths::TriageLooked, &[("back", bad), ("lines", "zz")]).await.goes_to("/triage");
    }
}
