//! Names that do not end, letters twice as large, an empty book, a thousand lines.
use std::fmt::Write as _;

use breakerbook::base::{
    Clock,
    instant::{MINUTE, SECOND},
};
use serde_json::json;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    looks::Looks,
    person::{Person, password},
};

/// No name is like this; a page that bears it bears the others.
const LONG: &str =
    "Maximiliana-Theodora Wolkenstein-Unterbreitenbachhausen of the Upper Valley and Both Harbours";
const NOTE: &str = "Unterbrechungsschaltgeräteprüfprotokollaufbewahrungsortverzeichnisnummernschildbeleuchtungsstörung \
    seen again at the same place, and then for a long while nothing, until the second grade where it came back twice";

const OWN: &str = "long enough and not known";

#[tokio::test(flavor = "multi_thread")]
async fn long_words_and_large_letters_stay_on_the_page() {
    let people = format!("sign_in,name,role,craft\nw.longest,{LONG},crew,engineer\n");
    let house = House::demo_with(&[("people", &people)]);
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    let once = String::from_utf8(house.ask(&["password", "--for", "w.longest"]).stdout).unwrap();
    crew.sign_in_with("w.longest", once.trim()).await;
    looks.at(&crew, "own-password").await;
    for (field, value) in [("password", once.trim()), ("new_password", OWN), ("new_password_again", OWN)] {
        crew.fill(field, value).await;
    }
    crew.press("Take this password").await;
    crew.waits_for("/units").await;
    writes_at_length(&crew).await;
    looks.at(&crew, "long-report").await;
    looks.at_large_text(&crew, "long-report").await;
    crew.fill("password", OWN).await;
    crew.press_first().await;
    crew.waits_for("/reports/").await;
    looks.at(&crew, "long-receipt").await;
    for (name, path) in [
        ("handover", "/units/QHB-412"),
        ("pick", "/units/QHB-412/write/breaker_trip"),
        ("trip", "/units/QHB-412/write/breaker_trip?device=TC2"),
        ("choose", "/units/QHB-412/write"),
        ("long-handover", "/units/QHB-424"),
    ] {
        crew.open(path).await;
        looks.at_large_text(&crew, name).await;
    }
    crew.open("/units/QHB-424").await;
    looks.at(&crew, "long-handover").await;
    crew.sign_out().await;
    crew.sign_in("m.ruiz").await;
    for (name, path) in [("triage", "/triage"), ("bypasses", "/bypasses")] {
        crew.open(path).await;
        looks.at_large_text(&crew, name).await;
    }
    looks.are_fine();
}

/// One word of as many letters as a name may have, on the pages that show whom or what it names.
#[tokio::test(flavor = "multi_thread")]
async fn names_without_a_space_stay_on_the_page() {
    let (who, name) = ("w".repeat(40), "\u{5e9}".repeat(60));
    let people = format!("sign_in,name,role,craft\n{who},{name},supervisor,{}\n", "c".repeat(60));
    let house = House::demo_with(&[("people", &people)]);
    let chromium = Chromium::start(Scripts::On).await;
    let desk = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    desk.sign_in("c.ibsenius").await;
    desk.open("/tokens").await;
    desk.fill("of", &who).await;
    desk.fill("words", &"m".repeat(60)).await;
    desk.fill("password", password("c.ibsenius")).await;
    desk.press_first().await;
    desk.reads("shown this once").await;
    looks.at(&desk, "long-token").await;
    for (page, path) in [
        ("long-person", format!("/people/{who}")),
        ("long-sign-ins", format!("/sign-ins/{who}")),
        ("long-rights", format!("/register/people/{who}")),
    ] {
        desk.open(&path).await;
        looks.at(&desk, page).await;
    }
    looks.are_fine();
}

async fn writes_at_length(crew: &Person<'_>) {
    crew.open("/units/QHB-424/write/defect").await;
    crew.fill("text", NOTE).await;
    crew.fill("note", NOTE).await;
    crew.press("Place, throttle, speed, load, weather").await;
    crew.fill("place", "Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogogochjunction").await;
    crew.press_first().await;
    crew.waits_for("/units/QHB-424/report").await;
    crew.choose("occasion", "yard").await;
    crew.choose("cutout.GRC", "closed_broken").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_book_says_so_on_every_page() {
    let (house, said) = House::empty();
    let once = said.lines().find_map(|line| line.strip_prefix("sign-in administrator ada ")).unwrap();
    let chromium = Chromium::start(Scripts::On).await;
    let ada = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    ada.sign_in_with("ada", once).await;
    for (field, value) in [("password", once), ("new_password", OWN), ("new_password_again", OWN)] {
        ada.fill(field, value).await;
    }
    ada.press("Take this password").await;
    ada.find(thirtyfour::By::Css(".nav")).await;
    for (name, path) in [("empty-home", "/"), ("empty-units", "/units"), ("empty-find", "/units?q=412")] {
        ada.open(path).await;
        looks.at(&ada, name).await;
    }
    looks.are_fine();
    house.verifies();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_thousand_lines_are_a_page_like_any_other() {
    let house = House::demo_with(&[("reports", &thousand_trips())]);
    let chromium = Chromium::start(Scripts::On).await;
    let foreman = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    foreman.sign_in("r.dunmore").await;
    foreman.open("/triage").await;
    looks.at(&foreman, "thousand-triage").await;
    // And what the demo has written since yesterday, which depends on the hour.
    foreman.reads("1 to 50 of 10").await;
    foreman.open("/triage?unit=QHB-425").await;
    foreman.tap("a.whole[href*=\"burst\"][href*=\"425\"]").await;
    foreman.reads("The entries it rests on").await;
    looks.at(&foreman, "thousand-finding").await;
    foreman.open("/units/QHB-425/timeline").await;
    looks.at(&foreman, "thousand-unit").await;
    foreman.open("/units/QHB-425").await;
    looks.at(&foreman, "thousand-handover").await;
    looks.are_fine();
}

/// Fifty reports with twenty trips each of one breaker, all since yesterday.
fn thousand_trips() -> String {
    let now = Clock::machine().now();
    let mut file = String::new();
    for report in 0..50_i64 {
        let trip = |n: i64| {
            let at = now.minus((600 - report * 10) * MINUTE).plus(n * 20 * SECOND).to_string();
            json!({"id": id(report * 100 + n), "kind": "breaker_trip", "at": at, "device": "TC2", "resets": [], "left": "tripped"})
        };
        let entries: Vec<_> = (1..=20).map(trip).collect();
        let line = json!({"id": id(report * 100), "unit": "QHB 425", "author": "n.okafor", "occasion": "yard",
            "entries": entries, "signed_at": now.to_string()});
        writeln!(file, "{line}").unwrap();
    }
    file
}

fn id(n: i64) -> String {
    uuid::Uuid::from_u64_pair(0x0198_f3a2_6c1e_7d3a, 0x8000_0000_0000_0000 | n.unsigned_abs()).to_string()
}
