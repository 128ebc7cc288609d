//! A breaker trip without a finger on the glass: Tab, Enter, Space and the arrows alone.
use thirtyfour::Key;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    keys::Keys,
    person::{Person, password},
};

#[tokio::test(flavor = "multi_thread")]
async fn a_breaker_trip_is_written_with_the_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(1280).await;
    let keys = Keys { crew: &crew };
    crew.open("/sign-in").await;
    keys.signs_in("i.trelfa").await;
    keys.fills("#f-q", "412").await;
    keys.press(Key::Enter).await;
    crew.waits_for("/units?q=412").await;
    keys.follow("a[href=\"/units/QHB-412\"]", "/units/QHB-412").await;
    keys.follow("a[href=\"/units/QHB-412/write\"]", "/units/QHB-412/write").await;
    keys.follow("a[href$=\"/write/breaker_trip\"]", "/units/QHB-412/write/breaker_trip").await;
    keys.follow("a.device[href$=\"device=TC5\"]", "/units/QHB-412/write/breaker_trip?device=TC5").await;
    fills_in(&keys).await;
    crew.waits_for("/units/QHB-412/report").await;
    crew.reads("Breaker trip, TC5").await;
    crew.reads("Left tripped. Signs: nothing.").await;
    crew.reads("With the keys").await;
}

async fn fills_in(keys: &Keys<'_, '_>) {
    keys.tab_to("[name=signs]").await;
    keys.press(Key::Space).await;
    keys.tab_to("[name=\"resets[0].result\"]").await;
    keys.press(Key::Space).await;
    keys.tab_to("[name=left]").await;
    keys.press(Key::Right).await;
    keys.press(Key::Right).await;
    // Now, 5, 15 minutes ago: the arrows go from key to key.
    keys.tab_to("[name=when]").await;
    keys.press(Key::Right).await;
    keys.press(Key::Right).await;
    keys.fills("[name=note]", "With the keys").await;
    keys.enters("main form .button.first").await;
}

/// The other ways a crew goes: a handover read, a run begun, what is sent at once, changed, taken out, handed over and
/// signed for two units, what became of it, the night palette, and out.
#[tokio::test(flavor = "multi_thread")]
async fn every_crew_journey_goes_by_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(1280).await;
    let keys = Keys { crew: &crew };
    crew.open("/sign-in").await;
    keys.signs_in("n.okafor").await;
    begins_a_run(&keys).await;
    reads_a_handover(&keys).await;
    sends_at_once(&keys).await;
    changes_and_takes_out(&keys).await;
    finds_a_cutout_open(&keys).await;
    closes_the_run(&keys).await;
    keys.follow("a[href='/units']", "/units").await;
    keys.enters("button[value=night]").await;
    crew.find(thirtyfour::By::Css("html[data-palette=night]")).await;
    keys.enters(".who button").await;
    crew.waits_for("/sign-in").await;
    house.verifies();
}

/// The forms that those journeys leave out, and the start check with an attempt that failed.
#[tokio::test(flavor = "multi_thread")]
async fn the_other_forms_go_by_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(1280).await;
    let keys = Keys { crew: &crew };
    crew.open("/sign-in").await;
    keys.signs_in("n.okafor").await;
    keys.fills("#f-q", "412").await;
    keys.press(Key::Enter).await;
    crew.waits_for("/units?q=412").await;
    keys.follow("a[href='/units/QHB-412']", "/units/QHB-412").await;
    walks_the_start_check(&keys).await;
    for (kind, fields, says) in [
        ("fuse_check", &["result"][..], "Fuse"),
        ("position", &["seen"], "seen"),
        ("defect", &["system", "may_go_on"], "By the keys alone"),
        ("shutdown", &["cause"], "stopped"),
    ] {
        crew.open("/units/QHB-412").await;
        writes(&keys, kind, fields).await;
        crew.reads(says).await;
    }
    house.verifies();
}

async fn walks_the_start_check(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units/QHB-412/start-check']", "/units/QHB-412/start-check").await;
    keys.tab_to("main form input[type=radio]").await;
    keys.press(Key::Space).await;
    keys.enters("main form .button.first").await;
    keys.crew.reads("19 of 20 checks not marked yet").await;
    keys.enters("button[formaction]").await;
    keys.crew.reads("What came of it?").await;
    keys.tab_to("[name=outcome]").await;
    keys.press(Key::Down).await;
    keys.enters(".stick button").await;
    keys.crew.reads("End-of-trip report").await;
    keys.crew.reads("Engine start").await;
}

