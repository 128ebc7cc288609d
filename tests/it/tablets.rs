//! Reports signed by a tablet's key: taken without a session, told of as not confirmed, answered for later.
use axum::{body::Body, http::Request};
use breakerbook::{base::instant::DAY, book::Channel, desk::keep_roster::IssueSchedules, web::paths};
use p256::ecdsa::{Signature, SigningKey, signature::Signer as _};
use serde_json::{Value, json};

use crate::harness::{App, Browser, PASSWORD, entry_id, report};

const KEY: &str = "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c01";

struct Tablet {
    key: SigningKey,
    id: &'static str,
}

impl Tablet {
    fn new(seed: u8) -> Self {
        Self { key: SigningKey::from_slice(&[seed; 32]).unwrap(), id: KEY }
    }

    fn public(&self) -> String {
        hex::encode(self.key.verifying_key().to_sec1_point(false).as_bytes())
    }

    fn record(&self, text: &str, clock: &str) -> Value {
        let signature: Signature = self.key.sign(text.as_bytes());
        json!({"v": 1, "key": self.id, "report": text, "signature": hex::encode(signature.to_bytes()), "clock": clock})
    }

    fn signs(&self, report: &Value) -> Value {
        self.record(&report.to_string(), "2026-03-03T12:00:00Z")
    }
}

/// With what a browser says of a script's request, and no cookie.
async fn post(app: &App, path: &str, body: String, browser: Option<&Browser<'_>>) -> (u16, Value) {
    let request = match browser {
        Some(browser) => browser.request("POST", path),
        None => Request::builder().method("POST").uri(path),
    };
    let request = request.header("sec-fetch-site", "same-origin").body(Body::from(body)).unwrap();
    let page = app.bare(request).await;
    (page.status, serde_json::from_str(&page.body).unwrap_or(Value::Null))
}

async fn send(app: &App, record: &Value) -> (u16, Value) {
    post(app, "/api/v1/signed-reports", record.to_string(), None).await
}

async fn register(app: &App, who: &Browser<'_>, tablet: &Tablet) -> (u16, Value) {
    let body = json!({"key": tablet.id, "public_key": tablet.public()}).to_string();
    post(app, "/api/v1/tablet-keys", body, Some(who)).await
}

fn trip(n: u32) -> Value {
    json!({"id": entry_id(n), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "device": "TC2", "left": "on"})
}

/// ann's tablet, its key on record.
async fn with_key() -> (App, Tablet) {
    let app = App::start().await;
    let tablet = Tablet::new(7);
    let ann = app.user("ann").await;
    let (status, answer) = register(&app, &ann, &tablet).await;
    assert_eq!((status, &answer["until"]), (200, &json!("2026-04-02T12:00:00Z")), "{answer}");
    (app, tablet)
}

#[tokio::test]
async fn a_signed_report_is_taken_once_and_the_same_ever_after() {
    let (app, tablet) = with_key().await;
    let sent = report(1, "QHB 412", "ann", vec![trip(1)]);
    let (status, first) = send(&app, &tablet.signs(&sent)).await;
    assert_eq!(status, 201, "{first}");
    // Signed anew, its bytes in another order: the same report all the same.
    let (status, again) = send(&app, &tablet.signs(&sent)).await;
    assert_eq!((status, &again["receipt"], &again["root"]), (200, &first["receipt"], &first["root"]));
    let mut other = sent.clone();
    other["remarks"] = "something else".into();
    let (status, body) = send(&app, &tablet.signs(&other)).await;
    assert_eq!((status, &body["problems"][0]["code"]), (409, &json!("id_in_use")), "{body}");
    let ann = app.user("ann").await;
    let receipt = ann.get(format!("/reports/{}", first["report"].as_str().unwrap())).await;
    receipt.is(200).says("not confirmed by password").never_says("Clock");
}

#[tokio::test]
async fn nobody_elses_bytes_names_or_keys_are_taken() {
    let (app, tablet) = with_key().await;
    let sent = report(1, "QHB 412", "ann", vec![trip(1)]);
    let mut touched = tablet.signs(&sent);
    touched["report"] = touched["report"].as_str().unwrap().replace("TC2", "TC1").into();
    let stranger = Tablet { id: "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c99", ..Tablet::new(9) };
    let ours_by_name_only = Tablet::new(9);
    let mut newer = tablet.signs(&sent);
    newer["v"] = 2.into();
    for (record, status, says) in [
        (touched, 422, "signature does not belong"),
        (stranger.signs(&sent), 422, "not on record"),
        (ours_by_name_only.signs(&sent), 422, "signature does not belong"),
        (tablet.signs(&report(1, "QHB 412", "ben", vec![trip(1)])), 403, "nobody files as another"),
        (newer, 422, "no queue of version 2"),
        (json!({"v": 1}), 400, "no record of a tablet's queue"),
    ] {
        let (got, answer) = send(&app, &record).await;
        assert_eq!(got, status, "{answer}");
        assert!(answer["problems"][0]["says"].as_str().unwrap().contains(says), "{answer}");
    }
    let token = app.token("sue").await;
    let (_, entries) = app.api(&token, "GET", "/api/v1/entries", None).await;
    assert_eq!(entries, json!([]), "nothing was filed");
}

