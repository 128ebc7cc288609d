//! In the shop: from a line on the board to a repair that is proved, as the foreman and his people do it.
use breakerbook::{
    base::Instant,
    book::Channel,
    desk::{
        body::Body,
        shop::ShopAct,
        verify::{Verdict, verify},
    },
    web::paths,
};
use serde_json::json;

use crate::{
    board::a_night,
    harness::{App, Browser, PASSWORD, Page, entry_id, report},
};

/// Opens a repair of whatever a line's own page offers, and hands back its address.
pub async fn repair_of_line(sam: &Browser<'_>, key: &str) -> String {
    let offer = sam.get(paths::Finding(key.to_owned())).await.is(200).link_to("/units/QHB-412/repairs/new");
    assert!(offer.contains("/repairs/new?finding="), "{offer}");
    let page = sam.get(&offer).await.is(200).fill("words", "Look at the leads").fill("password", PASSWORD);
    let path = page.send().await.is(303).location();
    assert!(path.starts_with("/repairs/"), "{path}");
    path
}

fn closing<'a>(page: Page<'a>, cause: &str) -> Page<'a> {
    page.fill("another", cause)
        .fill("replaced", "no")
        .fill("words", "Lead dressed clear")
        .fill("password", PASSWORD)
}

async fn pages_of(app: &App, kind: &str) -> i64 {
    let sql = "SELECT count(*) FROM page WHERE blob ->> 'kind' = ?";
    let mut db = app.web.desk().read().await.unwrap();
    sqlx::query_scalar(sql).bind(kind.to_owned()).fetch_one(&mut *db).await.unwrap()
}

/// Class figures as if the device operated once in 900 service days in the other units.
async fn figures(app: &App) {
    let devices = ["ALR", "FP", "GRC", "SF", "TC2"].map(|tag| {
        json!({"class": "HB6", "device": tag, "legend": tag, "occurrences": {"QHB 431": 20}, "total": 20})
    });
    let figures = json!({"as_of": "2026-02-01T00:00:00Z", "up_to_seq": 1, "devices": devices,
        "unit_days": {"QHB 412": 300}, "class_days": {"HB6": {"days": 18_300, "units": 50}}});
    let body = Body::ClassFiguresTaken(serde_json::from_value(figures).unwrap());
    app.web.desk().act(ShopAct::of(body, None, Channel::Console, app.clock.now())).await.unwrap();
}

/// A trip on each of seven evenings, all closed again: a burst, and nothing that somebody has to answer for.
async fn a_bad_week(app: &App) {
    figures(app).await;
    for day in 1..=7_u32 {
        let at = |time: &str| format!("2026-02-{:02}T{time}:00-06:00", 20 + day);
        let trip = json!({"id": entry_id(100 + day), "kind": "breaker_trip", "at": at("23:01"), "device": "TC2", "left": "on"});
        let mut filed = report(100 + day, "QHB 412", "ann", vec![trip]);
        filed["run"] = json!({"started": at("21:40"), "ended": at("23:40")});
        filed["signed_at"] = json!(at("23:50"));
        app.file("ann", &filed).await;
    }
}

#[tokio::test]
async fn a_repair_from_the_line_to_the_book_and_back_to_the_crew() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let key = app.finding_about("reported", &entry_id(1)).await;
    let path = repair_of_line(&sam, &key).await;
    sam.get(paths::Finding(key.clone())).await.says("in repair").says("Open since");
    app.user("ann").await.get(paths::Runs).await.says("In repair since 3 March 2026.");
    // Tom did the work, and signs it on the screen that Sam is signed in at.
    let page = sam.get(&path).await.is(200).says("Look at the leads").says("No step is written yet.");
    let page =
        page.fill("words", "Found the lead chafed at the clamp").fill("parts", "one lead").fill("by", "tom");
    let page = page.fill("password", "not his").send().await.is(422).says("This is not the password of tom.");
    assert!(page.body.contains("Found the lead chafed"), "what was typed stays");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    let page = sam
        .get(&path)
        .await
        .says("Found the lead chafed at the clamp")
        .says("signed tom")
        .says("Parts: one lead");
    page.fill("words", "x")
        .fill("by", "ann")
        .fill("password", PASSWORD)
        .send()
        .await
        .is(422)
        .says("does not work in the shop");
    let close = format!("{path}/close");
    let page = sam.get(&close).await.is(200).says("Found the lead chafed at the clamp (signed tom)");
    let page = page
        .fill("password", PASSWORD)
        .send()
        .await
        .is(422)
        .says("Say what was found")
        .says("Say whether it is another one");
    closing(page, "Chafed lead").send().await.goes_to(&path);
    let page = sam
        .get(&path)
        .await
        .says("Chafed lead")
        .says("Closed, signed sam")
        .says("No class figures are taken yet");
    page.never_says("Write down a step");
    sam.get("/triage?unit=QHB+412&rule=reported").await.says("No line for what you asked for.");
    app.user("ann").await.get(paths::Runs).await.says("Chafed lead: repair closed 3 March 2026.");
    sam.get(paths::Causes).await.says("Chafed lead");
    // The next repair of it is offered what this one found.
    let page = sam
        .get("/units/QHB-412/repairs/new")
        .await
        .fill("thing", "TC2")
        .fill("password", PASSWORD)
        .send()
        .await;
    sam.get(format!("{}/close", page.location())).await.says("Chafed lead (1 before)").says("not known");
}

