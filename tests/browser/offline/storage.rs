//! What a tablet keeps, and what it says where it can keep nothing.
use serde_json::{Value, json};

use super::cab::{Cab, asks};
use crate::person::{PATIENCE, Person};

const UNIT: &str = "QHB-423";

#[tokio::test(flavor = "multi_thread")]
async fn two_tabs_of_one_draft_sign_it_once() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell").await;
    let first = crew.driver.window().await.unwrap();
    let second = crew.driver.new_tab().await.unwrap();
    crew.driver.switch_to_window(second.clone()).await.unwrap();
    crew.open(&format!("/units/{UNIT}/report")).await;
    crew.reads("Bell").await;
    // The first tab writes more: what the second shows is old.
    crew.driver.switch_to_window(first.clone()).await.unwrap();
    crew.rings(UNIT, "Horn").await;
    crew.driver.switch_to_window(second).await.unwrap();
    crew.signs_what_is_shown().await;
    crew.reads("changed or signed in another tab meanwhile").await;
    crew.reads("Horn").await;
    crew.signs_what_is_shown().await;
    crew.reads("Waiting to be sent").await;
    // The first tab still shows it unsigned.
    crew.driver.switch_to_window(first).await.unwrap();
    crew.signs_what_is_shown().await;
    crew.reads("changed or signed in another tab meanwhile").await;
    cab.gate.restore();
    crew.open("/units").await;
    let rows = cab.waits_for_entries("n.okafor", 2).await;
    assert_eq!(super::cab::reports(&rows).len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_outlives_the_browser_before_it_is_sent() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    let form = format!("/units/{UNIT}/write/defect");
    crew.open(&form).await;
    crew.tap("input[name=system][value=cab]").await;
    crew.fill("text", "Heater blows cold").await;
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    crew.browser_is_killed().await;
    drop(chromium);
    cab.gate.cut();
    // Typed on a page of the server's, it stands in the one without network.
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.open(&form).await;
    crew.reads("Something else is wrong").await;
    assert_eq!(crew.value("text").await, "Heater blows cold");
    crew.press("Write it down").await;
    crew.waits_for(&format!("/units/{UNIT}/report")).await;
    // Not signed: with the network it goes to the draft on the server.
    cab.gate.restore();
    // A cookie of the last half minute did not survive the flat battery.
    crew.sign_in("n.okafor").await;
    for _ in 0..PATIENCE {
        if asks(&crew, "return (await keep.all('drafts')).length", json!(null)).await == 0 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    crew.open(&format!("/units/{UNIT}/report")).await;
    crew.reads("Heater blows cold").await;
    crew.sees("main form input[name=password]").await;
    let left = asks(&crew, "return (await keep.all('drafts')).length", json!(null)).await;
    assert_eq!(left, json!(0));
}

#[tokio::test(flavor = "multi_thread")]
async fn who_signs_out_with_something_waiting_is_told_and_finds_it_again() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell").await;
    crew.signs_here(UNIT).await;
    cab.gate.fail(1_000);
    cab.gate.restore();
    crew.open(&format!("/units/{UNIT}")).await;
    crew.kept_says("1 report signed on this tablet").await;
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    crew.press("Sign out").await;
    crew.kept_says("1 report of yours stay on this tablet, kept for you").await;
    crew.press("Sign out").await;
    crew.waits_for("/sign-in").await;
    crew.sign_in("a.lind").await;
    crew.kept_says("1 report of somebody else on this tablet").await;
    crew.sign_out().await;
    crew.sign_in("n.okafor").await;
    crew.kept_says("1 report signed on this tablet, waiting to be sent").await;
    cab.gate.fail(0);
    crew.open("/units").await;
    cab.waits_for_entries("n.okafor", 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_storage_is_said_and_loses_nothing_that_was_kept() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell").await;
    crew.signs_here(UNIT).await;
    // This Chromium enforces no quota that DevTools sets, so what it throws is thrown for it.
    let full =
        "IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); };";
    let id = crew.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": full})).await;
    crew.open(&format!("/units/{UNIT}/write/defect")).await;
    crew.kept_says("This tablet's storage is full").await;
    crew.fill("text", "Horn").await;
    crew.press("Write it down").await;
    crew.kept_says("This tablet's storage is full").await;
    assert_eq!(crew.value("text").await, "Horn", "it stays on the page for whoever copies it on paper");
    crew.devtools("Page.removeScriptToEvaluateOnNewDocument", id).await;
    cab.gate.restore();
    crew.open("/units").await;
    cab.waits_for_entries("n.okafor", 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn where_nothing_can_be_kept_the_page_says_so_at_once() {
    let cab = Cab::new().await;
    // A private window of a browser that gives it no storage.
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    let none = "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };";
    crew.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": none})).await;
    crew.sign_in("n.okafor").await;
    crew.open(&format!("/units/{UNIT}/write")).await;
    crew.kept_says("This browser keeps nothing").await;
    drop(chromium);
    // Plain http under another name than localhost.
    let mut cab = Cab::new().await;
    let chromium = cab.browser_with(&["--host-resolver-rules=MAP book.test 127.0.0.1"]).await;
    cab.house.url = cab.house.url.replace("127.0.0.1", "book.test");
    let crew = Person::at(&chromium, &cab.house);
    crew.sign_in("n.okafor").await;
    crew.open(&format!("/units/{UNIT}/write")).await;
    crew.kept_says("is not HTTPS: nothing is kept on this tablet").await;
    crew.writes(&format!("/units/{UNIT}/write/defect"), &[("system", "cab")], &[("text", "Heater")]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_a_day_wrong_is_said_and_both_times_are_kept() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    let ahead = "const real = Date.now, day = 86400000; const D = Date;
        Date = class extends D { constructor(...a) { a.length ? super(...a) : super(real() + day); } static now() { return real() + day; } };";
    crew.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": ahead})).await;
    crew.takes_over("n.okafor", UNIT).await;
    crew.kept_says("This tablet's clock is 24 h ahead: set it").await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell").await;
    crew.signs_here(UNIT).await;
    cab.gate.restore();
    crew.open("/offline").await;
    let rows: Vec<Value> = cab.waits_for_entries("n.okafor", 1).await;
    crew.open(&format!("/reports/{}", rows[0]["report"].as_str().unwrap())).await;
    crew.reads("it was 24 h ahead. Its times are as the tablet had them").await;
}
