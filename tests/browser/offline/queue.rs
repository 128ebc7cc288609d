//! The queue: sent once and in order, also what an older program left in it; what the book refuses comes back.
use serde_json::{Value, json};

use super::cab::{Cab, asks, reports};
use crate::person::{MOMENT, PATIENCE, Person};

const UNIT: &str = "QHB-423";

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_that_is_lost_on_its_way_files_nothing_twice() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell rings by itself").await;
    crew.signs_here(UNIT).await;
    cab.gate.lose_an_answer();
    cab.gate.restore();
    crew.open("/offline").await;
    crew.reads("Sent from this tablet").await;
    assert!(cab.gate.sends() >= 2, "sent once more, for the first answer never came");
    assert_eq!(cab.waits_for_entries("n.okafor", 1).await.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_left_before_its_key_is_answered_puts_no_second_key_on_record() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    cab.gate.hold_the_answer_to_a_key();
    crew.sign_in("n.okafor").await;
    for _ in 0..PATIENCE {
        if cab.gate.held() {
            break;
        }
        tokio::time::sleep(MOMENT).await;
    }
    crew.open(&format!("/units/{UNIT}")).await;
    crew.is_kept(UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell rings by itself").await;
    crew.signs_here(UNIT).await;
    cab.gate.restore();
    crew.open("/offline").await;
    cab.waits_for_entries("n.okafor", 1).await;
    crew.has_sent_all().await;
    crew.open("/tablets").await;
    crew.reads("Since").await;
    assert_eq!(crew.all("ul.lines button[class~=danger]").await.len(), 1, "{}", crew.text().await);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_book_refuses_comes_back_as_a_draft_with_the_reason() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    let start = [("outcome", "running"), ("test_cock_result", "clear")];
    // No battery on a locomotive shows this: the tablet cannot tell, the book does.
    crew.writes(&format!("/units/{UNIT}/write/engine_start"), &start, &[("battery_rest_v", "660")]).await;
    crew.signs_here(UNIT).await;
    cab.gate.restore();
    crew.open("/offline").await;
    crew.kept_says("The book did not take it: This cannot be").await;
    crew.open("/offline#/units/QHB-423/report").await;
    crew.reads("The book did not take it: This cannot be").await;
    crew.press("Change").await;
    crew.reads("Battery at rest").await;
    assert_eq!(crew.value("battery_rest_v").await, "660", "what was typed is still there");
    crew.fill("battery_rest_v", "66").await;
    crew.press("Write it down").await;
    crew.signs_what_is_shown().await;
    let rows = cab.waits_for_entries("n.okafor", 1).await;
    assert_eq!(rows[0]["detail"]["battery_rest_v"], 66.0);
}

/// What was written without network and not signed goes to the draft on the server. What that does not take waits here,
/// and says why where it waits.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_draft_refuses_says_why_on_the_list() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    let start = [("outcome", "running"), ("test_cock_result", "clear")];
    crew.writes(&format!("/units/{UNIT}/write/engine_start"), &start, &[("battery_rest_v", "660")]).await;
    cab.gate.restore();
    crew.open("/units").await;
    crew.kept_says("QHB 423: Not taken: This cannot be").await;
    let version = "return (await keep.all('drafts'))[0].version";
    let before = asks(&crew, version, json!(null)).await;
    crew.open("/units").await;
    crew.kept_says("QHB 423: Not taken: This cannot be").await;
    assert_eq!(
        asks(&crew, version, json!(null)).await,
        before,
        "tried again, it says the same and is not changed"
    );
    crew.open("/offline#/units/QHB-423/report").await;
    crew.press("Change").await;
    crew.reads("Battery at rest").await;
    crew.fill("battery_rest_v", "66").await;
    crew.press("Write it down").await;
    crew.open("/units").await;
    let left = "return (await keep.all('drafts')).length";
    for _ in 0..crate::person::PATIENCE {
        if asks(&crew, left, json!(null)).await == 0 {
            crew.open("/units/QHB-423/report").await;
            return crew.reads("Engine start").await;
        }
        tokio::time::sleep(crate::person::MOMENT).await;
    }
    panic!("it is taken, and nothing waits here any more: {}", crew.text().await);
}

#[tokio::test(flavor = "multi_thread")]
async fn five_hundred_reports_go_out_once_each_and_in_order() {
    const MANY: usize = 500;
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.driver.set_script_timeout(std::time::Duration::from_secs(120)).await.unwrap();
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    let fill = "const key = await keep.get('keys', 'n.okafor');
        for (let n = 0; n < given; n += 1) {
            const draft = { ...keep.newDraft('n.okafor', `QHB ${n + 1000}`), version: 0 };
            const entry = { id: keep.freshId(), kind: 'defect', at: new Date().toISOString(), text: `Nr ${n}` };
            const report = { id: draft.id, unit: draft.unit, author: 'n.okafor', occasion: 'yard', entries: [entry], signed_at: entry.at };
            if (!(await sending.sign(draft, report, key))) throw new Error('not signed');
        }
        return (await keep.all('queue')).length;";
    assert_eq!(asks(&crew, fill, json!(MANY)).await, json!(MANY));
    cab.gate.restore();
    crew.open("/units").await;
    let mut rows = Vec::new();
    // A busy machine takes its time for each; one that is stuck is not waited for any longer than ten minutes.
    for _ in 0..2_400 {
        rows = cab.filed_by("n.okafor");
        if rows.len() >= MANY {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
    }
    assert_eq!((rows.len(), reports(&rows).len()), (MANY, MANY));
    let recorded = |row: &Value| row["recorded_at"].as_str().unwrap_or_default().to_owned();
    rows.sort_by_key(recorded);
    let order: Vec<_> = rows.iter().map(|row| row["detail"]["text"].as_str().unwrap().to_owned()).collect();
    let wanted: Vec<_> = (0..MANY).map(|n| format!("Nr {n}")).collect();
    assert_eq!(order, wanted);
    cab.house.verifies();
}

/// Records as version 1 of the scripts left them in a tablet. Never change this file: whatever the scripts become, they
/// send it.
const VERSION_1: &str = include_str!("../../data/queue_v1.json");

#[tokio::test(flavor = "multi_thread")]
async fn a_queue_that_the_first_version_left_is_sent_by_this_one() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    let left: Value = serde_json::from_str(VERSION_1).unwrap();
    crew.takes_over("n.okafor", UNIT).await;
    let put = "const made = await fetch('/api/v1/tablet-keys', { method: 'POST', body: JSON.stringify(given.key) });
        if (!made.ok) throw new Error(await made.text());
        for (const record of given.records) await keep.put('queue', record);
        // One of a version that is not ours yet holds nothing up, and stays.
        await keep.put('queue', { ...given.records[0], v: 9 });
        return (await keep.all('queue')).length;";
    assert_eq!(asks(&crew, put, left.clone()).await, json!(3));
    crew.open("/units").await;
    let mut rows = cab.waits_for_entries("n.okafor", 2).await;
    rows.sort_by_key(|row| row["kind"].to_string());
    let texts: Vec<_> =
        rows.iter().map(|row| (row["kind"].as_str().unwrap(), row["device"].as_str())).collect();
    assert_eq!(texts, [("breaker_trip", Some("TC2")), ("defect", None)]);
    let waiting = asks(&crew, "return (await keep.all('queue')).map((one) => one.v)", json!(null)).await;
    assert_eq!(waiting, json!([9]));
}
