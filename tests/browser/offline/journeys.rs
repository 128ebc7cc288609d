//! Open, lose the network, write three entries of different kinds, sign, kill the browser, open it again, restore the
//! network: exactly one report on the server.
use std::{sync::Arc, time::Duration};

use breakerbook::base::Instant;
use serde_json::{Value, json};

use super::cab::{Cab, reports};
use crate::person::{MOMENT, PATIENCE, Person};

const UNIT: &str = "QHB-423";

async fn writes_three(crew: &Person<'_>) {
    let at = |rest: &str| format!("/units/{UNIT}/write/{rest}");
    let trip = [
        ("signs", "none"),
        ("resets[0].result", "held"),
        ("resets[0].basis", "looked_no_sign"),
        ("left", "on"),
    ];
    crew.writes(&at("breaker_trip?device=TC2"), &trip, &[("note", "Uphill at MP 41, wet rail")]).await;
    let relay = [("when", "15"), ("mode", "motoring"), ("reset", "by_hand"), ("after", "loads_again")];
    crew.writes(&at("ground_relay?device=GR"), &relay, &[("operations", "2")]).await;
    let defect = [("system", "horn_bell"), ("may_go_on", "yes")];
    crew.writes(&at("defect"), &defect, &[("text", "Bell rings by itself")]).await;
}

/// The same content at the right times.
fn holds_all_three(rows: &[Value], began: Instant, ended: Instant) {
    let find = |kind: &str| {
        rows.iter().find(|row| row["kind"] == kind).unwrap_or_else(|| panic!("no {kind} in {rows:#?}"))
    };
    let (trip, relay, defect) = (find("breaker_trip"), find("ground_relay"), find("defect"));
    assert_eq!(reports(rows).len(), 1, "one report: {rows:#?}");
    let wanted = [
        (
            trip,
            json!({"device": "TC2", "signs": "none", "left": "on", "note": "Uphill at MP 41, wet rail", "at_how": "clock"}),
        ),
        (
            relay,
            json!({"device": "GR", "operations": 2, "mode": "motoring", "reset": "by_hand", "after": "loads_again", "at_how": "about"}),
        ),
        (defect, json!({"system": "horn_bell", "text": "Bell rings by itself", "may_go_on": "yes"})),
    ];
    for (row, fields) in wanted {
        for (name, value) in fields.as_object().unwrap() {
            assert_eq!(&row["detail"][name], value, "{name} of {row:#}");
        }
    }
    let reset = &trip["detail"]["resets"][0];
    assert_eq!((&reset["result"], &reset["basis"]), (&json!("held"), &json!("looked_no_sign")));
    // To the minute, as the form has it; the ground relay a quarter of an hour before.
    for (row, ago) in [(trip, 0), (relay, 15), (defect, 0)] {
        let at = Instant::parse(row["at"].as_str().unwrap()).unwrap().plus(ago * 60_000_000);
        assert!(at >= began.minus(60_000_000) && at <= ended, "{at} is not between {began} and {ended}");
    }
}

fn now() -> Instant {
    breakerbook::base::Clock::machine().now()
}

#[tokio::test(flavor = "multi_thread")]
async fn three_entries_outlive_a_cut_network_and_a_killed_browser() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.screen(390).await;
    crew.takes_over("n.okafor", UNIT).await;
    crew.network_is_cut_by_the_browser(true).await;
    cab.gate.cut();
    let began = now();
    crew.open(&format!("/units/{UNIT}")).await;
    // How many minutes that was is the machine's matter.
    crew.reads("No network. The book as it stood ").await;
    crew.reads(" min ago").await;
    writes_three(&crew).await;
    crew.signs_here(UNIT).await;
    let ended = now();
    crew.browser_is_killed().await;
    drop(chromium);
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.open("/units").await;
    crew.reads("1 report signed on this tablet, waiting to be sent").await;
    assert_eq!(cab.filed_by("n.okafor").len(), 0, "nothing got through yet");
    cab.gate.restore();
    let rows = cab.waits_for_entries("n.okafor", 3).await;
    holds_all_three(&rows, began, ended);
    crew.reads("Sent from this tablet").await;
    // At the next sign-in its author says that it is theirs.
    crew.sign_in("n.okafor").await;
    crew.waits_for("/tablets").await;
    crew.reads("Is it yours?").await;
    crew.fill("password", crate::person::password("n.okafor")).await;
    crew.press("Sign: it is mine").await;
    crew.reads("Nothing that a tablet signed for you waits").await;
    cab.house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_with_a_flapping_network_a_500_and_somebody_else_signing_in() {
    let cab = Arc::new(Cab::new().await);
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", UNIT).await;
    let flapping = tokio::spawn(flaps(Arc::clone(&cab)));
    let began = now();
    writes_three(&crew).await;
    flapping.await.unwrap();
    crew.signs_here(UNIT).await;
    let ended = now();
    crew.browser_is_killed().await;
    drop(chromium);
    let chromium = cab.browser().await;
    let sends = cab.gate.sends();
    // Until it has been seen that it waits, however long that takes here.
    cab.gate.fail(1_000);
    cab.gate.restore();
    // Somebody else takes the tablet: the queue is not theirs, and is sent all the same.
    let other = Person::at(&chromium, &cab.house);
    other.sign_in("a.lind").await;
    other.open("/units").await;
    other.kept_says("1 report of somebody else on this tablet").await;
    for _ in 0..PATIENCE {
        if cab.gate.sends() > sends {
            break;
        }
        tokio::time::sleep(MOMENT).await;
    }
    assert!(cab.gate.sends() > sends, "the 500s were met");
    assert_eq!(cab.filed_by("n.okafor").len(), 0, "nothing got through them");
    cab.gate.fail(0);
    let rows = cab.waits_for_entries("n.okafor", 3).await;
    holds_all_three(&rows, began, ended);
    assert_eq!(cab.filed_by("a.lind").len(), 0);
    other.sign_out().await;
    // Nothing is left over that could be signed a second time.
    let crew = Person::at(&chromium, &cab.house);
    crew.sign_in("n.okafor").await;
    crew.open("/units").await;
    // 'Nothing else' where an entry went through the server's draft, which begins a run.
    crew.reads("waits for your signature.").await;
    cab.house.verifies();
}

/// Twenty times, and away at the end.
async fn flaps(cab: Arc<Cab>) {
    for n in 0..20 {
        cab.gate.cut();
        tokio::time::sleep(Duration::from_millis(250 + 90 * (n % 4))).await;
        cab.gate.restore();
        tokio::time::sleep(Duration::from_millis(300 + 110 * (n % 5))).await;
    }
    cab.gate.cut();
}