/// Two screens: the second reads what the first wrote, and nothing is in the book twice.
#[tokio::test]
async fn a_repair_is_closed_once() {
    let app = App::start().await;
    a_night(&app).await;
    let (sam, tom) = (app.user("sam").await, app.user("tom").await);
    let path = repair_of_line(&sam, &app.finding_about("reported", &entry_id(1)).await).await;
    let close = format!("{path}/close");
    let (first, second) = (sam.get(&close).await, tom.get(&close).await);
    closing(first, "Chafed lead").send().await.goes_to(&path);
    let page = closing(second, "Loose lug").send().await.is(409);
    page.says("sam closed this repair")
        .says("What you typed, not in the book")
        .says("Loose lug")
        .says("Chafed lead");
    assert_eq!((pages_of(&app, "repair_closed").await, pages_of(&app, "cause_listed").await), (1, 1));
    tom.get(&close).await.goes_to(&path);
    sam.get(&path).await.never_says("Loose lug");
}

#[tokio::test]
async fn whoever_closes_has_read_every_step() {
    let app = App::start().await;
    a_night(&app).await;
    let (sam, tom) = (app.user("sam").await, app.user("tom").await);
    let path = repair_of_line(&sam, &app.finding_about("reported", &entry_id(1)).await).await;
    let page = sam.get(format!("{path}/close")).await;
    let step = tom.get(&path).await.fill("words", "Put a meter on it").fill("password", PASSWORD);
    step.send().await.goes_to(&path);
    let page = closing(page, "Chafed lead")
        .send()
        .await
        .is(409)
        .says("Somebody signed a step of this repair")
        .says("Put a meter on it");
    page.fill("password", PASSWORD).send().await.goes_to(&path);
    // A step that comes after the closing is not lost to whoever typed it.
    let late = [
        ("step", "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c01"),
        ("words", "One more thing"),
        ("password", PASSWORD),
        ("signer", "tom"),
    ];
    tom.post(format!("{path}/work"), &late)
        .await
        .is(409)
        .says("sam closed this repair")
        .says("One more thing");
    assert_eq!(pages_of(&app, "repair_worked").await, 1);
}

#[tokio::test]
async fn what_is_in_repair_already_is_asked_about() {
    let app = App::start().await;
    a_night(&app).await;
    let (sam, tom) = (app.user("sam").await, app.user("tom").await);
    let key = app.finding_about("reported", &entry_id(1)).await;
    let seen_before = tom.get(paths::RepairNew("QHB 412".into()).with(&[("finding", &key)])).await.is(200);
    let path = repair_of_line(&sam, &key).await;
    let page = seen_before.fill("password", PASSWORD).send().await.is(422);
    let page = page
        .says("A repair of the same is in the book already")
        .says("It is open, and would answer some of the same.");
    let id = path.trim_start_matches("/repairs/");
    page.fill("know", id).fill("password", PASSWORD).send().await.is(303);
    assert_eq!(pages_of(&app, "repair_opened").await, 2);
    // The first to close answers it; the other one says by which.
    closing(sam.get(format!("{path}/close")).await, "Chafed lead").send().await.goes_to(&path);
    let page = sam.get("/units/QHB-412/shop").await.says("Chafed lead. Closed");
    let other = page.link_to("/repairs/");
    sam.get(&other).await.says("Answered by another repair already").says("Chafed lead. Closed");
    // Ticked again, the line that has ended names the repair that answered it.
    let page = tom.get(paths::RepairNew("QHB 412".into()).with(&[("finding", &key)])).await;
    page.says("Ended already.").says("It answered a line that is ticked here.");
}

