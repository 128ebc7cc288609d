//! The page without network, and what a tablet signed, with the keyboard alone.
use thirtyfour::{By, Key};

use super::cab::Cab;
use crate::{
    keys::Keys,
    person::{Person, password},
};

#[tokio::test(flavor = "multi_thread")]
async fn without_network_it_goes_by_keyboard_alone_and_so_does_confirming() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.screen(1280).await;
    crew.takes_over("n.okafor", "QHB-412").await;
    cab.gate.cut();
    crew.open("/units").await;
    let keys = Keys { crew: &crew };
    begins_a_run(&keys).await;
    writes_a_trip(&keys).await;
    sends_it_at_once(&keys).await;
    walks_the_brakes(&keys).await;
    closes_the_run(&keys).await;
    cab.gate.restore();
    keys.enters("[data-do=send]").await;
    cab.waits_for_entries("n.okafor", 1).await;
    crew.open("/sign-in").await;
    keys.fills("#f-sign_in", "n.okafor").await;
    keys.fills("#f-password", password("n.okafor")).await;
    keys.press(Key::Enter).await;
    crew.waits_for("/tablets").await;
    confirms_and_disowns(&keys).await;
    cab.house.verifies();
}

async fn begins_a_run(keys: &Keys<'_, '_>) {
    keys.follow("#shell a[href='/run']", "/run").await;
    // Whoever hears the page is told that there is another.
    assert_eq!(keys.crew.script("return document.activeElement.id").await, "shell");
    keys.fills("[name=units]", "412").await;
    keys.fills("[name='run.symbol']", "K17").await;
    keys.press(Key::Enter).await;
    keys.crew.reads("Close the run").await;
}

async fn writes_a_trip(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units/QHB-412/write']", "/units/QHB-412/write").await;
    keys.follow("a[href$='/write/breaker_trip']", "/units/QHB-412/write/breaker_trip").await;
    keys.follow("a.device[href$='device=TC2']", "/units/QHB-412/write/breaker_trip?device=TC2").await;
    keys.chooses("signs", 0).await;
    keys.chooses("resets[0].result", 0).await;
    keys.chooses("left", 2).await;
    keys.fills("[name=note]", "With the keys").await;
    keys.enters("#shell form .button.first").await;
    keys.crew.waits_for("/units/QHB-412/report").await;
    keys.crew.reads("With the keys").await;
}

async fn sends_it_at_once(keys: &Keys<'_, '_>) {
    keys.enters("a[href$='/send']").await;
    keys.crew.reads("Send this now: QHB 412").await;
    keys.chooses("occasion", 1).await;
    keys.chooses("signature", 0).await;
    keys.enters("#shell form .button.first").await;
    keys.crew.reads("End-of-trip report for QHB 412").await;
}

async fn walks_the_brakes(keys: &Keys<'_, '_>) {
    keys.crew.open("/units/QHB-412/start-check").await;
    keys.crew.reads("Start check: QHB 412").await;
    keys.enters("#shell a[href$='for=brake_set_up']").await;
    keys.crew.reads("Brake set-up: QHB 412").await;
    keys.tab_to("#shell form input[type=radio]").await;
    keys.press(Key::Space).await;
    keys.enters("#shell form .button.first").await;
    keys.crew.reads("Brake set-up: QHB 412").await;
}

async fn closes_the_run(keys: &Keys<'_, '_>) {
    keys.crew.open("/run").await;
    keys.enters("#shell a[href='/run/close']").await;
    keys.crew.reads("nothing to report").await;
    keys.chooses("occasion", 1).await;
    keys.chooses("signature", 0).await;
    keys.enters("#shell form .button.first").await;
    keys.crew.reads("Waiting to be sent").await;
    keys.crew.find(By::Css("[data-do=send]")).await;
}

async fn confirms_and_disowns(keys: &Keys<'_, '_>) {
    keys.fills("section input[type=password]", password("n.okafor")).await;
    keys.enters("section button[value=mine]").await;
    keys.crew.reads("Tablets").await;
    keys.fills("section input[type=password]", password("n.okafor")).await;
    keys.enters("section button[value=not_mine]").await;
    keys.crew.reads("Nothing that a tablet signed for you waits").await;
    keys.fills("ul.lines input[type=password]", password("n.okafor")).await;
    keys.enters("ul.lines button.danger").await;
    keys.crew.reads("None is on record for you").await;
}