#[tokio::test]
async fn a_key_is_made_right_after_the_password_and_its_id_is_its_own() {
    let app = App::start().await;
    let (ann, ben) = (app.user("ann").await, app.user("ben").await);
    let tablet = Tablet::new(7);
    assert_eq!(post(&app, "/api/v1/tablet-keys", "{}".into(), None).await.0, 401, "signed in by nobody");
    let bad = json!({"key": KEY, "public_key": "04aa"}).to_string();
    let (status, answer) = post(&app, "/api/v1/tablet-keys", bad, Some(&ann)).await;
    assert_eq!((status, &answer["problems"][0]["path"]), (422, &json!("public_key")), "{answer}");
    assert_eq!(register(&app, &ann, &tablet).await.0, 200);
    assert_eq!(register(&app, &ann, &tablet).await.0, 200, "sent twice, it is on record once");
    assert_eq!(register(&app, &ben, &tablet).await.0, 409, "nobody takes another's key for theirs");
    app.minutes_pass(11);
    let (status, answer) =
        register(&app, &ann, &Tablet { id: "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c02", ..tablet }).await;
    assert_eq!(status, 403, "a session that was left open makes none: {answer}");
}

#[tokio::test]
async fn a_revoked_or_ended_key_signs_no_more() {
    let (app, tablet) = with_key().await;
    let ann = app.user("ann").await;
    send(&app, &tablet.signs(&report(1, "QHB 412", "ann", vec![trip(1)]))).await;
    let ben = app.user("ben").await;
    let path = paths::TabletRevoke(KEY.into());
    ben.post(&path, &[("password", PASSWORD)]).await.is(404);
    ann.post(&path, &[("password", "wrong")]).await.is(422).says("This is not your password");
    ann.post(&path, &[("password", PASSWORD)]).await.goes_to(paths::Tablets);
    let (status, answer) = send(&app, &tablet.signs(&report(2, "QHB 412", "ann", vec![trip(2)]))).await;
    assert_eq!(status, 422, "{answer}");
    assert!(answer["problems"][0]["says"].as_str().unwrap().contains("was revoked"), "{answer}");
    let (status, _) = send(&app, &tablet.signs(&report(1, "QHB 412", "ann", vec![trip(1)]))).await;
    assert_eq!(status, 200, "what is in the book already is answered for");
    let (app, tablet) = with_key().await;
    app.clock.set(app.clock.now().plus(31 * DAY));
    let late = report(1, "QHB 412", "ann", vec![trip(1)]);
    assert_eq!(send(&app, &tablet.signs(&late)).await.0, 201, "signed in its time, sent after it");
    let mut after = report(2, "QHB 412", "ann", vec![trip(2)]);
    after["signed_at"] = "2026-04-03T11:00:00-05:00".into();
    let (status, answer) = send(&app, &tablet.signs(&after)).await;
    assert_eq!(status, 422, "{answer}");
    assert!(answer["problems"][0]["says"].as_str().unwrap().contains("had ended"), "{answer}");
}

#[tokio::test]
async fn at_the_next_sign_in_it_is_confirmed_or_disowned() {
    let (app, tablet) = with_key().await;
    for n in [1, 2] {
        send(&app, &tablet.signs(&report(n, "QHB 412", "ann", vec![trip(n)]))).await;
    }
    let ann = app.anon();
    let signed_in =
        ann.get(paths::SignIn).await.fill("sign_in", "ann").fill("password", PASSWORD).send().await;
    signed_in.goes_to(paths::Tablets);
    ann.get(paths::Units).await.says("2 reports came from your tablet, not confirmed by password");
    let sam = app.user("sam").await;
    sam.get(paths::Triage).await.says("written by ann, signed on a tablet, not confirmed by password");
    let answer = |n: u32| format!("/tablets/reports/00000000-0000-4000-8000-{n:012}/answer");
    let say = |then: &'static str, password: &'static str| {
        [("then", then), ("password", password), ("words", "It lay in the cab")]
    };
    ann.post(answer(1), &say("mine", "wrong")).await.is(422).says("This is not your password");
    app.user("ben").await.post(answer(1), &say("mine", PASSWORD)).await.is(404);
    ann.post(answer(1), &say("mine", PASSWORD)).await.goes_to(paths::Tablets);
    ann.post(answer(2), &say("not_mine", PASSWORD)).await.goes_to(paths::Tablets);
    ann.post(answer(2), &say("mine", PASSWORD)).await.goes_to(paths::Tablets);
    ann.get(paths::Tablets).await.says("Nothing that a tablet signed for you waits");
    let receipt = |n: u32| format!("/reports/00000000-0000-4000-8000-{n:012}");
    ann.get(receipt(1)).await.says("confirmed by password later").never_says("not confirmed");
    // The first word stands, and its own page of the book holds it.
    ann.get(receipt(2)).await.says("they say it is not theirs").says("It lay in the cab");
}