#[tokio::test]
async fn one_form_sent_twice_opens_one_repair_and_several_things_are_answered_by_it() {
    let app = App::start().await;
    a_night(&app).await;
    let light = json!({"id": entry_id(5), "kind": "defect", "at": "2026-03-03T04:10:00-06:00", "system": "lights",
        "text": "cab light dead", "may_go_on": "restricted", "restriction": "trail only"});
    let stop = json!({"id": entry_id(6), "kind": "shutdown", "at": "2026-03-03T04:20:00-06:00", "cause": "overspeed"});
    app.file("ann", &report(3, "QHB 412", "ann", vec![light, stop])).await;
    let sam = app.user("sam").await;
    let (trip, light) = (app.finding_about("reported", &entry_id(1)).await, entry_id(5));
    let id = "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c02";
    let form = [
        ("id", id),
        ("finding", trip.as_str()),
        ("entry", light.as_str()),
        ("signer", "sam"),
        ("password", PASSWORD),
    ];
    for _ in 0..2 {
        sam.post("/units/QHB-412/repairs/new", &form).await.goes_to(format!("/repairs/{id}"));
    }
    assert_eq!(pages_of(&app, "repair_opened").await, 1);
    sam.get(format!("/repairs/{id}"))
        .await
        .says("TC2 Traction inverter 2, the unit itself")
        .says("cab light dead");
    sam.get(paths::Triage).await.says("Restricted (trail only): cab light dead").says("in repair");
    closing(sam.get(format!("/repairs/{id}/close")).await, "Water in the cabinet").send().await.is(303);
    // It answers the light, and not the engine that overran: nobody looked at that.
    let board = sam.get("/triage?unit=QHB+412&rule=reported").await.says("overspeed device");
    let board = board.text();
    let lines = board.split_once("What the book says").unwrap().1;
    assert!(!lines.contains("cab light dead") && !lines.contains("TC2"), "{lines}");
    let runs = app.user("ann").await.get(paths::Runs).await;
    assert_eq!(runs.text().matches("Water in the cabinet: repair closed").count(), 2, "{}", runs.text());
    let start = app.user("ann").await.get("/units/QHB-412/start-check").await.text();
    assert!(!start.contains("cab light"), "{start}");
}

#[tokio::test]
async fn a_closing_is_corrected_by_a_later_page_and_stays_readable() {
    let app = App::start().await;
    a_bad_week(&app).await;
    let sam = app.user("sam").await;
    let path = repair_of_line(&sam, &app.finding_key("burst").await).await;
    closing(sam.get(format!("{path}/close")).await, "No fault found").send().await.goes_to(&path);
    let page = sam.get(&path).await.says("on trial").says("would prove it").says("Silence proves it on ");
    page.says("No fault found");
    let page = sam.get(format!("{path}/amend")).await.is(200).fill("cause", "not known");
    let page =
        page.fill("password", PASSWORD).send().await.is(422).says("Say in a few words why it is corrected.");
    let page = page.fill("reason", "the lead was seen later").fill("words", "Chafed under the clamp");
    page.fill("replaced", "yes").fill("password", PASSWORD).send().await.goes_to(&path);
    let page =
        sam.get(&path).await.says("Not known").says("Chafed under the clamp").says("a new life begins");
    page.says("Before it was corrected by sam").says("the lead was seen later").says("No fault found");
    let verdict = verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
    // The old fault comes back: what is said of it goes by the correction.
    app.minutes_pass(4 * 24 * 60);
    let mut back = report(
        300,
        "QHB 412",
        "ann",
        vec![json!({"id": entry_id(300), "kind": "breaker_trip",
        "at": "2026-03-07T05:00:00-06:00", "device": "TC2", "left": "on"})],
    );
    back["run"] = json!({"started": "2026-03-07T04:00:00-06:00", "ended": null});
    back["signed_at"] = json!("2026-03-07T05:10:00-06:00");
    app.file("ann", &back).await;
    let sam = app.user("sam").await;
    let page = sam.get(&path).await.says("did not hold").says("tripped again 4 service days later");
    page.says("its old fault is back: look beyond the device itself");
    sam.get("/triage?rule=did_not_hold")
        .await
        .says("tripped again 4 service days later")
        .never_says("with no fault found");
}

