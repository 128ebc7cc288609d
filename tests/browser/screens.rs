//! The journey's pages, looked at.
use thirtyfour::By;

use crate::{
    chromium::{Chromium, Scripts},
    every,
    house::House,
    looks::Looks,
    person::Person,
};

const CREW: &[(&str, &str)] = &[
    ("units", "/units"),
    ("units-found", "/units?q=412"),
    ("handover", "/units/QHB-412"),
    ("start-check", "/units/QHB-412/start-check?check.1=not_right&battery_rest_v=64.5"),
    ("brake-set-up", "/units/QHB-412/start-check?for=brake_set_up"),
    ("choose", "/units/QHB-412/write"),
    ("pick", "/units/QHB-412/write/breaker_trip"),
    ("trip", "/units/QHB-412/write/breaker_trip?device=TC2"),
    ("ground-relay", "/units/QHB-412/write/ground_relay?device=GR"),
    ("bypass-form", "/units/QHB-412/write/bypass?device=GRC"),
    ("fuse", "/units/QHB-412/write/fuse_check?device=SF"),
    ("report", "/units/QHB-412/report"),
    ("run", "/run"),
    ("close", "/run/close"),
    ("runs", "/runs"),
    ("kept", "/kept"),
    ("not-there", "/units/QHB-412/nowhere"),
];

#[tokio::test(flavor = "multi_thread")]
async fn the_crews_pages_look_right() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    crew.open("/sign-in").await;
    looks.at(&crew, "sign-in").await;
    every::fill(&crew).await;
    crew.sign_in("n.okafor").await;
    for (name, path) in CREW {
        crew.open(path).await;
        looks.at(&crew, name).await;
    }
    looks.are_fine();
}

/// The page's own switch, against what the device says, and it stays until it is taken back.
#[tokio::test(flavor = "multi_thread")]
async fn the_palette_can_be_switched() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::Off).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(390).await;
    crew.sign_in("n.okafor").await;
    let ground = || crew.script("return getComputedStyle(document.body).backgroundColor");
    let day = ground().await;
    crew.press("night").await;
    crew.find(By::Css("html[data-palette=night]")).await;
    assert_ne!(ground().await, day);
    crew.open("/units/QHB-412/write").await;
    crew.find(By::Css("html[data-palette=night]")).await;
    crew.press("as the device").await;
    crew.find(By::Css("html:not([data-palette])")).await;
    assert_eq!(ground().await, day);
    assert_eq!(crew.path().await, "/units/QHB-412/write", "and one stays on the page");
}

/// With a unit held, a repair under way, and a test of its insulation that fails.
const WORK: &[(&str, &str)] = &[
    ("in-shop", "/in-shop"),
    ("unit-shop", "/units/QHB-412/shop"),
    ("hold", "/units/QHB-412/hold"),
    ("release", "/units/QHB-412/release"),
    ("repair-new", "/units/QHB-405/repairs/new"),
    ("causes", "/causes"),
    ("measure-list", "/units/QHB-412/measurements"),
    ("measure-choose", "/units/QHB-412/measurements/new"),
    ("battery", "/batteries/B17"),
    ("breaker-table", "/breaker-table"),
    ("inspections", "/inspections"),
    ("unit-inspections", "/units/QHB-412/inspections"),
    ("since-inspection", "/units/QHB-412/since-inspection"),
    ("tag", "/units/QHB-412/tag"),
    ("records", "/units/QHB-412/records"),
    ("lists", "/lists"),
    ("import", "/import"),
];

#[tokio::test(flavor = "multi_thread")]
async fn the_shops_work_looks_right() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let shop = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    every::fill(&shop).await;
    shop.sign_in("r.dunmore").await;
    shop.open("/in-shop").await;
    shop.tap("a.whole[href^='/repairs/']").await;
    shop.press("Write down a measurement").await;
    shop.tap("a[href*=\"kind=insulation\"]").await;
    looks.at(&shop, "insulation").await;
    shop.choose("object", "power_circuit").await;
    shop.fill("ir1_mohm", "0.4").await;
    shop.fill("temperature", "77").await;
    shop.fill("password", crate::person::password("r.dunmore")).await;
    shop.press("Sign as r.dunmore").await;
    shop.reads("is under 1").await;
    looks.at(&shop, "insulation-fails").await;
    shop.press("The repair").await;
    shop.reads("Insulation resistance").await;
    looks.at(&shop, "repair").await;
    looks.at_large_text(&shop, "repair").await;
    shop.press("Close the repair").await;
    shop.find(By::Css("[name=another]")).await;
    looks.at(&shop, "repair-close").await;
    for (name, path) in WORK {
        shop.open(path).await;
        looks.at(&shop, name).await;
    }
    looks.are_fine();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_shops_and_supervisors_pages_look_right() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let somebody = Person::at(&chromium, &house);
    let mut looks = Looks::default();
    somebody.sign_in("r.dunmore").await;
    somebody.open("/triage").await;
    looks.at(&somebody, "triage").await;
    let loud = somebody
        .script("return [...document.querySelectorAll('.lines .main')].map(e => e.textContent)")
        .await;
    for line in loud.as_array().unwrap().iter().filter_map(|line| line.as_str()) {
        assert!(!line.contains("attempt 1: running"), "the usual is told quietly: {line}");
    }
    somebody.tap("a.whole[href*=\"burst\"][href*=\"412\"]").await;
    somebody.reads("The entries it rests on").await;
    looks.at(&somebody, "finding").await;
    for (name, path) in [
        ("unit", "/units/QHB-412/timeline"),
        ("unit-battery", "/units/QHB-406/timeline"),
        ("class", "/classes/QA6"),
        ("class-device", "/classes/QA6?device=TC2"),
    ] {
        somebody.open(path).await;
        looks.at(&somebody, name).await;
    }
    somebody.open("/watch").await;
    looks.at(&somebody, "watch").await;
    somebody.sign_out().await;
    somebody.sign_in("c.ibsenius").await;
    somebody.open("/sign-ins/m.ruiz").await;
    looks.at(&somebody, "sign-ins-of").await;
    somebody.sign_out().await;
    somebody.sign_in("m.ruiz").await;
    somebody.open("/codes").await;
    somebody.press("Set up one-time codes").await;
    somebody.reads("Take these codes").await;
    looks.at(&somebody, "codes").await;
    looks.at_large_text(&somebody, "codes").await;
    somebody.open("/sessions").await;
    looks.at(&somebody, "sessions").await;
    for (name, path) in
        [("book", "/book"), ("book-page", "/book/pages/0"), ("book-wrong", "/book/pack?unit=nonsense")]
    {
        somebody.open(path).await;
        looks.at(&somebody, name).await;
    }
    somebody.open("/bypasses").await;
    looks.at(&somebody, "bypasses").await;
    somebody.tap("tr.certain a").await;
    somebody.reads("Authorised then").await;
    looks.at(&somebody, "bypass").await;
    somebody.open("/thresholds").await;
    looks.at(&somebody, "thresholds").await;
    looks.at_large_text(&somebody, "thresholds").await;
    somebody.open("/thresholds?burst_ratio=6&often_certainty=seven").await;
    looks.at(&somebody, "thresholds-wrong").await;
    somebody.open("/thresholds?burst_chance=0.02&often_certainty=0.8").await;
    somebody.reads("If these were in force").await;
    looks.at(&somebody, "thresholds-tried").await;
    looks.are_fine();
}