async fn writes(keys: &Keys<'_, '_>, kind: &str, fields: &[&str]) {
    keys.follow("a[href='/units/QHB-412/write']", "/units/QHB-412/write").await;
    let form = format!("/units/QHB-412/write/{kind}");
    keys.follow(&format!("a[href$='/write/{kind}']"), &form).await;
    if matches!(kind, "fuse_check" | "position") {
        keys.enters("a.device").await;
    }
    for field in fields {
        keys.tab_to(&format!("[name={field}]")).await;
        keys.press(Key::Space).await;
        keys.press(Key::Down).await;
    }
    if kind == "defect" {
        keys.tab_to("[name=text]").await;
        keys.types("By the keys alone").await;
    }
    keys.enters(".stick button").await;
    keys.crew.reads("End-of-trip report").await;
}

async fn begins_a_run(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/run']", "/run").await;
    for (field, text) in [("units", "412, 431"), ("run.symbol", "K17"), ("run.to", "Harrow Ferry")] {
        keys.tab_to(&format!("[name='{field}']")).await;
        keys.types(text).await;
    }
    keys.enters("main form .button").await;
    keys.crew.reads("Kept. Each unit gets a report of its own").await;
}

async fn reads_a_handover(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units/QHB-412']", "/units/QHB-412").await;
    keys.fills("#f-password", password("n.okafor")).await;
    keys.press(Key::Enter).await;
    keys.crew.reads("Signed: you have read it.").await;
}

async fn sends_at_once(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units/QHB-412/write']", "/units/QHB-412/write").await;
    keys.follow("a[href$='/write/ground_relay']", "/units/QHB-412/write/ground_relay").await;
    keys.follow("a.device[href$='device=GR']", "/units/QHB-412/write/ground_relay?device=GR").await;
    keys.tab_to("[name=reset]").await;
    keys.press(Key::Space).await;
    keys.enters("button[value=send]").await;
    keys.crew.reads("Send this now").await;
    keys.tab_to("[name='run.started']").await;
    keys.fills("#f-password", password("n.okafor")).await;
    keys.press(Key::Enter).await;
    keys.crew.reads("Sent at once for QHB 412").await;
}

async fn changes_and_takes_out(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units']", "/units").await;
    keys.follow("a[href='/units/QHB-412/write/breaker_trip']", "/units/QHB-412/write/breaker_trip").await;
    keys.follow("a.device[href$='device=TC5']", "/units/QHB-412/write/breaker_trip?device=TC5").await;
    keys.tab_to("[name=left]").await;
    keys.press(Key::Right).await;
    keys.enters(".stick button").await;
    keys.crew.reads("Left off.").await;
    keys.enters("a[href$='/change']").await;
    keys.crew.reads("Breaker tripped").await;
    keys.fills("[name=note]", "By the keys").await;
    keys.enters(".stick button").await;
    keys.crew.reads("By the keys").await;
    keys.enters("button[form^='out-']").await;
    keys.crew.reads("End-of-trip report").await;
    assert!(!keys.crew.text().await.contains("By the keys"), "it was taken out");
}

async fn finds_a_cutout_open(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/units']", "/units").await;
    keys.follow("a[href='/units/QHB-431/write/bypass']", "/units/QHB-431/write/bypass").await;
    keys.follow("a.device[href$='device=GRC']", "/units/QHB-431/write/bypass?device=GRC").await;
    // Backwards from 'now', the first of the keys, to 'found open', the last.
    keys.tab_to("[name=when]").await;
    keys.press(Key::Left).await;
    keys.tab_to("[name=by]").await;
    keys.press(Key::Left).await;
    keys.tab_to("[name=closed]").await;
    keys.press(Key::Space).await;
    keys.enters(".stick button").await;
    keys.crew.reads("found open, opened by: not known").await;
}

