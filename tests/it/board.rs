//! The foreman's pages, and the supervisor's register with its reviews.
use breakerbook::{
    book::Channel,
    desk::{body::Body, shop::ShopAct},
    web::paths,
};
use serde_json::{Value, json};

use crate::harness::{App, PASSWORD, Page, entry_id, report};

/// Ann's run: a trip left off, and ground protection bypassed without a right to it.
pub async fn a_night(app: &App) {
    let trip = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "signs": "heat",
        "device": "TC2", "resets": [{"basis": "not_determined", "result": "tripped_again"}], "left": "off"});
    let bypass = json!({"id": entry_id(2), "kind": "bypass", "opened_at": "2026-03-03T03:00:00-06:00", "device": "GRC",
        "by": "ann", "purpose": "to_keep_moving", "engine_running": "yes", "power_taken": "yes", "seal_found": "20417"});
    app.file("ann", &report(1, "QHB 412", "ann", vec![trip, bypass])).await;
}

/// Sue opened one herself, and closed it.
pub async fn sues_own(app: &App) {
    let bypass = json!({"id": entry_id(3), "kind": "bypass", "opened_at": "2026-03-03T01:00:00-06:00", "device": "GRC", "by": "sue",
        "purpose": "insulation_test", "engine_running": "no", "power_taken": "no", "protection": "lock",
        "closed_at": "2026-03-03T01:30:00-06:00", "closed_by": "sue", "seal_applied": "20418"});
    app.file("sue", &report(2, "QHB 413", "sue", vec![bypass])).await;
}

#[tokio::test]
async fn an_empty_board_says_so_and_promises_nothing() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page =
        sam.get(paths::Triage).await.is(200).says("No line is not a clean bill.").says("Nothing was written");
    page.says("No line.").never_says("is safe").never_says("is fit");
}

#[tokio::test]
async fn the_foreman_sees_what_was_written_and_what_the_rules_say() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Triage).await.is(200);
    let page = page
        .says("QHB 412")
        .says("TC2 Traction inverter 2 tripped")
        .says("reported by a crew")
        .says("certain");
    let link = page.link_to("/findings/");
    let page = sam.get(&link).await.is(200).says("The rule").says("The entries it rests on");
    page.says("TC2 Traction inverter 2 tripped. Closed again (not determined): tripped again. Left off. Signs of heat.");
    sam.get(paths::Finding("burst:nothing".into())).await.is(404).says("Look at the board again");
}

#[tokio::test]
async fn the_board_is_narrowed_down_in_the_address() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    sam.get("/triage?unit=qhb0412").await.is(200).says("TC2 Traction inverter 2 tripped");
    sam.get("/triage?unit=QHB+413").await.is(200).never_says("TC2").says("No line for what you asked for.");
    for unit in ["412", "0412", "qhb-412"] {
        sam.get(format!("/triage?unit={unit}")).await.is(200).says("TC2 Traction inverter 2 tripped");
    }
    for wrong in ["class=NONE", "rule=nonsense", "rule=not_authorised", "unit=77"] {
        let page = sam.get(format!("/triage?{wrong}")).await.is(422).never_says("TC2");
        page.says("2 written since yesterday").says("Nothing is listed until the filter is put right");
    }
    sam.get("/triage?rule=wrong_fuse").await.is(200).says("No line for what you asked for.");
    let page = sam.get("/triage?unit=nonsense").await.is(422).says("Give mark and road number");
    assert!(page.body.contains("value=\"nonsense\""), "what was typed stays");
}

#[tokio::test]
async fn a_finding_that_may_name_people_is_the_supervisors() {
    let app = App::start().await;
    a_night(&app).await;
    let key = app.finding_key("not_authorised").await;
    app.user("sue").await.get(paths::Finding(key.clone())).await.is(200).says("not authorised");
    app.user("sam").await.get(paths::Finding(key)).await.is(403);
}

