//! In the shop, on a clock that the test moves: from a burst line to a repair that did not hold, and one that silence proves.
use breakerbook::{
    base::{Instant, SignIn, instant::DAY, zone::Day},
    book::Channel,
    desk::{
        Desk,
        reports::{FileReport, Filer},
        verify::{Verdict, verify},
    },
};
use serde_json::{Value, json};

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

const ME: &str = "r.dunmore";

/// A report of a run that has just ended, filed by a program as its crew.
async fn files(desk: &Desk, n: u32, unit: &str, entries: Vec<Value>) {
    let now = desk.clock().now();
    let began = now.minus(DAY / 24);
    let report = json!({"id": format!("00000000-0000-4000-8000-{n:012}"), "unit": unit, "author": "n.okafor",
        "run": {"symbol": "K9", "started": began.to_z(), "ended": now.to_z()}, "entries": entries, "signed_at": now.to_z()});
    let filer = Filer { by: Some(SignIn::from("n.okafor")), channel: Channel::Token };
    let read = FileReport::read(report.to_string().as_bytes(), &filer, &desk.world(), now);
    desk.act(read.unwrap_or_else(|why| panic!("{why:?}"))).await.unwrap();
}

async fn seen_closed(desk: &Desk, n: u32, unit: &str) {
    let at = desk.clock().now().minus(DAY / 48).to_z();
    let seen = json!({"id": format!("00000000-0000-4000-9000-{n:012}"), "kind": "position", "at": at, "device": "GRC", "seen": "closed"});
    files(desk, n, unit, vec![seen]).await;
}

async fn signs(somebody: &Person<'_>, button: &str) {
    somebody.fill("password", password(ME)).await;
    somebody.press(button).await;
}

/// From the line to an open repair; its address.
async fn opens_a_repair(shop: &Person<'_>, line: &str) -> String {
    shop.open("/triage?rule=burst").await;
    shop.tap(line).await;
    shop.reads("The entries it rests on").await;
    shop.press("Open a repair").await;
    shop.fill("words", "Look at the leads first").await;
    signs(shop, &format!("Open the repair, signed {ME}")).await;
    shop.waits_for("/repairs/").await;
    shop.reads("Look at the leads first").await;
    shop.path().await
}

async fn closes(shop: &Person<'_>, repair: &str) {
    shop.open(repair).await;
    shop.fill("words", "Lead chafed at the clamp, dressed clear and sleeved").await;
    shop.fill("parts", "one sleeve").await;
    signs(shop, "Sign this step").await;
    shop.reads("signed r.dunmore").await;
    shop.press("Close the repair").await;
    shop.reads("Lead chafed at the clamp").await;
    shop.fill("another", "Chafed lead").await;
    shop.choose("replaced", "no").await;
    signs(shop, &format!("Close the repair, signed {ME}")).await;
    shop.reads("on trial").await;
    shop.reads("Chafed lead").await;
}

/// The power circuit at 77 °F by the form that the repair leads to; back at the repair.
async fn meggers(shop: &Person<'_>, repair: &str, mohm: &str, verdict: &str) {
    shop.open(repair).await;
    shop.press("Write down a measurement").await;
    shop.tap("a[href*=\"kind=insulation\"]").await;
    shop.choose("object", "power_circuit").await;
    shop.fill("ir1_mohm", mohm).await;
    shop.fill("temperature", "77").await;
    signs(shop, &format!("Sign as {ME}")).await;
    shop.reads(&format!("{mohm} M\u{3a9} at 77 \u{b0}F")).await;
    shop.reads(verdict).await;
    shop.press("The repair").await;
    shop.waits_for(repair).await;
    shop.reads("Look at the leads first").await;
}

/// What the repair's page lists as measured, each beside the way to its arithmetic.
async fn verdicts(shop: &Person<'_>) -> Vec<String> {
    let mut all = Vec::new();
    for word in shop.all("main a[href*=\"/measurements/\"]:not([href*=\"/new\"]) + .word").await {
        all.push(word.text().await.unwrap());
    }
    all
}

