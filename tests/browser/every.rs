//! Every page of the site, with who reads it. A page that is added is added here, or a test says so.
use breakerbook::cli::site;
use thirtyfour::By;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

/// Where somebody goes, by who it is.
pub const PAGES: &[(&str, &[&str])] = &[
    (
        "n.okafor",
        &[
            "/units",
            "/units?q=412",
            "/units?q=4",
            "/units?q=nowhere",
            "/units/QHB-412",
            "/units/QHB-209",
            "/units/QHB-412/start-check",
            "/units/QHB-412/start-check?check.1=not_right&battery_rest_v=64.5",
            "/units/QHB-412/write",
            "/units/QHB-412/write/breaker_trip",
            "/units/QHB-412/write/breaker_trip?device=TC2",
            "/units/QHB-412/write/breaker_trip?device=%3F",
            "/units/QHB-412/write/ground_relay?device=GR",
            "/units/QHB-412/write/bypass?device=GRC",
            "/units/QHB-412/write/fuse_check?device=SF",
            "/units/QHB-412/write/engine_start",
            "/units/QHB-412/write/shutdown",
            "/units/QHB-412/write/position?device=TC2",
            "/units/QHB-412/write/defect",
            "/units/QHB-412/report",
            "/run",
            "/run/close",
            "/runs",
            "/tablets",
            "/offline",
            "/kept",
            "/password",
            "/sessions",
            "/nowhere",
        ],
    ),
    (
        "r.dunmore",
        &[
            "/triage",
            "/triage?unit=QHB-412",
            "/triage?device=TC9&shop=Nowhere",
            "/watch",
            "/units",
            "/units/QHB-405",
            "/units/QHB-412/timeline",
            "/units/QHB-412/timeline?until=2020-01-01",
            "/classes/QA6",
            "/classes/QA6?device=TC2",
        ],
    ),
    (
        "r.dunmore",
        &[
            "/units/QHB-412/measurements",
            "/units/QHB-412/measurements/new",
            "/units/QHB-412/measurements/new?kind=insulation",
            "/units/QHB-412/measurements/new?kind=battery",
            "/units/QHB-412/measurements/new?kind=breaker",
            "/units/QHB-412/measurements/new?kind=fuse",
            "/units/QHB-412/measurements/new?kind=lock_out",
            "/batteries/B17",
            "/breaker-table",
            "/inspections",
            "/units/QHB-412/inspections",
            "/units/QHB-412/since-inspection",
            "/units/QHB-412/tag",
            "/units/QHB-412/tag?unit=QHB+412&carrier=Quarry&inspected=Slate+Gap&defects=ground&restrictions=none&destination=shop&determined_by=me",
            "/units/QHB-412/records",
            "/lists",
            "/import",
            "/in-shop",
            "/causes",
            "/units/QHB-412/shop",
            "/units/QHB-412/repairs/new",
            "/units/QHB-412/hold",
            "/units/QHB-412/release",
        ],
    ),
    (
        "m.ruiz",
        &[
            "/bypasses",
            "/bypasses?unit=QHB-204",
            "/notices",
            "/notices/mine",
            "/notices/sent",
            "/register/months",
            "/register/people/a.lind",
            "/register/seals/QHB-204",
            "/authorisations",
            "/authorisations?on=2026-05-01&stands=in_force",
            "/authorisations?person=nobody.at.all",
            "/authorisations/new",
            "/thresholds",
            "/book",
            "/book?number=none",
            "/book/pages/0",
            "/book/pack?unit=nonsense&from=2026-03-01",
            "/codes",
        ],
    ),
    (
        "c.ibsenius",
        &[
            "/breaker-table",
            "/backups",
            "/tokens",
            "/sign-ins",
            "/sign-ins?who=nobody",
            "/sign-ins/m.ruiz",
            "/people",
            "/people?q=nobody.at.all",
            "/people/new",
            "/people/n.okafor",
            "/fleet",
            "/fleet/new",
            "/fleet/units/QHB-412",
            "/fleet/schedule",
            "/fleet/schedule?class=QA6",
            "/api",
            "/notices",
            "/notices/all",
            "/notices/webhooks",
            "/inspections",
            "/triage",
            "/thresholds?burst_ratio=5&often_certainty=seven",
            "/units",
        ],
    ),
];

