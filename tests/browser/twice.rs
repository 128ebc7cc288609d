//! Done twice by mistake, left too long, or done in two windows: nothing is filed twice and nothing is lost.
use serde_json::Value;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

const UNIT: &str = "QHB 423";

#[tokio::test(flavor = "multi_thread")]
async fn going_back_and_pressing_twice_files_once() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    let before = reports(&house);
    crew.sign_in("n.okafor").await;
    crew.open("/units/QHB-423/report").await;
    crew.choose("occasion", "yard").await;
    crew.choose("cutout.GRC", "closed_broken").await;
    crew.fill("password", password("n.okafor")).await;
    // Two clicks before the first has been answered.
    crew.script(
        "const b = [...document.querySelectorAll('main form .button.first')].pop(); b.click(); b.click();",
    )
    .await;
    crew.waits_for("/reports/").await;
    let receipt = crew.path().await;
    assert_eq!(reports(&house), before + 1, "two quick clicks file once");
    crew.goes_back_to_what_was_signed(&receipt).await;
    assert_eq!(reports(&house), before + 1, "and files nothing new");
    house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn going_back_without_scripts_signs_nothing_more() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::Off).await;
    let crew = Person::at(&chromium, &house);
    crew.sign_in("n.okafor").await;
    crew.open("/units/QHB-423/report").await;
    crew.choose("occasion", "yard").await;
    crew.choose("cutout.GRC", "closed_broken").await;
    crew.fill("password", password("n.okafor")).await;
    crew.press_first().await;
    crew.waits_for("/reports/").await;
    let receipt = crew.path().await;
    crew.driver.back().await.unwrap();
    crew.waits_for("/units/QHB-423/report").await;
    // A browser may show the page as it kept it, and asks nobody: signed once more, it leads to what was signed.
    if !crew.all("input[type=password]").await.is_empty() {
        crew.fill("password", password("n.okafor")).await;
        crew.press_first().await;
        crew.reads("In the book").await;
        assert_eq!(crew.path().await, receipt);
    }
    crew.open("/units/QHB-423/report").await;
    crew.reads("You signed a report for QHB 423, with 1 entry").await;
    assert_eq!(reports(&house), 1);
}

impl Person<'_> {
    /// No empty form stands there: it would be signed as 'nothing to report'.
    async fn goes_back_to_what_was_signed(&self, receipt: &str) {
        self.driver.back().await.unwrap();
        self.waits_for("/units/QHB-423/report").await;
        self.reads("You signed a report for QHB 423, with 1 entry").await;
        assert!(self.all("input[type=password]").await.is_empty(), "nothing is to be signed");
        self.press("Receipt").await;
        self.reads("In the book").await;
        assert_eq!(self.path().await, receipt);
    }
}

