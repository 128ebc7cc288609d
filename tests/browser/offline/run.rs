//! Without network: a run of several units under one signature, what is sent before its end, and what is handed over.
use breakerbook::base::{Clock, Zone, instant::HOUR};
use serde_json::{Value, json};

use super::cab::{Cab, asks, reports};
use crate::person::{PATIENCE, Person};

/// Two hours ago, as a field has it.
fn started() -> String {
    let now = Clock::machine().now();
    Zone::named("America/Chicago").unwrap().local_input(now.minus(2 * HOUR))
}

impl Person<'_> {
    /// As a script sets it: how a date and time is typed is the browser's own matter.
    async fn sets(&self, name: &str, value: &str) {
        let css = format!("[name=\"{name}\"]");
        self.find(thirtyfour::By::Css(css.clone())).await;
        let script = format!(
            "const f = document.querySelector({css:?}); f.value = {value:?}; f.dispatchEvent(new Event('input', {{bubbles: true}})); return true"
        );
        assert_eq!(self.script(&script).await, true);
    }

    async fn keeps_a_run(&self, units: &str) {
        self.open("/run").await;
        for (name, text) in [("units", units), ("run.symbol", "K17"), ("run.to", "Harrow Ferry")] {
            self.fill(name, text).await;
        }
        self.sets("run.started", &started()).await;
        self.press("Keep this run").await;
        self.reads("Close the run").await;
    }

    async fn signs_all(&self) {
        self.tap("#shell input[name=signature]").await;
        self.press("Sign, and send when there is network").await;
    }
}

async fn breaks(crew: &Person<'_>, unit: &str) {
    let trip = [("signs", "none"), ("resets[0].result", "none"), ("left", "tripped")];
    crew.writes(&format!("/units/{unit}/write/breaker_trip?device=TC2"), &trip, &[]).await;
}

