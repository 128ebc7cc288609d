//! The handover on paper: one sheet with the tree's size and root, however much there is to tell.
use base64::Engine as _;
use serde_json::json;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::Person,
};

#[tokio::test(flavor = "multi_thread")]
async fn a_handover_is_one_printed_sheet() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::Off).await;
    let crew = Person::at(&chromium, &house);
    crew.sign_in("n.okafor").await;
    // What is handed over makes it longer.
    crew.open("/units/QHB-412/write/breaker_trip?device=TC5").await;
    crew.choose("resets[0].result", "tripped_again").await;
    crew.press("Write it down").await;
    crew.waits_for("/units/QHB-412/report").await;
    crew.choose("occasion", "yard").await;
    crew.choose("hand_over", "yes").await;
    crew.fill("password", crate::person::password("n.okafor")).await;
    crew.press("Sign and file").await;
    crew.waits_for("/reports/").await;
    for unit in ["QHB-412", "QHB-209", "QHB-405", "QHB-204"] {
        crew.open(&format!("/units/{unit}")).await;
        crew.devtools("Emulation.setEmulatedMedia", json!({"media": "print"})).await;
        let paper = crew.text().await;
        for words in ["Pages in the book", "Root", "Who to call", "Read and understood: ____"] {
            assert!(paper.contains(words), "{unit}: {words:?} is not on paper: {paper}");
        }
        crew.devtools("Emulation.setEmulatedMedia", json!({"media": ""})).await;
        for (name, width, height) in [("Letter", 8.5, 11.0), ("A4", 8.27, 11.69)] {
            let sheet = json!({"paperWidth": width, "paperHeight": height, "preferCSSPageSize": true});
            let printed = crew.devtools("Page.printToPDF", sheet).await;
            let pdf =
                base64::engine::general_purpose::STANDARD.decode(printed["data"].as_str().unwrap()).unwrap();
            let pages = String::from_utf8_lossy(&pdf).matches("/Type /Page\n").count();
            assert_eq!(pages, 1, "the handover of {unit} on {name} paper");
        }
    }
}

/// However many lines there are: those at the top, as many as fit.
#[tokio::test(flavor = "multi_thread")]
async fn the_board_for_the_morning_is_one_printed_sheet() {
    let house = House::demo_with(&[("reports", &many_left_off())]);
    let chromium = Chromium::start(Scripts::Off).await;
    let foreman = Person::at(&chromium, &house);
    foreman.sign_in("r.dunmore").await;
    for path in ["/triage", "/triage?unit=QHB-412"] {
        foreman.open(path).await;
        foreman.devtools("Emulation.setEmulatedMedia", json!({"media": "print"})).await;
        let paper = foreman.text().await;
        assert!(paper.contains("As of ") && paper.contains("Home shop"), "{paper}");
        assert!(!paper.contains("Written since yesterday") && !paper.contains("Narrow down"), "{paper}");
        foreman.devtools("Emulation.setEmulatedMedia", json!({"media": ""})).await;
        for (name, width, height) in [("Letter", 8.5, 11.0), ("A4", 8.27, 11.69)] {
            let sheet = json!({"paperWidth": width, "paperHeight": height, "preferCSSPageSize": true});
            let printed = foreman.devtools("Page.printToPDF", sheet).await;
            let pdf =
                base64::engine::general_purpose::STANDARD.decode(printed["data"].as_str().unwrap()).unwrap();
            let pages = String::from_utf8_lossy(&pdf).matches("/Type /Page\n").count();
            assert_eq!(pages, 1, "{path} on {name} paper");
        }
    }
}

/// Three breakers left off on each of fourteen units: lines that are certain.
fn many_left_off() -> String {
    let now = breakerbook::base::Clock::machine().now();
    let at = |minutes: i64| now.minus(minutes * breakerbook::base::instant::MINUTE).to_string();
    let id = |n: i64| format!("0198f3a2-6c1e-7d3a-8000-{n:012x}");
    let told = (401..=414).zip(1_i64..).map(|(unit, n)| {
        let trip = |k: i64, device: &str| {
            json!({"id": id(1_000 * n + k), "kind": "breaker_trip", "at": at(300 - n), "device": device, "left": "off",
                "resets": [{"basis": "looked_no_sign", "result": "tripped_again"}]})
        };
        json!({"id": id(n), "unit": format!("QHB {unit}"), "author": "n.okafor", "occasion": "yard",
            "entries": [trip(1, "TC2"), trip(2, "CD1"), trip(3, "CD2")], "signed_at": at(10)})
    });
    told.map(|report| format!("{report}\n")).collect()
}
