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