/// Pages whose address only the book knows, found by the first link to them: from where, and the link.
pub const FOUND: &[(&str, &str, &str)] = &[
    ("n.okafor", "/units/QHB-412/report", "a[href$='/change']"),
    ("n.okafor", "/units/QHB-412/report", "a[href$='/send']"),
    ("n.okafor", "/runs", "a[href^='/reports/']"),
    ("r.dunmore", "/triage", "a.whole[href*='/findings/']"),
    ("r.dunmore", "/units/QHB-412/measurements", "td a[href*='/measurements/']"),
    ("r.dunmore", "/in-shop", "a.whole[href^='/repairs/']"),
    ("r.dunmore", "/units/QHB-405/shop", "a.whole[href^='/repairs/']"),
    ("m.ruiz", "/bypasses", "td a[href*='/bypasses/']"),
    ("m.ruiz", "/register/months", "td a[href*='/register/months/']"),
    ("m.ruiz", "/authorisations", "td a[href^='/authorisations/']"),
    ("m.ruiz", "/authorisations", "a.whole[href^='/authorisations/proposals/']"),
    ("m.ruiz", "/book", "a.whole[href*='/book/pages/']"),
    ("m.ruiz", "/book", "a.whole[href*='/book/checkpoints/']"),
];

/// Not for people's eyes, or only a way to another page.
const NO_PAGES: &[&str] =
    &["/", "/health", "/sign-in", "/worker.js", "/manifest.webmanifest", "/lists/{name}"];

/// Somebody with a run of two units and something written down, so that the pages are full.
pub async fn fill(crew: &Person<'_>) {
    crew.sign_in("n.okafor").await;
    crew.open("/run").await;
    for (field, value) in [("units", "412, 431"), ("run.symbol", "K17"), ("run.from", "Slate Gap")] {
        crew.fill(field, value).await;
    }
    crew.press("Keep this run").await;
    crew.reads("Kept.").await;
    crew.open("/units/QHB-412/write/breaker_trip?device=TC2").await;
    crew.choose("resets[0].result", "none").await;
    crew.press("Place, throttle, speed, load, weather").await;
    crew.fill("place", "MP 41.2").await;
    crew.press("Write it down").await;
    crew.waits_for("/units/QHB-412/report").await;
    crew.sign_out().await;
    crew.sign_in_with("r.dunmore", password("r.dunmore")).await;
    crew.open("/units/QHB-412/measurements/new?kind=battery").await;
    let gravities = "1.262 1.260 1.255 1.258 1.165 1.249 1.261";
    for (field, value) in
        [("battery", "B17"), ("gravities", gravities), ("temperature", "64"), ("full_gravity", "1.265")]
    {
        crew.fill(field, value).await;
    }
    crew.fill("password", password("r.dunmore")).await;
    crew.press("Sign as r.dunmore").await;
    crew.reads("battery").await;
    crew.sign_out().await;
    fill_shop(crew).await;
    fill_rights(crew).await;
}

/// A repair under way and a unit held, so that the shop's pages are full.
async fn fill_shop(shop: &Person<'_>) {
    shop.sign_in("r.dunmore").await;
    shop.open("/units/QHB-412/hold").await;
    shop.choose("reason", "repair").await;
    shop.fill("password", password("r.dunmore")).await;
    shop.press("Hold QHB 412, signed r.dunmore").await;
    shop.waits_for("/units/QHB-412/shop").await;
    shop.open("/units/QHB-412/repairs/new").await;
    shop.tap("input[name=finding][value*=burst]").await;
    shop.fill("words", "Look at the leads").await;
    shop.fill("password", password("r.dunmore")).await;
    shop.press("Open the repair, signed r.dunmore").await;
    shop.waits_for("/repairs/").await;
    shop.sign_out().await;
}

