//! What the pages weigh on the wire, where they ask for things, and what the browser complains of.
use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::{
    chromium::{Chromium, Scripts},
    every,
    house::House,
    person::Person,
};

const FIRST: u64 = 40_000;
const LATER: u64 = 15_000;

const CREW: &[&str] = &[
    "/units",
    "/units?q=4",
    "/units/QHB-412",
    "/units/QHB-412/start-check",
    "/units/QHB-412/start-check?for=parking",
    "/units/QHB-412/write",
    "/units/QHB-412/write/breaker_trip",
    "/units/QHB-412/write/breaker_trip?device=TC2",
    "/units/QHB-412/write/ground_relay?device=GR",
    "/units/QHB-412/write/bypass?device=GRC",
    "/units/QHB-412/write/fuse_check?device=SF",
    "/units/QHB-412/write/engine_start",
    "/units/QHB-412/write/shutdown",
    "/units/QHB-412/write/position",
    "/units/QHB-412/write/position?device=TC2",
    "/units/QHB-412/write/defect",
    "/units/QHB-412/report",
    "/run",
    "/run/close",
    "/runs",
    "/kept",
    "/password",
    "/nowhere",
];
const SHOP: &[&str] = &[
    "/triage",
    "/triage?unit=QHB-412",
    "/units/QHB-405",
    "/units/QHB-412/timeline",
    "/units/QHB-406/timeline",
    "/classes/QA6",
    "/classes/QA6?device=TC2",
];
const SUPERVISOR: &[&str] = &["/bypasses", "/bypasses?unit=QHB-204", "/authorisations"];

#[tokio::test(flavor = "multi_thread")]
async fn pages_are_light_and_keep_to_themselves() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let somebody = Person::at(&chromium, &house);
    let mut scale = Scale { house: &house, wrong: Vec::new(), heaviest: (0, String::new()) };
    scale.weigh(&somebody, &["/sign-in"]).await;
    every::fill(&somebody).await;
    for (who, pages) in [("n.okafor", CREW), ("r.dunmore", SHOP), ("m.ruiz", SUPERVISOR)] {
        somebody.sign_in(who).await;
        scale.weigh(&somebody, pages).await;
        for row in ["a.whole[href*=\"/findings/\"]", "td a[href*=\"/bypasses/\"]"] {
            let Some(found) = somebody.all(row).await.into_iter().next() else { continue };
            let path = found.attr("href").await.unwrap().unwrap();
            scale.weigh(&somebody, &[&path]).await;
        }
        somebody.sign_out().await;
    }
    eprintln!("heaviest first load: {} bytes, {}", scale.heaviest.0, scale.heaviest.1);
    assert!(scale.wrong.is_empty(), "{}", scale.wrong.join("\n"));
}

struct Scale<'a> {
    house: &'a House,
    wrong: Vec<String>,
    heaviest: (u64, String),
}

impl Scale<'_> {
    async fn weigh(&mut self, somebody: &Person<'_>, pages: &[&str]) {
        for page in pages {
            // What the worker hands out weighs nothing: the page as it comes without one is what is held to its limit.
            somebody.devtools("Network.setBypassServiceWorker", json!({"bypass": true})).await;
            somebody.devtools("Network.clearBrowserCache", json!({})).await;
            for (which, most) in [("first", FIRST), ("later", LATER)] {
                heard(somebody).await;
                somebody.open(page).await;
                somebody.text().await;
                let load = Load::of(&heard(somebody).await, &self.house.url);
                self.judge(page, which, most, &load);
                if which == "first" && load.bytes > self.heaviest.0 {
                    self.heaviest = (load.bytes, (*page).to_owned());
                }
            }
            self.complaints(somebody, page).await;
        }
    }

    fn judge(&mut self, page: &str, which: &str, most: u64, load: &Load) {
        eprintln!("{page}, {which}: {} bytes in {} answers", load.bytes, load.answers);
        if load.bytes == 0 || load.bytes > most {
            self.wrong
                .push(format!("{page} weighs {} bytes at the {which} load, {most} allowed", load.bytes));
        }
        for url in &load.elsewhere {
            self.wrong.push(format!("{page} asks elsewhere: {url}"));
        }
        match load.policies.get(page) {
            Some(policy) if policy.contains("default-src 'none'") && !policy.contains("unsafe") => {}
            policy => self.wrong.push(format!("{page} has the content-security policy {policy:?}")),
        }
    }

    async fn complaints(&mut self, somebody: &Person<'_>, page: &str) {
        let said = somebody.driver.browser_log().await.unwrap();
        // That a page is not there is what its own address says.
        let own = said.iter().filter(|line| !(page == "/nowhere" && line.message.contains("404")));
        self.wrong
            .extend(own.map(|line| format!("{page}: the browser says {}: {}", line.level, line.message)));
    }
}

/// The DevTools events since one asked last.
async fn heard(somebody: &Person<'_>) -> Vec<Value> {
    let lines = somebody.driver.handle().get_log("performance").await.unwrap();
    let read = |line: &str| serde_json::from_str::<Value>(line).unwrap()["message"].take();
    lines.iter().map(|line| read(&line.message)).collect()
}

#[derive(Default)]
struct Load {
    bytes: u64,
    answers: usize,
    elsewhere: Vec<String>,
    /// By path and query.
    policies: BTreeMap<String, String>,
}

impl Load {
    fn of(events: &[Value], own: &str) -> Self {
        let mut load = Self::default();
        for event in events {
            let (method, params) = (event["method"].as_str().unwrap_or_default(), &event["params"]);
            let url = |of: &str| params[of]["url"].as_str().unwrap_or_default().to_owned();
            match method {
                // The browser's own drawing of a calendar comes from the browser itself.
                "Network.requestWillBeSent"
                    if !url("request").starts_with(own)
                        && !url("request").starts_with("data:image/svg+xml;base64,PHN2ZyB4bWxucz0i") =>
                {
                    load.elsewhere.push(url("request"))
                }
                "Network.responseReceived" => {
                    let policy = params["response"]["headers"]["content-security-policy"].as_str();
                    let path = url("response").trim_start_matches(own).to_owned();
                    load.policies.insert(path, policy.unwrap_or_default().to_owned());
                }
                "Network.loadingFinished" => {
                    load.answers += 1;
                    // Whole bytes, as DevTools counts them: head and body as they came.
                    load.bytes += params["encodedDataLength"]
                        .as_f64()
                        .map_or(0, |n| format!("{n:.0}").parse().unwrap());
                }
                _ => {}
            }
        }
        load
    }
}