#[tokio::test]
async fn a_tablets_wrong_clock_refuses_nothing_and_both_times_are_told() {
    let (app, tablet) = with_key().await;
    let mut ahead = report(1, "QHB 412", "ann", vec![trip(1)]);
    ahead["entries"][0]["at"] = "2026-03-04T02:00:00-06:00".into();
    ahead["signed_at"] = "2026-03-04T05:14:00-06:00".into();
    let (status, answer) = send(&app, &tablet.record(&ahead.to_string(), "2026-03-04T06:00:00-06:00")).await;
    assert_eq!(status, 201, "{answer}");
    assert!(answer["warnings"].to_string().contains("still in the future"), "{answer}");
    let ann = app.user("ann").await;
    let page = ann.get("/reports/00000000-0000-4000-8000-000000000001").await;
    page.says("The tablet's clock said 4 Mar 2026 06:00")
        .says("came in at 3 Mar 2026 06:00")
        .says("24 h ahead");
}

#[tokio::test]
async fn what_came_from_the_tablet_leaves_the_draft_and_the_rest_stays() {
    let (app, tablet) = with_key().await;
    let ann = app.user("ann").await;
    for text in ["Bell rings by itself", "Horn stays silent"] {
        let form = ann.get("/units/QHB-412/write/defect").await.fill("text", text);
        form.send().await.is(303);
    }
    let (status, unit) = json_of(&ann, "/offline/units/QHB-412").await;
    assert_eq!((status, unit["draft"]["entries"].as_array().unwrap().len()), (200, 2), "{unit}");
    let mut sent = report(1, "QHB 412", "ann", vec![]);
    sent["id"] = unit["draft"]["id"].clone();
    let bell = &unit["draft"]["entries"][0];
    assert_eq!(bell["typed"]["text"], "Bell rings by itself");
    sent["entries"] = json!([{"id": bell["id"], "kind": "defect", "at": "2026-03-03T02:00:00-06:00", "text": "Bell rings by itself"}]);
    assert_eq!(send(&app, &tablet.signs(&sent)).await.0, 201);
    let (_, after) = json_of(&ann, "/offline/units/QHB-412").await;
    let left = after["draft"]["entries"].as_array().unwrap();
    assert_eq!((left.len(), &left[0]["typed"]["text"]), (1, &json!("Horn stays silent")));
    assert_ne!(after["draft"]["id"], sent["id"], "under an id of its own");
    ann.get("/units/QHB-412/report").await.says("Horn stays silent").never_says("Bell rings");
}

/// Signed without network and sent only after the next run was begun: it is the report of the run before.
#[tokio::test]
async fn a_report_that_comes_late_takes_no_unit_out_of_the_next_run() {
    let (app, tablet) = with_key().await;
    let ann = app.user("ann").await;
    let run = ann.get(paths::Run).await.fill("units", "412").fill("run.symbol", "K19");
    run.send().await.goes_to("/run?kept=yes");
    // Signed at 5:14, the run is of 6:00.
    let before = report(1, "QHB 412", "ann", vec![trip(1)]);
    assert_eq!(send(&app, &tablet.signs(&before)).await.0, 201);
    ann.get(paths::Run).await.says("nothing written down yet");
    // Taken up once more at 6:30: what was signed at 6:10 is not about that.
    app.minutes_pass(30);
    ann.get("/units/QHB-412/write/defect").await.fill("text", "Bell rings by itself").send().await.is(303);
    let mut between = report(2, "QHB 412", "ann", vec![trip(2)]);
    between["signed_at"] = "2026-03-03T06:10:00-06:00".into();
    let (status, answer) =
        send(&app, &tablet.record(&between.to_string(), "2026-03-03T06:30:00-06:00")).await;
    assert_eq!(status, 201, "{answer}");
    ann.get(paths::Run).await.says("1 entry written down");
    // A tablet whose clock is an hour behind signs now, whatever it says.
    app.minutes_pass(5);
    let mut last = report(3, "QHB 412", "ann", vec![trip(3)]);
    last["signed_at"] = "2026-03-03T05:33:00-06:00".into();
    let (status, answer) = send(&app, &tablet.record(&last.to_string(), "2026-03-03T05:34:00-06:00")).await;
    assert_eq!(status, 201, "{answer}");
    ann.get(paths::Run).await.says("Begin a run");
}