/// A right proposed, that waits for a second signature.
async fn fill_rights(supervisor: &Person<'_>) {
    supervisor.sign_in_with("m.ruiz", password("m.ruiz")).await;
    supervisor.open("/authorisations/new").await;
    for (field, value) in
        [("person", "t.brask"), ("classes", "QY4"), ("basis", "Course on ground protection, sheet 21")]
    {
        supervisor.fill(field, value).await;
    }
    supervisor.fill("password", password("m.ruiz")).await;
    supervisor.press("Sign the proposal as m.ruiz").await;
    supervisor.waits_for("/authorisations/proposals/").await;
    supervisor.sign_out().await;
}

/// The addresses that one person reads, those found by links among them.
pub async fn of(who: &str, somebody: &Person<'_>) -> Vec<String> {
    let listed = PAGES.iter().filter(|(name, _)| *name == who).flat_map(|(_, pages)| *pages);
    let mut all: Vec<String> = listed.map(|page| (*page).to_owned()).collect();
    for (_, from, link) in FOUND.iter().filter(|(name, ..)| *name == who) {
        somebody.open(from).await;
        let found = somebody.find(By::Css(*link)).await;
        all.push(found.attr("href").await.unwrap().unwrap());
    }
    if who == "r.dunmore" {
        all.extend(beneath(&all, somebody).await);
    }
    all
}

/// Pages whose address goes on from another's: of a repair, a line, an entry.
async fn beneath(all: &[String], somebody: &Person<'_>) -> Vec<String> {
    let repairs: Vec<&String> = all.iter().filter(|path| path.starts_with("/repairs/")).collect();
    let mut more = vec![format!("{}/close", repairs[0]), format!("{}/amend", repairs[1])];
    somebody.open("/triage?rule=burst").await;
    let line = somebody.find(By::Css("a.whole[href*='/findings/']")).await;
    let line = line.attr("href").await.unwrap().unwrap();
    more.push(format!("{line}/aside"));
    somebody.open(&line).await;
    let entry = somebody.find(By::Css("a[href^='/entries/']")).await;
    let entry = entry.attr("href").await.unwrap().unwrap();
    more.extend([format!("{entry}/amend"), entry]);
    more
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_on_the_list() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::Off).await;
    let somebody = Person::at(&chromium, &house);
    fill(&somebody).await;
    let mut known: Vec<String> = Vec::new();
    for (who, _) in PAGES {
        somebody.sign_in_with(who, password(who)).await;
        known.extend(of(who, &somebody).await);
        somebody.sign_out().await;
    }
    let pages = site::routes().into_iter().filter(|route| route.method == axum::http::Method::GET);
    let missing: Vec<&str> = pages
        .map(|route| route.path)
        .filter(|path| {
            !path.starts_with("/api/")
                && !path.starts_with("/offline/")
                && !path.contains("/data/")
                && !NO_PAGES.contains(path)
        })
        .filter(|pattern| !known.iter().any(|path| is_of(path, pattern)))
        .collect();
    assert!(missing.is_empty(), "add these to PAGES or FOUND in {}: {missing:?}", file!());
}

/// `/units/QHB-412/write` is of `/units/{unit}/write`.
fn is_of(path: &str, pattern: &str) -> bool {
    let path = path.split('?').next().unwrap_or(path);
    let (path, pattern): (Vec<_>, Vec<_>) = (path.split('/').collect(), pattern.split('/').collect());
    path.len() == pattern.len() && path.iter().zip(&pattern).all(|(p, of)| p == of || of.starts_with('{'))
}