#[tokio::test]
async fn the_register_shows_open_and_unauthorised_first() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    sue.get(paths::Bypasses).await.is(200).says("That is not to say that there was none.");
    sues_own(&app).await;
    a_night(&app).await;
    let page =
        sue.get(paths::Bypasses).await.is(200).says("OPEN").says("not authorised").says("to keep moving");
    let text = page.text();
    let body = text.split_once("Closed by").unwrap().1;
    assert!(body.find("QHB 412") < body.find("QHB 413"), "open before closed: {body}");
    sue.get("/bypasses?person=sue").await.says("QHB 413").never_says("QHB 412");
    sue.get("/bypasses?month=2026-02").await.says("No opening for what you asked for.");
    sue.get("/bypasses?shop=Slate+Gap&unit=QHB-412").await.says("QHB 412").never_says("QHB 413");
    sue.get("/bypasses?month=March").await.is(422).says("Give a year and a month");
    for unit in ["412", "0412", "qhb-412"] {
        sue.get(format!("/bypasses?unit={unit}")).await.is(200).says("QHB 412").never_says("QHB 413");
    }
    for (wrong, says) in [
        ("unit=nonsense", "Give mark and road number"),
        ("person=nobody", "Nobody in this book has the sign-in name nobody."),
        ("shop=Mars", "No unit has that home shop."),
    ] {
        let page = sue.get(format!("/bypasses?{wrong}")).await.is(422).says(says).says("1 open now");
        page.never_says("By whom").says("Nothing is listed until the filter is put right");
    }
}

#[tokio::test]
async fn a_bypass_is_reviewed_and_signed() {
    let app = App::start().await;
    a_night(&app).await;
    let sue = app.user("sue").await;
    let path = sue.get(paths::Bypasses).await.link_to("/bypasses/");
    let page = sue.get(&path).await.is(200).says("Who told of it").says("makes nothing dead");
    let page = page.send().await.is(422).says("Choose one of the three.").says("Say in a few words");
    let words = "Asked ann: the dispatcher wanted the train in. <No> order on record.";
    let page =
        page.fill("judgement", "not_in_order").fill("words", words).fill("password", "wrong").send().await;
    let page = page.is(422).says("This is not your password.");
    assert!(page.body.contains("checked") && page.text().contains("Asked ann"), "what was typed stays");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    let page = sue.get(&path).await.says("not in order").says("sue,").says(words);
    assert!(!page.body.contains("no longer holds"));
    sue.get(paths::Bypasses).await.says("sue: not in order");
}

#[tokio::test]
async fn a_review_is_news_to_whoever_opened_the_page_before() {
    let app = App::start().await;
    a_night(&app).await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let path = sue.get(paths::Bypasses).await.link_to("/bypasses/");
    let stale = typed(stan.get(&path).await, "in_order", "Looked at WO 5581.");
    let second = typed(sue.get(&path).await, "in_order", "The other tab.");
    typed(sue.get(&path).await, "not_in_order", "No order on record.").send().await.goes_to(&path);
    second.send().await.is(409).says("was written since you opened this page");
    let page = stale.send().await.is(409).says("was written since you opened this page");
    let page = page.says("Looked at WO 5581.").says("No order on record.");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    stan.get(&path).await.says("Looked at WO 5581.");
}

fn typed<'a>(page: Page<'a>, judgement: &str, words: &str) -> Page<'a> {
    page.fill("judgement", judgement).fill("words", words).fill("password", PASSWORD)
}

#[tokio::test]
async fn nobody_reviews_their_own() {
    let app = App::start().await;
    sues_own(&app).await;
    let sue = app.user("sue").await;
    let path = sue.get(paths::Bypasses).await.link_to("/bypasses/");
    sue.get(&path).await.is(200).says("somebody with no hand in it has to review it");
    let typed = [
        ("judgement", "in_order"),
        ("words", "mine"),
        ("password", PASSWORD),
        ("signer", "sue"),
        ("unit", "QHB 413"),
        ("seen_seq", "999"),
    ];
    sue.post(format!("{path}/review"), &typed).await.is(403).says("somebody with no hand in it");
    app.user("ada").await.get(&path).await.is(200).says("Only a supervisor reviews a bypass.");
    let stan = app.user("stan").await;
    let page = stan
        .get(&path)
        .await
        .fill("judgement", "in_order")
        .fill("words", "Looked at WO.")
        .fill("password", PASSWORD);
    page.send().await.goes_to(&path);
}