#[tokio::test]
async fn a_part_that_came_from_another_unit_is_named() {
    let app = App::start().await;
    a_bad_week(&app).await;
    let sam = app.user("sam").await;
    let path = repair_of_line(&sam, &app.finding_key("burst").await).await;
    let close = format!("{path}/close");
    let page = sam
        .get(&close)
        .await
        .fill("another", "Card")
        .fill("replaced", "swapped")
        .fill("words", "Changed over");
    let page =
        page.fill("from", "412").fill("password", PASSWORD).send().await.is(422).says("is this unit itself");
    page.fill("from", "413").fill("password", PASSWORD).send().await.goes_to(&path);
    sam.get(&path).await.says("TC2 Traction inverter 2, by the one of QHB 413: a new life begins");
}

/// How the release of 412 ends, by form fields.
async fn release<'a>(of: &Browser<'a>, how: &str, restrictions: &str) -> Page<'a> {
    let page = of
        .get("/units/QHB-412/release")
        .await
        .is(200)
        .fill("how", how)
        .fill("checked", "Breakers, seals, load test");
    page.fill("restrictions", restrictions).fill("password", PASSWORD).send().await
}

#[tokio::test]
async fn a_release_is_refused_until_what_stands_against_it_is_written_down() {
    let app = App::start().await;
    a_night(&app).await;
    let (sam, ann) = (app.user("sam").await, app.user("ann").await);
    release(&sam, "dead_for_repair", "").await.is(422).says("hold it first");
    let page = sam
        .get("/units/QHB-412/hold")
        .await
        .fill("reason", "repair")
        .fill("words", "TC2")
        .fill("password", PASSWORD);
    page.send().await.goes_to("/units/QHB-412/shop");
    ann.get("/units/QHB-412").await.says("Held by the shop since 3 Mar 2026 06:00 -06:00");
    for how in ["into_service", "restricted"] {
        let page = release(&sam, how, if how == "restricted" { "trail only" } else { "" }).await.is(422);
        let page = page.says(
            "It was not released. GRC Ground-relay cutout stands open in the book since 3 Mar 2026 03:00",
        );
        page.says("An open bypass never goes under power.")
            .says("TC2 Traction inverter 2 off since")
            .says("nobody said why");
    }
    assert_eq!(pages_of(&app, "unit_released").await, 0);
    // Dead for repair it may go so, and stays held.
    release(&sam, "dead_for_repair", "").await.goes_to("/units/QHB-412/shop");
    let page =
        ann.get("/units/QHB-412").await.says("Released dead for repair").says("it goes under no power");
    page.says("Held by the shop since");
    sam.get("/units/QHB-412/shop").await.says("Held since").says("Released dead for repair");
    // Closed, but no seal was written down; and a device left off for a reason.
    let closed = json!({"id": entry_id(7), "kind": "position", "at": "2026-03-03T05:30:00-06:00", "device": "GRC", "seen": "open",
        "moved_to": "closed", "by": "sam"});
    let off = json!({"id": entry_id(8), "kind": "position", "at": "2026-03-03T05:31:00-06:00", "device": "TC2", "seen": "off",
        "by": "sam", "why": "motor cut out", "reference": "WO 12"});
    app.file("sam", &report(4, "QHB 412", "sam", vec![closed, off])).await;
    let page = release(&sam, "into_service", "")
        .await
        .is(422)
        .says("closed, and no seal written down")
        .says("Put a seal on");
    page.says("Off for a stated reason").never_says("stands open in the book");
    release(&sam, "dead_for_repair", "").await.is(422).says("no seal written down");
    let sealed = json!({"id": entry_id(9), "kind": "position", "at": "2026-03-03T05:40:00-06:00", "device": "GRC", "seen": "closed",
        "by": "sam", "seal": "20450"});
    app.file("sam", &report(5, "QHB 412", "sam", vec![sealed])).await;
    let page = sam.get("/units/QHB-412/release").await.fill("how", "into_service").fill("password", PASSWORD);
    page.send().await.is(422).says("Name what you checked");
    release(&sam, "into_service", "trail only").await.is(422).says("Restrictions are written here");
    release(&sam, "restricted", "").await.is(422).says("Say what the crew must keep to.");
    release(&sam, "restricted", "Trail only, motor 2 cut out").await.goes_to("/units/QHB-412/shop");
    let page = ann.get("/units/QHB-412").await.says("until the shop lifts it: Trail only, motor 2 cut out");
    page.never_says("Held by the shop");
    sam.get(paths::InShop).await.says("QHB 412").says("Restricted: Trail only, motor 2 cut out.");
    app.minutes_pass(24 * 60);
    let (sam, ann) = (app.user("sam").await, app.user("ann").await);
    ann.get("/units/QHB-412").await.says("until the shop lifts it");
    release(&sam, "into_service", "").await.goes_to("/units/QHB-412/shop");
    ann.get("/units/QHB-412").await.never_says("until the shop lifts it");
    sam.get("/units/QHB-412/shop")
        .await
        .says("Checked: Breakers, seals, load test.")
        .says("Released, restricted");
}