async fn json_of(who: &Browser<'_>, path: &str) -> (u16, Value) {
    let page = who.get(path).await;
    (page.status, serde_json::from_str(&page.body).unwrap())
}

#[tokio::test]
async fn the_worker_and_its_shell_are_anybodys_and_name_nobody() {
    let app = App::start().await;
    let worker = app.anon().get(paths::Worker).await.is(200);
    assert_eq!(worker.header("content-type"), "text/javascript; charset=utf-8");
    assert_eq!(worker.header("cache-control"), "no-cache", "a new program is found at once");
    assert!(worker.header("content-security-policy").contains("worker-src 'self'"));
    let first = worker.body.lines().next().unwrap();
    for name in breakerbook::web::assets::names() {
        let url = breakerbook::web::assets::url(name);
        // The scripts' common folder stands there once, for a star in the list.
        let starred = url.rsplit_once('/').map(|(_, last)| format!("*{last}"));
        let kept = first.contains(&url) || starred.is_some_and(|starred| first.contains(&starred));
        assert!(kept, "{name} is not kept: {first}");
    }
    let ann = app.user("ann").await.get(paths::Offline).await.is(200);
    assert!(
        !ann.body.contains("Sign out") && !ann.body.contains("ann of the tests"),
        "kept for whoever comes"
    );
    for kind in [
        "breaker_trip",
        "ground_relay",
        "bypass",
        "fuse_check",
        "engine_start",
        "shutdown",
        "defect",
        "position",
    ] {
        assert!(
            ann.body.contains(&format!("<template id=\"t-{kind}\"")),
            "{kind} can be written without network"
        );
    }
    let manifest = app.anon().get(paths::Manifest).await.is(200);
    let manifest: Value = serde_json::from_str(&manifest.body).unwrap();
    assert_eq!((&manifest["start_url"], &manifest["display"]), (&json!("/"), &json!("standalone")));
}

#[tokio::test]
async fn pictures_tell_how_things_stand_and_when() {
    let (app, tablet) = with_key().await;
    send(
        &app,
        &tablet.signs(&report(
            1,
            "QHB 412",
            "ann",
            vec![json!({"id": entry_id(1), "kind": "breaker_trip",
        "at": "2026-03-03T02:00:00-06:00", "device": "TC2", "left": "tripped"})],
        )),
    )
    .await;
    let ann = app.user("ann").await;
    let (_, unit) = json_of(&ann, "/offline/units/QHB-412").await;
    assert_eq!(unit["as_of"], "2026-03-03T12:00:00Z");
    assert!(unit["panel"].as_str().unwrap().contains("?device=TC2"), "{unit}");
    let class = unit["class"].as_str().unwrap();
    let (_, class) = json_of(&ann, &format!("/offline/classes/{class}")).await;
    assert_eq!(
        (&class["devices"]["TC2"]["kind"], &class["devices"]["GRC"]["fits"]),
        (&json!("breaker"), &json!(["bypass", "position"]))
    );
    let (_, area) = json_of(&ann, "/offline/area/QHB-412").await;
    let here = area["units"].as_array().unwrap().iter().find(|u| u["unit"] == "QHB 412").unwrap();
    assert_eq!(here["amiss"], json!(["TC2 tripped"]), "{area}");
    assert!(here["sentence"].as_str().unwrap().contains("Last report"), "{area}");
}

#[tokio::test]
async fn a_class_issued_anew_or_a_unit_renumbered_meanwhile_strands_no_queue() {
    let (app, tablet) = with_key().await;
    let mut schedule = crate::roster::schedule();
    schedule.devices.retain(|device| device.tag.as_str() != "TC2");
    schedule.effective = app.clock.now();
    let issue = IssueSchedules::of(vec![schedule], None, Channel::Console);
    app.web.desk().act(issue).await.unwrap();
    // What happened before is held against the schedule of its time.
    let (status, answer) = send(&app, &tablet.signs(&report(1, "QHB 412", "ann", vec![trip(1)]))).await;
    assert_eq!(status, 201, "{answer}");
    let mut later = trip(2);
    later["at"] = "2026-03-03T06:30:00-06:00".into();
    let (status, answer) = send(&app, &tablet.signs(&report(2, "QHB 412", "ann", vec![later]))).await;
    assert_eq!((status, &answer["problems"][0]["code"]), (422, &json!("unknown_device")), "{answer}");
    // Under a number that the roster has no more: kept and marked.
    let (status, answer) = send(&app, &tablet.signs(&report(3, "QHB 999", "ann", vec![trip(3)]))).await;
    assert_eq!(status, 201, "{answer}");
    assert!(answer["warnings"].to_string().contains("not on the roster"), "{answer}");
}
