//! The journey's pages, looked at.
use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    looks::Looks,
    person::Person,
};

const CREW: &[(&str, &str)] = &[
    ("units", "/units"),
    ("units-found", "/units?q=412"),
    ("handover", "/units/QHB-412"),
    ("choose", "/units/QHB-412/write"),
    ("pick", "/units/QHB-412/write/breaker_trip"),
    ("trip", "/units/QHB-412/write/breaker_trip?device=TC2"),
    ("ground-relay", "/units/QHB-412/write/ground_relay"),
    ("bypass-form", "/units/QHB-412/write/bypass"),
    ("fuse", "/units/QHB-412/write/fuse_check?device=SF"),
    ("report", "/units/QHB-412/report"),
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
    crew.sign_in("n.okafor").await;
    for (name, path) in CREW {
        crew.open(path).await;
        looks.at(&crew, name).await;
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
    somebody.tap("a.whole[href*=\"burst\"][href*=\"412\"]").await;
    somebody.reads("The entries it rests on").await;
    looks.at(&somebody, "finding").await;
    somebody.sign_out().await;
    somebody.sign_in("m.ruiz").await;
    somebody.open("/bypasses").await;
    looks.at(&somebody, "bypasses").await;
    somebody.tap("tr.certain a").await;
    somebody.reads("Authorised then").await;
    looks.at(&somebody, "bypass").await;
    looks.are_fine();
}