#[tokio::test]
async fn a_warning_notice_stays_until_a_repair_answers_its_entry() {
    let app = App::start().await;
    let stop = json!({"id": entry_id(6), "kind": "shutdown", "at": "2026-03-03T04:20:00-06:00", "cause": "low_oil",
        "warning_notice": "do not start: oil"});
    app.file("ann", &report(3, "QHB 412", "ann", vec![stop])).await;
    let sam = app.user("sam").await;
    let page = release(&sam, "into_service", "")
        .await
        .is(422)
        .says("A warning notice is attached since")
        .says("do not start: oil");
    let offer = page.link_to("/units/QHB-412/repairs/new?entry=");
    let page = sam.get(&offer).await.is(200).fill("password", PASSWORD).send().await.is(303);
    let close = format!("{}/close", page.location());
    release(&sam, "into_service", "")
        .await
        .is(422)
        .says("Repairs still open")
        .says("the start check says 'not now'");
    let page = sam
        .get(&close)
        .await
        .fill("another", "Pump")
        .fill("words", "Oil pump changed")
        .fill("password", PASSWORD);
    page.send().await.is(303);
    release(&sam, "into_service", "").await.goes_to("/units/QHB-412/shop");
}

#[tokio::test]
async fn a_release_that_did_not_see_a_new_trip_is_asked_again() {
    let app = App::start().await;
    let (sam, tom) = (app.user("sam").await, app.user("tom").await);
    let hold = |signer| [("reason", "inspection"), ("password", PASSWORD), ("signer", signer), ("held", "")];
    sam.post("/units/QHB-412/hold", &hold("sam")).await.is(303);
    tom.post("/units/QHB-412/hold", &hold("tom")).await.is(409).says("Somebody held this unit since");
    assert_eq!(pages_of(&app, "unit_held").await, 1, "held once, whoever pressed");
    let page = sam.get("/units/QHB-412/release").await.is(200);
    let trip = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T05:00:00-06:00", "device": "TC2", "left": "on"});
    app.file("ann", &report(1, "QHB 412", "ann", vec![trip])).await;
    // Another unit's report is no reason to ask.
    app.file("ann", &report(2, "QHB 413", "ann", vec![])).await;
    let page = page
        .fill("how", "into_service")
        .fill("checked", "All of it")
        .fill("password", PASSWORD)
        .send()
        .await
        .is(409);
    let page =
        page.says("it was not released").says("What came since").says("TC2 Traction inverter 2 tripped");
    assert_eq!(pages_of(&app, "unit_released").await, 0);
    assert!(page.body.contains("All of it"), "what was typed stays");
    app.file("ben", &report(3, "QHB 413", "ben", vec![])).await;
    page.fill("password", PASSWORD).send().await.goes_to("/units/QHB-412/shop");
    assert_eq!(pages_of(&app, "unit_released").await, 1);
}