/// `22 February 2027` in a sentence.
fn day_in(text: &str) -> Day {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let (_, rest) = text.split_once("Silence proves it on ").unwrap_or_else(|| panic!("no day in {text}"));
    let words: Vec<&str> = rest.split_whitespace().take(3).collect();
    let month = MONTHS.iter().position(|month| *month == words[1]).unwrap() + 1;
    Day::parse(&format!("{}-{month:02}-{:0>2}", words[2], words[0])).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn from_a_burst_line_to_a_repair_that_did_not_hold() {
    let (house, desk) = House::with_a_clock().await;
    let chromium = Chromium::start(Scripts::Off).await;
    let shop = Person::at(&chromium, &house);
    shop.screen(390).await;
    shop.sign_in(ME).await;
    shop.open("/units/QHB-412/hold").await;
    shop.choose("reason", "repair").await;
    shop.fill("words", "TC2 again").await;
    signs(&shop, &format!("Hold QHB 412, signed {ME}")).await;
    shop.reads("Held since").await;
    let repair = opens_a_repair(&shop, "a.whole[href*=\"burst\"][href*=\"412\"]").await;
    shop.open("/triage?unit=QHB+412&rule=burst").await;
    shop.reads("in repair").await;
    shop.open("/units/QHB-412/release").await;
    shop.reads("Repairs still open").await;
    shop.choose("how", "into_service").await;
    shop.fill("checked", "Nothing yet").await;
    signs(&shop, &format!("Release QHB 412, signed {ME}")).await;
    shop.reads("It was not released.").await;
    shop.reads("nobody said why").await;
    meggers(&shop, &repair, "0.4", "FAIL").await;
    assert_eq!(verdicts(&shop).await, ["FAIL"]);
    meggers(&shop, &repair, "12", "pass").await;
    assert_eq!(verdicts(&shop).await, ["FAIL", "pass"]);
    closes(&shop, &repair).await;
    shop.reads("Silence proves it on ").await;
    seen_closed(&desk, 1, "QHB 412").await;
    shop.open("/units/QHB-412/release").await;
    shop.choose("how", "into_service").await;
    shop.fill("checked", "Breakers on, cutout closed and sealed, tried under load").await;
    signs(&shop, &format!("Release QHB 412, signed {ME}")).await;
    shop.reads("The shop does not hold it.").await;
    shop.reads("Released into service").await;
    shop.open("/triage?unit=QHB+412&rule=burst").await;
    shop.reads("No line for what you asked for.").await;
    shop.sign_out().await;

    for day in 1..=4 {
        desk.clock().set(desk.clock().now().plus(DAY));
        let now = desk.clock().now();
        let trip = |n: u32, at: Instant| {
            json!({"id": format!("00000000-0000-4000-9000-{n:012}"), "kind": "breaker_trip", "device": "TC2", "left": "on",
                "at": at.to_z()})
        };
        // It comes back on the fourth day, and again before the day is over.
        let entries = if day == 4 { vec![trip(98, now), trip(99, now.plus(-DAY / 12))] } else { vec![] };
        files(&desk, 10 + day, "QHB 412", entries).await;
    }
    shop.sign_in(ME).await;
    shop.open("/triage?unit=QHB+412&rule=did_not_hold").await;
    shop.reads("Repair closed").await;
    shop.open(&repair).await;
    shop.reads("did not hold").await;
    assert_eq!(shop.text().await.matches("on trial").count(), 0);
    assert!(matches!(verify(house.path()).await.unwrap(), Verdict::Clean { .. }));
}

#[tokio::test(flavor = "multi_thread")]
async fn silence_proves_a_repair_on_the_day_that_its_page_says() {
    let (house, desk) = House::with_a_clock().await;
    let chromium = Chromium::start(Scripts::Off).await;
    let shop = Person::at(&chromium, &house);
    shop.screen(1280).await;
    shop.sign_in(ME).await;
    let repair = opens_a_repair(&shop, "a.whole[href*=\"burst\"][href*=\"412\"]").await;
    closes(&shop, &repair).await;
    let proved = day_in(&shop.text().await);
    shop.sign_out().await;
    let zone = desk.world().railway.zone.clone();
    let on = zone.start_of(proved);
    assert!(desk.clock().now().plus(20 * DAY) < on, "some days to wait");
    // In service and reported on all the while.
    let mut n = 100;
    while desk.clock().now().plus(6 * DAY) < on {
        desk.clock().set(desk.clock().now().plus(6 * DAY));
        files(&desk, n, "QHB 412", vec![]).await;
        n += 1;
    }
    let sees = async |at: Instant, word: &str, day: bool| {
        desk.clock().set(at);
        shop.sign_in(ME).await;
        shop.open(&repair).await;
        shop.reads(&format!(": {word}")).await;
        assert_eq!(shop.text().await.contains("Silence proves it on"), day);
        shop.sign_out().await;
    };
    sees(on.minus(1), "on trial", true).await;
    sees(on, "held", false).await;
}