/// The reports of `n.okafor`, as the queue held them, by unit.
async fn waiting(crew: &Person<'_>) -> Vec<Value> {
    let ask = "return (await keep.all('queue')).map((one) => JSON.parse(one.report))";
    let mut all = asks(crew, ask, json!(null)).await.as_array().unwrap().clone();
    all.sort_by_key(|report| report["unit"].to_string());
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn a_run_of_two_units_is_typed_once_and_signed_once() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.screen(390).await;
    crew.takes_over("n.okafor", "QHB-412").await;
    crew.open("/units/QHB-431").await;
    crew.is_kept("QHB-431").await;
    cab.gate.cut();
    crew.keeps_a_run("412, qhb-0431").await;
    breaks(&crew, "QHB-412").await;
    crew.reads("one signature does for all of them").await;
    crew.press("Close the run with all its units").await;
    crew.reads("Still open on QHB 412:").await;
    crew.reads("TC2 is left tripped.").await;
    assert_eq!(crew.value("run.symbol").await, "K17");
    crew.tap("[name='QHB-412.cutout.GRC'][value=not_looked]").await;
    crew.tap("[name='QHB-431.cutout.GRC'][value=open]").await;
    crew.fill("QHB-431.remarks", "Cold cab.").await;
    crew.tap("[name=hand_over]").await;
    crew.fill("handed_to", "J. Sorrel").await;
    // Without 'it is me' nothing is signed, and what was typed stays.
    crew.press("Sign, and send when there is network").await;
    crew.reads("Say that it is you.").await;
    assert!(waiting(&crew).await.is_empty());
    crew.signs_all().await;
    crew.reads("Waiting to be sent").await;
    let both = waiting(&crew).await;
    let of = |report: &Value| {
        [&report["unit"], &report["position"], &report["run"]["symbol"], &report["run"]["to"]]
            .map(Value::to_string)
            .join(" ")
    };
    assert_eq!(
        both.iter().map(of).collect::<Vec<_>>(),
        [r#""QHB 412" "lead" "K17" "Harrow Ferry""#, r#""QHB 431" "trail" "K17" "Harrow Ferry""#]
    );
    for report in &both {
        assert_eq!(report["consist"], json!(["QHB 412", "QHB 431"]));
        assert!(report["run"]["started"].as_str().unwrap().starts_with("20"), "{report:#}");
    }
    assert_eq!(both[0]["remarks"], "Handed over to J. Sorrel: TC2 is left tripped.");
    assert_eq!(both[1]["remarks"], "Cold cab. Handed over to J. Sorrel: GRC is left open.");
    crew.press("My run").await;
    crew.reads("Units and train").await;
    assert!(!crew.text().await.contains("Close the run"), "the run is over");
    cab.gate.restore();
    crew.open("/units").await;
    cab.waits_for_entries("n.okafor", 3).await;
    crew.has_sent_all().await;
    crew.open("/units/QHB-412").await;
    crew.reads("Handed over to J. Sorrel: TC2 is left tripped.").await;
    crew.open("/run").await;
    crew.reads("Begin a run").await;
    cab.house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_run_that_was_begun_with_network_goes_on_without_and_back() {
    let began = started();
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", "QHB-412").await;
    crew.open("/run").await;
    crew.fill("units", "412, 431").await;
    crew.fill("run.symbol", "K17").await;
    crew.press("Keep this run").await;
    crew.reads("Kept.").await;
    crew.open("/units/QHB-412").await;
    crew.is_kept("QHB-412").await;
    // The page asks for the run after the unit.
    let symbol = "const kept = await caches.match('/offline/run'); return kept ? (await kept.json()).slip['run.symbol'] ?? '' : ''";
    for _ in 0..PATIENCE {
        if asks(&crew, symbol, json!(null)).await == "K17" {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    cab.gate.cut();
    crew.open("/units/QHB-412/report").await;
    crew.find(thirtyfour::By::Css("#shell input[name=signature]")).await;
    assert_eq!(
        (crew.value("run.symbol").await, crew.value("consist").await),
        ("K17".into(), "QHB 412, QHB 431".into())
    );
    // A run that is sent as the network goes stays typed, and is kept here.
    crew.open("/run").await;
    crew.fill("units", "412, 431, 433").await;
    crew.fill("run.from", "Slate Gap").await;
    crew.press("Keep this run").await;
    crew.reads("QHB 433").await;
    // One of them is signed for before the others.
    crew.open("/units/QHB-431/report").await;
    crew.find(thirtyfour::By::Css("#shell input[name=signature]")).await;
    crew.sets("run.started", &began).await;
    crew.signs_all().await;
    crew.reads("Waiting to be sent").await;
    crew.open("/run/close").await;
    crew.reads("Close the run").await;
    let text = crew.text().await;
    assert!(
        text.contains("QHB 412") && text.contains("QHB 433") && !text.contains("Remarks: QHB 431"),
        "{text}"
    );
    assert_eq!(crew.value("run.started").await, began, "said once, for one unit's report");
    cab.gate.restore();
    crew.open("/units").await;
    crew.has_sent_all().await;
    // Once all that was signed is there, the run goes to the book.
    for _ in 0..120 {
        crew.open("/run").await;
        if crew.text().await.contains("QHB 433") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
    }
    crew.reads("K17, from Slate Gap").await;
    let text = crew.text().await;
    assert!(text.contains("its report is signed"), "{text}");
    cab.house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn one_entry_is_sent_before_the_report_and_once() {
    let began = started();
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", "QHB-423").await;
    cab.gate.cut();
    breaks(&crew, "QHB-423").await;
    let defect = "/units/QHB-423/write/defect";
    crew.writes(defect, &[("system", "horn_bell")], &[("text", "Bell rings by itself")]).await;
    crew.press("Send this now").await;
    crew.reads("Send this now: QHB 423").await;
    let text = crew.text().await;
    assert!(text.contains("TC2") && !text.contains("Bell"), "only what is sent: {text}");
    crew.sets("run.started", &began).await;
    crew.signs_all().await;
    crew.waits_for("/units/QHB-423/report").await;
    crew.reads("End-of-trip report").await;
    let text = crew.text().await;
    assert!(text.contains("Bell") && !text.contains("Breaker tripped"), "{text}");
    // It is signed, and still counts as open.
    crew.reads("TC2 is left tripped.").await;
    assert_eq!(crew.value("run.started").await, began, "typed once");
    // Gone back to, it is not there to be sent a second time. The page that was left says the same and stays until the other
    // has come: what is tapped on it is gone with it.
    crew.script("document.querySelector('#shell form').id = 'left'").await;
    crew.driver.back().await.unwrap();
    crew.find(thirtyfour::By::Css("#shell form:not(#left) input[name=signature]")).await;
    crew.reads("End-of-trip report").await;
    crew.signs_all().await;
    crew.reads("Waiting to be sent").await;
    let both = waiting(&crew).await;
    let said = |report: &Value| (report["final"].clone(), report["entries"][0]["kind"].clone());
    assert_eq!(
        both.iter().map(said).collect::<Vec<_>>(),
        [(json!(false), json!("breaker_trip")), (json!(true), json!("defect"))]
    );
    cab.gate.restore();
    crew.open("/units").await;
    assert_eq!(reports(&cab.waits_for_entries("n.okafor", 2).await).len(), 2);
    cab.house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn brakes_and_parking_are_walked_and_what_is_not_right_is_written_down() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.screen(390).await;
    crew.takes_over("n.okafor", "QHB-412").await;
    cab.gate.cut();
    crew.open("/units/QHB-412/start-check").await;
    crew.reads("Start check: QHB 412").await;
    crew.press("Parking").await;
    crew.reads("Parking: QHB 412").await;
    crew.press("Brake set-up").await;
    crew.reads("Brake set-up: QHB 412").await;
    crew.reads("Brake computer").await;
    crew.tap("#shell fieldset:first-of-type input[value=not_right]").await;
    crew.reads("To be written down").await;
    crew.reads("not as it has to be").await;
    // Whoever writes it down and goes back finds the walk as it was marked.
    crew.tap("#to-write a").await;
    crew.waits_for("/units/QHB-412/write/").await;
    crew.reads("Write it down").await;
    assert!(crew.value("note").await.starts_with("Check: "), "filled in as far as the check tells");
    crew.driver.back().await.unwrap();
    crew.reads("To be written down").await;
    // What follows of a start that counts as long is asked for as well, and answered.
    crew.open("/units/QHB-412/start-check").await;
    crew.reads("Start check: QHB 412").await;
    crew.tap("[name=shut_down][value=short]").await;
    assert_eq!(crew.script("return document.getElementById('cold').hidden").await, true);
    crew.tap("[name=shut_down][value=long]").await;
    assert_eq!(crew.script("return document.getElementById('cold').hidden").await, false);
    crew.reads("test cocks have to be clear").await;
    crew.tap("[name=test_cock_result][value=clear]").await;
    for _ in 0..PATIENCE {
        if !crew
            .script("return document.querySelector('#shell .answer').textContent")
            .await
            .to_string()
            .contains("clear")
        {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let says = crew.script("return document.querySelector('#shell .answer').textContent").await.to_string();
    assert!(!says.contains("clear"), "{says}");
    crew.press("It failed: write it down").await;
    crew.waits_for("/units/QHB-412/write/engine_start").await;
    crew.reads("What came of it?").await;
    assert_eq!(crew.value("attempt").await, "1");
    assert_eq!(
        crew.script("return document.querySelector('[name=test_cock_result]:checked').value").await,
        "clear"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kept_handover_says_what_waits_for_the_network() {
    let cab = Cab::new().await;
    let chromium = cab.browser().await;
    let crew = Person::at(&chromium, &cab.house);
    crew.takes_over("n.okafor", "QHB-412").await;
    crew.reads("Sign: read and understood").await;
    assert!(!crew.text().await.contains("is signed when there is network"));
    cab.gate.cut();
    crew.open("/units/QHB-412").await;
    crew.reads("That you have read and understood it is signed when there is network.").await;
    assert!(!crew.text().await.contains("Sign: read and understood"), "a button that does nothing");
    crew.open("/units").await;
    crew.reads("'Read and understood', receipts and what became of an entry wait for the network.").await;
}