#[tokio::test]
async fn a_line_set_aside_leaves_the_board_and_comes_back_on_its_day() {
    let app = App::start().await;
    a_bad_week(&app).await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let certain = app.finding_about("reported", &entry_id(1)).await;
    let form =
        [("until", "2026-03-10"), ("reason", "card on order"), ("password", PASSWORD), ("signer", "sam")];
    let page = sam.post(paths::FindingAside(certain), &form).await.is(422);
    page.says("What somebody wrote is never set aside");
    let key = app.finding_key("burst").await;
    let path = paths::FindingAside(key.clone());
    let page = sam
        .get(&path)
        .await
        .is(200)
        .fill("until", "2026-03-03")
        .fill("password", PASSWORD)
        .send()
        .await
        .is(422);
    let page = page.says("That day has begun").says("Say why in a few words");
    page.fill("until", "2026-03-10")
        .fill("reason", "card on order")
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to("/in-shop");
    sam.get(paths::InShop).await.says("card on order").says("Until 10 March 2026, by sam");
    sam.get("/triage?rule=burst").await.never_says("· operates in a burst").says("set aside and not shown");
    sam.get(paths::Finding(key.clone())).await.says("set aside").says("card on order");
    let before = pages_of(&app, "finding_set_aside").await;
    let day = Instant::parse("2026-03-10T05:00:00Z").unwrap();
    app.clock.set(day.minus(1));
    let sam = app.user("sam").await;
    sam.get("/triage?rule=burst").await.says("set aside and not shown");
    app.clock.set(day);
    sam.get("/triage?rule=burst").await.says("· operates in a burst").never_says("set aside and not shown");
    sam.get(paths::InShop).await.says("No line is set aside.");
    assert_eq!(pages_of(&app, "finding_set_aside").await, before, "time passing changes no row");
    // Set aside again and brought back by hand: the last word counts.
    let form = [("until", "2026-05-01"), ("reason", "later"), ("password", PASSWORD), ("signer", "sam")];
    sam.post(&path, &form).await.goes_to("/in-shop");
    sam.get("/triage?rule=burst").await.says("set aside and not shown");
    let form = [("then", "back"), ("reason", "the card came"), ("password", PASSWORD), ("signer", "sam")];
    sam.post(&path, &form).await.goes_to("/in-shop");
    app.minutes_pass(1);
    sam.get("/triage?rule=burst").await.never_says("set aside and not shown");
}

#[tokio::test]
async fn the_list_of_causes_is_kept_by_page() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page =
        sam.get(paths::Causes).await.is(200).says("'no fault found' and 'not known' can always be chosen");
    let page = page.fill("cause", "No fault found").fill("password", PASSWORD).send().await.is(422);
    let page = page.says("never come off it").fill("cause", "Chafed lead").fill("password", PASSWORD);
    page.send().await.goes_to("/causes");
    let page = sam
        .get(paths::Causes)
        .await
        .fill("cause", "chafed  LEAD")
        .fill("password", PASSWORD)
        .send()
        .await
        .is(422);
    page.says("It is on the list already.");
    let page = sam.get(paths::Causes).await.fill("off", "Chafed lead").fill("password", PASSWORD);
    page.send().await.goes_to("/causes");
    sam.get(paths::Causes).await.says("No longer on it");
    app.user("sue").await.get(paths::Causes).await.is(200).never_says("Put on the list");
}

#[tokio::test]
async fn times_written_down_later_are_never_before_what_they_follow() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = sam
        .get("/units/QHB-412/repairs/new")
        .await
        .fill("thing", "-")
        .fill("at", "2026-03-03T08:00")
        .fill("password", PASSWORD);
    let page = page.send().await.is(422).says("That is still to come");
    let path = page.fill("at", "2026-03-01T08:00").fill("password", PASSWORD).send().await.is(303).location();
    let page = sam
        .get(format!("{path}/close"))
        .await
        .fill("cause", "not known")
        .fill("words", "Looked")
        .fill("at", "2026-03-01T07:00");
    let page = page
        .fill("password", PASSWORD)
        .send()
        .await
        .is(422)
        .says("The repair was opened at 1 Mar 2026 08:00");
    page.fill("at", "2026-03-02T07:00").fill("password", PASSWORD).send().await.goes_to(&path);
    sam.get(&path).await.says("Closed, signed sam, 2 Mar 2026 07:00");
}

#[tokio::test]
async fn a_closing_says_what_failed_when_it_was_last_measured() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let key = app.finding_about("reported", &entry_id(1)).await;
    let path = repair_of_line(&sam, &key).await;
    let measure = async |mohm: &str| {
        let new = sam.get(&path).await.link_to("/units/QHB-412/measurements/new");
        let page = sam.get(format!("{new}&kind=insulation")).await.is(200).fill("object", "power_circuit");
        let page = page.fill("of", "motor 3").fill("ir1_mohm", mohm).fill("temperature", "77");
        page.fill("password", PASSWORD).send().await.is(303);
    };
    let close = format!("{path}/close");
    let warns = "It failed when it was last measured:";
    sam.get(&close).await.never_says(warns);
    measure("0.3").await;
    sam.get(&path).await.says("Insulation resistance, motor 3").says("0.3 MΩ is under 1 MΩ.");
    let page =
        sam.get(&close).await.says(warns).says("Insulation resistance, motor 3: 0.3 MΩ is under 1 MΩ.");
    page.says("Measure it again first, or say in your words why");
    app.minutes_pass(1);
    measure("4").await;
    let page = sam.get(&close).await.says("4 MΩ reaches 1 MΩ.").never_says(warns);
    closing(page, "Chafed lead").send().await.goes_to(&path);
}