fn reports(house: &House) -> usize {
    let of_unit = |row: &Value| row["unit"] == UNIT && row["author"] == "n.okafor";
    let mut ids: Vec<_> =
        house.rows("entries").iter().filter(|r| of_unit(r)).map(|r| r["report"].to_string()).collect();
    ids.sort();
    ids.dedup();
    ids.len()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_window_is_told_and_loses_nothing() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.sign_in("n.okafor").await;
    crew.open("/units/QHB-423/report").await;
    crew.choose("occasion", "yard").await;
    crew.press("Position, weather, consist, remarks").await;
    crew.fill("remarks", "Typed in the first window").await;
    let first = crew.driver.window().await.unwrap();
    let second = crew.driver.new_tab().await.unwrap();
    crew.driver.switch_to_window(second).await.unwrap();
    crew.open("/units/QHB-423/write/defect").await;
    crew.fill("text", "Bell rings by itself").await;
    crew.press("Write it down").await;
    crew.waits_for("/units/QHB-423/report").await;
    crew.driver.switch_to_window(first).await.unwrap();
    crew.fill("password", password("n.okafor")).await;
    crew.press_first().await;
    crew.reads("Your draft was changed in another tab").await;
    crew.reads("Bell rings by itself").await;
    assert_eq!(crew.value("remarks").await, "Typed in the first window");
    assert_eq!(reports(&house), 0, "nothing was filed");
    crew.fill("password", password("n.okafor")).await;
    crew.press_first().await;
    crew.waits_for("/reports/").await;
    crew.reads("Bell rings by itself").await;
    assert_eq!(reports(&house), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_outlives_its_session_for_the_same_person_only() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.sign_in("n.okafor").await;
    crew.open("/units/QHB-423/write/defect").await;
    crew.fill("text", "Bell rings by itself").await;
    crew.session_ends().await;
    crew.press("Write it down").await;
    crew.waits_for("/sign-in").await;
    crew.reads("What you typed is kept for 24 hours").await;
    crew.sign_in_here("i.trelfa").await;
    crew.open("/kept").await;
    assert!(!crew.text().await.contains("Bell rings"), "another person sees nothing of it");
    crew.sign_out().await;
    crew.sign_in("n.okafor").await;
    crew.waits_for("/kept").await;
    crew.reads("Bell rings by itself").await;
    crew.press("Send it on").await;
    crew.waits_for("/units/QHB-423/report").await;
    crew.reads("Bell rings by itself").await;
    crew.open("/kept").await;
    crew.reads("Nothing is kept for you.").await;
}

/// A browser keeps no answer to a form, and asks its cache alone when somebody goes back to one: that is no lack of network.
#[tokio::test(flavor = "multi_thread")]
async fn going_back_to_a_form_that_came_back_is_no_lack_of_network() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let desk = Person::at(&chromium, &house);
    desk.sign_in("m.ruiz").await;
    desk.script("return navigator.serviceWorker.ready.then(() => true)").await;
    desk.open("/authorisations/new").await;
    desk.fill("person", "n.okafr").await;
    desk.press_first().await;
    desk.reads("Did you mean n.okafor?").await;
    desk.open("/units").await;
    let _ = desk.driver.back().await;
    desk.waits_for("/authorisations/new").await;
    // The browser asks whether to send it again; said yes, it is there as it was.
    let _ = desk.driver.refresh().await;
    desk.reads("Did you mean n.okafor?").await;
    assert_eq!(desk.value("person").await, "n.okafr");
}

/// What was typed before a slip was put right stays nowhere: it would fill in the next form, with the ids of the first.
#[tokio::test(flavor = "multi_thread")]
async fn a_slip_that_was_put_right_leaves_nothing_for_the_next_form() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let shop = Person::at(&chromium, &house);
    shop.sign_in("r.dunmore").await;
    for (typed, then, says) in [("o.2", "0.2", "0.2 M\u{3a9} is under"), ("", "5", "5 M\u{3a9} reaches")] {
        shop.open("/units/QHB-430/measurements/new?kind=insulation").await;
        assert_eq!(shop.value("ir1_mohm").await, "");
        shop.choose("object", "power_circuit").await;
        shop.fill("temperature", "77").await;
        shop.fill("ir1_mohm", typed).await;
        if typed == "o.2" {
            shop.fill("password", password("r.dunmore")).await;
            shop.press("Sign as r.dunmore").await;
            shop.reads("is no number").await;
        }
        shop.fill("ir1_mohm", then).await;
        shop.fill("password", password("r.dunmore")).await;
        shop.press("Sign as r.dunmore").await;
        shop.reads(says).await;
    }
    for (n, kind) in ["daily", "mechanical_daily"].into_iter().enumerate() {
        shop.open("/units/QHB-430/inspections").await;
        assert_eq!(shop.value("place").await, "");
        shop.choose("kind", kind).await;
        shop.fill("place", &format!("Track {n}")).await;
        shop.fill("conditions", "none").await;
        shop.fill("password", password("r.dunmore")).await;
        shop.press("Sign as r.dunmore").await;
        shop.reads(&format!("Track {n}. Conditions: none")).await;
    }
    let crew = shop;
    crew.sign_out().await;
    crew.sign_in("n.okafor").await;
    let trip = "/units/QHB-423/write/breaker_trip?device=TC2";
    crew.open(trip).await;
    let first = crew.value("entry").await;
    crew.press("Write it down").await;
    crew.reads("Not kept yet").await;
    crew.choose("left", "off").await;
    crew.press("Write it down").await;
    crew.reads("Written down").await;
    crew.open(trip).await;
    let kept = crew.script("return new Promise(done => setTimeout(() => done(document.querySelector('[name=entry]').value), 1500))").await;
    assert_ne!(kept.as_str(), Some(first.as_str()), "another trip would take the first one's place");
}
