//! The page without network, and what a tablet signed, with the keyboard alone.
use thirtyfour::{By, Key};

use super::cab::Cab;
use crate::{
    keys::Keys,
    person::{MOMENT, PATIENCE, Person, password},
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
    // With the focus on it first: as soon as there is network the queue goes by itself, and the button with it.
    keys.tab_to("[data-do=send]").await;
    cab.gate.restore();
    keys.press(Key::Enter).await;
    cab.waits_for_entries("n.okafor", 1).await;
    // The second report has no entry: whoever leaves the page before it is sent is not asked about it.
    crew.has_sent_all().await;
    crew.open("/sign-in").await;
    keys.fills("#f-sign_in", "n.okafor").await;
    keys.fills("#f-password", password("n.okafor")).await;
    keys.press(Key::Enter).await;
    crew.waits_for("/tablets").await;
    confirms_and_disowns(&keys).await;
    cab.house.verifies();
}

/// The shell's pages come a moment after their addresses.
async fn goes(keys: &Keys<'_, '_>, css: &str, says: &str) {
    keys.enters(css).await;
    keys.crew.reads(says).await;
}

async fn begins_a_run(keys: &Keys<'_, '_>) {
    goes(keys, "#shell a[href='/run']", "Units and train").await;
    // Whoever hears the page is told that there is another.
    assert_eq!(keys.crew.script("return document.activeElement.id").await, "shell");
    keys.fills("[name=units]", "412").await;
    keys.fills("[name='run.symbol']", "K17").await;
    keys.press(Key::Enter).await;
    keys.crew.reads("Close the run").await;
}

async fn writes_a_trip(keys: &Keys<'_, '_>) {
    goes(keys, "#shell a[href='/units/QHB-412/write']", "What happened on QHB 412?").await;
    goes(keys, "#shell a[href$='/write/breaker_trip']", "Tap it on the panel.").await;
    goes(keys, "a.device[href$='device=TC2']", "Not if you smell").await;
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
    for (left, button) in [(2, "mine"), (1, "not_mine")] {
        waits_for(keys, left).await;
        keys.fills("section input[type=password]", password("n.okafor")).await;
        keys.enters(&format!("section button[value={button}]")).await;
    }
    waits_for(keys, 0).await;
    keys.crew.reads("Nothing that a tablet signed for you waits").await;
    keys.fills("ul.lines input[type=password]", password("n.okafor")).await;
    keys.enters("ul.lines button.danger").await;
    keys.crew.reads("None is on record for you").await;
}

/// Until so many reports are asked about.
async fn waits_for(keys: &Keys<'_, '_>, left: u64) {
    let asked =
        "return document.readyState === 'complete' ? document.querySelectorAll('main section').length : -1";
    for _ in 0..PATIENCE {
        if keys.crew.script(asked).await == left {
            return;
        }
        tokio::time::sleep(MOMENT).await;
    }
    panic!("not {left} reports: {}", keys.crew.text().await);
}