async fn closes_the_run(keys: &Keys<'_, '_>) {
    keys.follow("a[href='/run/close']", "/run/close").await;
    keys.crew.reads("Still open on QHB 431").await;
    keys.tab_to("[name='QHB-412.cutout.GRC']").await;
    keys.press(Key::Space).await;
    keys.tab_to("[name='QHB-431.cutout.GRC']").await;
    keys.press(Key::Right).await;
    keys.press(Key::Right).await;
    keys.tab_to("[name=hand_over]").await;
    keys.press(Key::Space).await;
    keys.fills("[name=handed_to]", "J. Sorrel").await;
    keys.fills("#f-password", password("n.okafor")).await;
    keys.enters("main form .button.first").await;
    asked_once_more(keys).await;
    keys.crew.waits_for("/runs?closed=2").await;
    keys.crew.reads("QHB 431: 2 entries").await;
}

/// The run began when the handover was read; what was found before that is asked about.
async fn asked_once_more(keys: &Keys<'_, '_>) {
    for _ in 0..100 {
        if keys.crew.path().await.starts_with("/runs") {
            return;
        }
        if keys.crew.text().await.contains("one more look is asked for") {
            keys.tab_to("[name=sure]").await;
            keys.press(Key::Space).await;
            keys.tab_to("#f-password").await;
            keys.types(password("n.okafor")).await;
            keys.enters("main form .button.first").await;
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
}

/// What was typed when the session had ended, and what a tablet signed.
#[tokio::test(flavor = "multi_thread")]
async fn a_kept_form_goes_on_by_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(1280).await;
    let keys = Keys { crew: &crew };
    crew.open("/sign-in").await;
    keys.signs_in("n.okafor").await;
    for (text, button, says) in [
        ("Bell rings by itself", ".button.first", "Bell rings by itself"),
        ("Horn is weak", "button.plain", "Nothing is kept for you."),
    ] {
        crew.open("/units/QHB-423/write/defect").await;
        keys.fills("[name=text]", text).await;
        crew.session_ends().await;
        keys.enters(".stick button").await;
        crew.waits_for("/sign-in").await;
        keys.fills("#f-sign_in", "n.okafor").await;
        keys.fills("#f-password", password("n.okafor")).await;
        keys.press(Key::Enter).await;
        crew.waits_for("/kept").await;
        crew.reads(text).await;
        keys.enters(&format!("section {button}")).await;
        crew.reads(says).await;
    }
    crew.open("/units/QHB-423/report").await;
    assert!(!crew.text().await.contains("Horn is weak"), "it was let go");
}

/// The foreman's way: past the frame, the board narrowed down, a line, its unit, its class, a device of it, and 'I have looked'.
#[tokio::test(flavor = "multi_thread")]
async fn the_shop_goes_from_the_board_to_unit_and_class_by_keyboard_alone() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let foreman = Person::at(&chromium, &house);
    foreman.screen(1280).await;
    let keys = Keys { crew: &foreman };
    foreman.sign_in("r.dunmore").await;
    foreman.open("/triage").await;
    // The first stop of the page leads past everything that is on each page.
    keys.tab_to(".skip").await;
    keys.press(Key::Enter).await;
    keys.press(Key::Tab).await;
    let at = foreman.script("return document.activeElement.id").await;
    assert_eq!(at.as_str(), Some("f-unit"), "the page itself begins with its first field");
    keys.types("412").await;
    keys.press(Key::Enter).await;
    foreman.waits_for("/triage?unit=412").await;
    keys.tab_to("a.whole[href*='burst']").await;
    keys.press(Key::Enter).await;
    foreman.reads("On one line of time").await;
    keys.follow("a[href='/units/QHB-412/timeline']", "/units/QHB-412/timeline").await;
    keys.tab_to("details.more > summary").await;
    keys.press(Key::Enter).await;
    foreman.reads("Fullest week").await;
    keys.follow("a[href='/classes/QA6']", "/classes/QA6").await;
    keys.tab_to("a.device[href*='device=TC2']").await;
    keys.press(Key::Enter).await;
    foreman.reads("across the fleet").await;
    keys.follow("a[href='/triage']", "/triage").await;
    keys.tab_to("form[action='/triage/looked'] button").await;
    keys.press(Key::Enter).await;
    // The number stands above its words.
    foreman.reads("0\nnew since").await;
    house.verifies();
}