#[tokio::test]
async fn what_is_written_later_reopens_a_review() {
    let app = App::start().await;
    sues_own(&app).await;
    let stan = app.user("stan").await;
    let path = stan.get(paths::Bypasses).await.link_to("/bypasses/");
    let stale = stan
        .get(&path)
        .await
        .fill("judgement", "in_order")
        .fill("words", "Looked.")
        .fill("password", PASSWORD);
    let closing = json!({"id": entry_id(9), "kind": "bypass", "opened_at": "2026-03-03T01:10:00-06:00", "device": "GRC", "by": "sue",
        "purpose": "insulation_test", "closed_at": "2026-03-03T01:35:00-06:00"});
    app.file("ben", &report(3, "QHB 413", "ben", vec![closing])).await;
    let page = stale.send().await.is(409).says("was written since you opened this page");
    assert!(page.text().contains("Looked."), "the words are kept");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    stan.get(&path).await.says("reviewed");
    let more = json!({"id": entry_id(10), "kind": "bypass", "opened_at": "2026-03-03T01:20:00-06:00", "device": "GRC", "by": "sue", "purpose": "repair"});
    app.file("ben", &report(4, "QHB 413", "ben", vec![more])).await;
    stan.get(&path).await.says("Changed since reviewed").says("no longer holds");
}

/// The review was signed in good faith by what the book held; then somebody writes that the reviewer had ordered it.
#[tokio::test]
async fn a_review_by_a_hand_that_came_to_light_later_is_found() {
    let app = App::start().await;
    sues_own(&app).await;
    let stan = app.user("stan").await;
    let path = stan.get(paths::Bypasses).await.link_to("/bypasses/");
    typed(stan.get(&path).await, "in_order", "Looked.").send().await.goes_to(&path);
    let same_hand = |rows: Value| {
        rows.as_array().unwrap().iter().filter(|r| r["rule"] == "same_hand" && r["state"] == "open").count()
    };
    let token = app.token("sue").await;
    assert_eq!(same_hand(app.api(&token, "GET", "/api/v1/findings", None).await.1), 0);
    let order = json!({"id": entry_id(11), "kind": "bypass", "opened_at": "2026-03-03T01:05:00-06:00", "device": "GRC", "by": "sue",
        "authorised_by": "stan", "purpose": "insulation_test", "closed_at": "2026-03-03T01:30:00-06:00"});
    app.file("ben", &report(3, "QHB 413", "ben", vec![order])).await;
    assert_eq!(same_hand(app.api(&token, "GET", "/api/v1/findings", None).await.1), 1);
}

#[tokio::test]
async fn a_form_opened_by_somebody_else_on_a_shared_screen_signs_nothing() {
    let app = App::start().await;
    a_night(&app).await;
    let screen = app.user("stan").await;
    let path = screen.get(paths::Bypasses).await.link_to("/bypasses/");
    let page = screen
        .get(&path)
        .await
        .fill("judgement", "in_order")
        .fill("words", "Looked.")
        .fill("password", PASSWORD);
    screen
        .get(paths::SignIn)
        .await
        .fill("sign_in", "sue")
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to("/");
    page.send().await.is(422).says("This page was opened by stan, and you are sue.");
}

/// Ben found a cutout open; nobody knows who did it.
async fn found_open(app: &App) {
    let found = json!({"id": entry_id(11), "kind": "bypass", "found_open_at": "2026-03-03T04:00:00-06:00", "device": "GRC",
        "by": "not_known"});
    app.file("ben", &report(5, "QHB 431", "ben", vec![found])).await;
}

