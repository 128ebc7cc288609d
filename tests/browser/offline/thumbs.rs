//! What a cold thumb does without network: taps twice, reloads, signs out, writes about a unit that nobody knows.
use serde_json::json;

use super::cab::{Cab, asks, reports};
use crate::person::{PATIENCE, Person, password};

const UNIT: &str = "QHB-423";

#[tokio::test(flavor = "multi_thread")]
async fn a_second_tap_signs_nothing_more_and_says_nothing_wrong() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.rings(UNIT, "Bell").await;
    crew.tap("input[name=occasion][value=yard]").await;
    crew.tap("#shell input[name=signature]").await;
    let twice = "const key = document.querySelector('#shell form .button.first'); key.click(); key.click(); return true";
    assert_eq!(crew.script(twice).await, true);
    crew.reads("Waiting to be sent").await;
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    let text = crew.text().await;
    assert!(text.contains("Waiting to be sent") && !text.contains("another tab"), "{text}");
    let counts = text.lines().filter(|line| line.trim().parse::<u32>().is_ok()).count();
    assert_eq!(counts, 0, "a bare number under a list says nothing: {text}");
    cab.gate.restore();
    crew.open("/units").await;
    assert_eq!(reports(&cab.waits_for_entries("n.okafor", 1).await).len(), 1);
}

/// A page that takes long to be put together comes after the one that was asked for later.
#[tokio::test(flavor = "multi_thread")]
async fn of_two_links_tapped_at_once_the_second_one_stays() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.open("/units").await;
    crew.reads("Units opened on this tablet").await;
    let both = format!(
        "const link = (href) => {{ const a = document.createElement('a'); a.href = href; document.getElementById('shell').append(a); return a; }};
         const [first, second] = [link('/units/{UNIT}/report'), link('/run')]; first.click(); second.click(); return true"
    );
    assert_eq!(crew.script(&both).await, true);
    crew.waits_for("/run").await;
    // The first one's page is there by then, or has been and gone.
    let settled = "return Promise.all(['/offline/units/QHB-423', '/offline/run'].map((path) => fetch(path).then((a) => a.text())))
        .then(() => new Promise((done) => setTimeout(() => done(true), 1000)))";
    assert_eq!(crew.script(settled).await, true);
    let text = crew.text().await;
    assert!(text.contains("Train symbol") && !text.contains("End-of-trip report"), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_that_is_not_complete_is_no_entry_after_a_reload() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.open(&format!("/units/{UNIT}/write/defect")).await;
    crew.tap("input[name=system][value=cab]").await;
    crew.press("Write it down").await;
    crew.reads("Has to be answered.").await;
    crew.driver.refresh().await.unwrap();
    crew.reads("Something else is wrong").await;
    let kept = asks(&crew, "return (await keep.all('drafts')).length", json!(null)).await;
    assert_eq!(kept, json!(0), "nobody wrote it down");
    let system = "return document.querySelector('[name=system]:checked')?.value ?? ''";
    assert_eq!(crew.script(system).await, "cab", "what was tapped is still there");
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_is_signed_out_where_nobody_can_sign_in() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.open(&format!("/units/{UNIT}")).await;
    crew.reads("No network. The book as it stood").await;
    for _ in 0..2 {
        crew.press("Sign out").await;
        crew.kept_says("Signing out needs the network").await;
    }
    crew.rings(UNIT, "Bell").await;
    crew.signs_here(UNIT).await;
    cab.gate.restore();
    crew.open("/units").await;
    cab.waits_for_entries("n.okafor", 1).await;
    crew.sign_out().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_thousand_letters_about_a_unit_that_nobody_knows_get_through() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    cab.gate.cut();
    crew.open("/units").await;
    crew.reads("Units opened on this tablet").await;
    crew.fill("q", "zz-0099").await;
    crew.press("Write about it").await;
    crew.waits_for("/units/ZZ-99/write").await;
    crew.reads("Nothing of it is kept on this tablet.").await;
    let story = "It rings, it stops, it rings. ".repeat(67)[..2_000].trim().to_owned();
    crew.rings("ZZ-99", &story).await;
    crew.signs_here("ZZ-99").await;
    cab.gate.restore();
    crew.open("/units").await;
    let rows = cab.waits_for_entries("n.okafor", 1).await;
    assert_eq!(
        (rows[0]["unit"].as_str(), rows[0]["detail"]["text"].as_str()),
        (Some("ZZ 99"), Some(&*story))
    );
}

/// With network: what is typed in a report stands beside the draft as it is now.
#[tokio::test(flavor = "multi_thread")]
async fn writing_something_more_is_no_other_tab() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.sign_in("n.okafor").await;
    let report = format!("/units/{UNIT}/report");
    crew.open(&report).await;
    crew.choose("occasion", "yard").await;
    crew.press("Position, weather, consist, remarks").await;
    crew.fill("remarks", "Cold cab.").await;
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    crew.open(&format!("/units/{UNIT}/write/defect")).await;
    crew.fill("text", "Bell").await;
    crew.press("Write it down").await;
    crew.waits_for(&report).await;
    crew.open(&report).await;
    crew.reads("Bell").await;
    for _ in 0..PATIENCE {
        if crew.value("remarks").await == "Cold cab." {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert_eq!(crew.value("remarks").await, "Cold cab.", "it is still there");
    crew.fill("password", password("n.okafor")).await;
    crew.press("Sign and file").await;
    crew.waits_for("/reports/").await;
    crew.reads("Cold cab.").await;
}