#[tokio::test]
async fn ground_protection_that_is_about_the_equipment_stands_first_on_the_shops_board() {
    let app = App::start().await;
    a_night(&app).await;
    found_open(&app).await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Triage).await.is(200);
    let text = page.text();
    let lines = text.split_once("What the book says").unwrap().1;
    let place = |words: &str| lines.find(words).unwrap_or_else(|| panic!("no {words:?} in {lines}"));
    assert!(place("second ground") < place("still open") && place("still open") < place("nobody named"));
    assert!(place("nobody named") < place("reported by a crew"), "{lines}");
    assert!(
        lines.contains("GRC Ground-relay cutout") && lines.contains("By whom: the supervisor's register.")
    );
    assert!(!lines.contains("ben") && !lines.contains("not authorised"), "rights and names: {lines}");
    // The finding's own page may name people; the shop is led to the unit.
    assert!(page.body.contains("<a class=\"whole\" href=\"/units/QHB-412\">"));
    sam.get("/triage?rule=still_open&unit=412")
        .await
        .is(200)
        .says("open since")
        .never_says("second ground ·");
    let sue = app.user("sue").await;
    sue.get(paths::Triage).await.is(200).says("found open").link_to("/findings/still_open");
    let token = app.token("sam").await;
    let (_, rows) = app.api(&token, "GET", "/api/v1/findings", None).await;
    let rows = rows.as_array().unwrap();
    let row = |rule: &str| rows.iter().find(|row| row["rule"] == rule);
    assert!(row("still_open").is_some() && row("not_authorised").is_none());
    assert!(!row("nobody_named").unwrap()["sentence"].to_string().contains("ben"));
}

#[tokio::test]
async fn an_unauthorised_opening_stays_ahead_when_it_is_reviewed() {
    let app = App::start().await;
    let opened = |n: u32, hour: u32, by: &str| {
        json!({"id": entry_id(n), "kind": "bypass", "opened_at": format!("2026-03-03T0{hour}:00:00-06:00"), "device": "GRC",
            "by": by, "purpose": "repair", "closed_at": format!("2026-03-03T0{hour}:45:00-06:00"), "closed_by": by})
    };
    app.file("ann", &report(6, "QHB 412", "ann", vec![opened(21, 1, "ann")])).await;
    let found = json!({"id": entry_id(22), "kind": "bypass", "found_open_at": "2026-03-03T03:00:00-06:00", "device": "GRC",
        "by": "not_known", "closed_at": "2026-03-03T04:45:00-06:00", "closed_by": "ben"});
    app.file("ben", &report(7, "QHB 413", "ben", vec![found])).await;
    let sue = app.user("sue").await;
    let order = |text: &str| {
        let rows = text.split_once("Closed by").unwrap().1.to_owned();
        rows.find("QHB 412").unwrap() < rows.find("QHB 413").unwrap()
    };
    let page = sue.get(paths::Bypasses).await.says("1 h 45 min");
    assert!(order(&page.text()));
    let path = page.link_to("/bypasses/");
    let page = sue.get(&path).await.fill("judgement", "not_in_order").fill("words", "Asked.");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    let page = sue.get(paths::Bypasses).await.says("sue: not in order");
    assert!(order(&page.text()), "{}", page.text());
}

#[tokio::test]
async fn the_page_of_an_opening_shows_how_it_was_made_safe_and_the_reports_it_rests_on() {
    let app = App::start().await;
    let opened = json!({"id": entry_id(31), "kind": "bypass", "opened_at": "2026-03-03T01:00:00-06:00", "device": "GRC", "by": "ann",
        "authorised_by": "sue", "authorised_how": "radio", "authorised_at": "2026-03-03T00:50:00-06:00", "reference": "WO 77",
        "purpose": "repair", "engine_running": "no", "power_taken": "no", "protection": "blue_signal",
        "closed_at": "2026-03-03T01:30:00-06:00", "closed_by": "ann"});
    app.file("ann", &report(8, "QHB 412", "ann", vec![opened])).await;
    let stan = app.user("stan").await;
    let path = stan.get(paths::Bypasses).await.link_to("/bypasses/");
    let page = stan.get(&path).await.says("Lock, tag or blue signal blue signal").says("Engine running no");
    let page =
        page.says("Power taken no").says("How authorised radio, 3 Mar 2026 00:50").says("Reference WO 77");
    let link = page.link_to("/reports/");
    stan.get(link).await.is(200);
    let seen = json!({"id": entry_id(32), "kind": "bypass", "opened_at": "2026-03-03T01:10:00-06:00", "device": "GRC", "by": "ann",
        "engine_running": "yes"});
    app.file("ben", &report(9, "QHB 412", "ben", vec![seen])).await;
    stan.get(&path).await.says("Engine running no (ann); yes (ben)");
}

/// Class figures as if the other units of a large class had each device operate once in 900 service days.
async fn figures(app: &App) {
    let device = |tag: &str| json!({"class": "HB6", "device": tag, "legend": tag, "occurrences": {"QHB 431": 20}, "total": 20});
    let devices = ["ALR", "FP", "GRC", "SF", "TC2"].map(device);
    let figures = json!({"as_of": "2026-02-01T00:00:00Z", "up_to_seq": 1, "devices": devices,
        "unit_days": {"QHB 412": 300}, "class_days": {"HB6": {"days": 18_300, "units": 50}}});
    let body = Body::ClassFiguresTaken(serde_json::from_value(figures).unwrap());
    app.web.desk().act(ShopAct::of(body, None, Channel::Console, app.clock.now())).await.unwrap();
}

/// Three breakers together on seven days: each would be a line of its own.
#[tokio::test]
async fn a_shared_cause_stands_for_the_lines_it_explains() {
    let app = App::start().await;
    figures(&app).await;
    for day in 1..=7_u32 {
        let trip = |(k, tag): (u32, &str)| {
            let at = format!("2026-02-{:02}T23:{:02}:00-06:00", 20 + day, 1 + k);
            json!({"id": entry_id(10 * day + k), "kind": "breaker_trip", "at": at, "device": tag, "left": "on"})
        };
        let trips = [(0, "TC2"), (1, "FP"), (2, "ALR")].map(trip);
        app.file("ann", &report(day, "QHB 412", "ann", trips.into())).await;
    }
    let (_, rows) = app.api(&app.token("sam").await, "GET", "/api/v1/findings", None).await;
    let rows = rows.as_array().unwrap();
    let shared = rows.iter().find(|row| row["rule"] == "shared_cause").unwrap();
    let bursts: Vec<&Value> = rows.iter().filter(|row| row["rule"] == "burst").collect();
    assert_eq!(bursts.len(), 3, "{rows:?}");
    let often = rows.iter().filter(|row| row["rule"] == "often");
    assert!(
        often.clone().count() > 0 && often.clone().all(|row| row["explained_by"] == shared["key"]),
        "{rows:?}"
    );
    assert!(bursts.iter().all(|burst| burst["explained_by"] == shared["key"]), "{bursts:?}");
    assert_eq!(shared["explained_by"], Value::Null);
    let rank = |row: &Value| row["rank"].as_f64().unwrap();
    let own = shared["figures"]["extra_in_30_days"].as_f64().unwrap();
    assert!((rank(shared) - own - bursts.iter().map(|b| rank(b)).sum::<f64>()).abs() < 1e-3, "{shared}");
    let singles =
        rows.iter().filter(|row| row["explained_by"] == Value::Null && row["rank"] != Value::Null).count();
    assert_eq!(singles, 1, "{rows:?}");

    let sam = app.user("sam").await;
    let page = sam.get(paths::Triage).await.is(200);
    let shown = format!("{:.1} more to expect", rank(shared));
    let page = page.says("one cause for several").says("7 such groups since 21 February 2026").says(&shown);
    let text = page.text();
    let (_, board) = text.split_once("What the book says").unwrap();
    let (before, under) = board.split_once("7 such groups").unwrap();
    assert!(!before.contains("operates in a burst"), "the single lines stand under it: {before}");
    assert_eq!(under.matches("operates in a burst").count(), 3, "{under}");
    sam.get("/triage?rule=burst").await.is(200).says("operates in a burst").never_says("such groups");
    let page = sam.get(paths::Finding(shared["key"].as_str().unwrap().into())).await.is(200);
    page.says("Groups so far")
        .says(&format!("{:.1}", rank(shared)))
        .says("fewer than one such group in 20 years");
}
