//! A cab: the demo's server, a network that can go, and a tablet whose browser can be killed and opened again.
use std::time::Duration;

use serde_json::{Value, json};
use thirtyfour::By;

use super::gate::Gate;
use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{PATIENCE, Person},
};

/// Longer words are pasted: the driver types thousands of letters faster than a disk takes each of them, and somebody who writes
/// that much has it from elsewhere.
const PASTED: usize = 300;

pub struct Cab {
    pub house: House,
    pub gate: Gate,
    profile: tempfile::TempDir,
}

impl Cab {
    pub async fn new() -> Self {
        let mut house = House::demo();
        let gate = Gate::before(&house.url).await;
        house.url = gate.url.clone();
        Self { house, gate, profile: tempfile::tempdir().unwrap() }
    }

    pub async fn browser(&self) -> Chromium {
        self.browser_with(&[]).await
    }

    pub async fn browser_with(&self, flags: &[&str]) -> Chromium {
        Chromium::with(Scripts::On, self.profile.path(), flags).await
    }

    /// The entries that somebody filed from a tablet, with their reports.
    pub fn filed_by(&self, name: &str) -> Vec<Value> {
        let mut rows = self.house.rows("entries");
        rows.retain(|row| row["author"] == name && row["channel"] == "device");
        rows
    }

    pub async fn waits_for_entries(&self, name: &str, count: usize) -> Vec<Value> {
        let mut rows = Vec::new();
        for _ in 0..400 {
            rows = self.filed_by(name);
            if rows.len() >= count {
                break;
            }
            tokio::time::sleep(Duration::from_millis(250)).await;
        }
        assert_eq!(rows.len(), count, "{rows:#?}");
        rows
    }
}

pub fn reports(rows: &[Value]) -> Vec<String> {
    let mut reports: Vec<_> =
        rows.iter().map(|row| row["report"].as_str().unwrap_or_default().to_owned()).collect();
    reports.sort();
    reports.dedup();
    reports
}

/// Imports a module of the product's scripts and runs `body`, which may await, with it as `keep`, `sending`, …
pub async fn asks(person: &Person<'_>, body: &str, with: Value) -> Value {
    let script = format!(
        "const [urls, given, done] = arguments;
         (async () => {{
            const [keep, sending, contract, online] = await Promise.all(urls.map((url) => import(url)));
            {body}
         }})().then((said) => done(said ?? null), (why) => done({{ failed: String(why?.stack ?? why) }}));"
    );
    let url = |name: &str| breakerbook::web::assets::url(name);
    let urls: Vec<_> = ["keep.js", "sending.js", "contract.js", "online.js"].map(url).into();
    let said = person.driver.execute_async(&script, vec![json!(urls), with]).await.unwrap();
    let said = said.json().clone();
    assert!(said.get("failed").is_none(), "{}", said["failed"]);
    said
}

impl Person<'_> {
    /// Signs in, opens a unit and waits until the tablet has all it needs without network.
    pub async fn takes_over(&self, name: &str, unit: &str) {
        self.sign_in(name).await;
        self.open(&format!("/units/{unit}")).await;
        self.is_kept(unit).await;
    }

    /// Until nothing waits in the tablet's queue.
    pub async fn has_sent_all(&self) {
        for _ in 0..400 {
            if asks(self, "return (await keep.all('queue')).length", json!(null)).await == 0 {
                return;
            }
            tokio::time::sleep(Duration::from_millis(250)).await;
        }
        panic!("the queue is not sent: {}", self.text().await);
    }

    pub async fn is_kept(&self, unit: &str) {
        let whole = format!(
            "return Promise.all(['/units/{unit}', '/offline/units/{unit}'].map((path) => caches.match(path)))
                .then(async (pages) => pages.every(Boolean) && (await caches.keys()).some((name) => name.startsWith('shell-'))
                    && (await caches.open('pages').then((pages) => pages.keys())).some((page) => page.url.includes('/offline/classes/')))"
        );
        for _ in 0..PATIENCE {
            let has_key = "return new Promise((done) => { const ask = indexedDB.open('breakerbook', 1); ask.onsuccess = () => {
                const all = ask.result.transaction('keys').objectStore('keys').getAll(); all.onsuccess = () => done(all.result.length > 0); }; })";
            if self.script(&whole).await == true && self.script(has_key).await == true {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("the tablet does not keep {unit}");
    }

    /// The browser itself says that there is no network, to its pages and to its worker.
    pub async fn network_is_cut_by_the_browser(&self, offline: bool) {
        let conditions =
            json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
        let targets = self.devtools("Target.getTargets", json!({})).await;
        let of_worker = |target: &&Value| target["type"] == "service_worker";
        for worker in targets["targetInfos"].as_array().unwrap().iter().filter(of_worker) {
            let attach = json!({"targetId": worker["targetId"], "flatten": false});
            let session = self.devtools("Target.attachToTarget", attach).await["sessionId"].clone();
            for (id, method, params) in [
                (1, "Network.enable", json!({})),
                (2, "Network.emulateNetworkConditions", conditions.clone()),
            ] {
                let message = json!({"id": id, "method": method, "params": params}).to_string();
                self.devtools(
                    "Target.sendMessageToTarget",
                    json!({"sessionId": session, "message": message}),
                )
                .await;
            }
        }
        self.devtools("Network.enable", json!({})).await;
        self.devtools("Network.emulateNetworkConditions", conditions).await;
        assert_eq!(self.script("return navigator.onLine").await, !offline);
    }

    /// Opens a form, wherever it comes from, fills it in and sees it written down. A network that comes and goes may
    /// take the page away under one's fingers: then once more.
    pub async fn writes(&self, path: &str, keys: &[(&str, &str)], fills: &[(&str, &str)]) {
        for _ in 0..40 {
            if self.tries_to_write(path, keys, fills).await {
                return;
            }
        }
        panic!("could not write at {path}: is at {}, {}", self.path().await, self.text().await);
    }

    async fn tries_to_write(&self, path: &str, keys: &[(&str, &str)], fills: &[(&str, &str)]) -> bool {
        if self.driver.goto(format!("{}{path}", self.house.url)).await.is_err()
            || !self.sees("main form .button.first").await
        {
            return false;
        }
        for (name, value) in keys {
            let css = format!("input[name=\"{name}\"][value=\"{value}\"]");
            let chosen = format!(
                "const key = document.querySelector({css:?}); if (!key) return false; key.closest('details')?.setAttribute('open', ''); key.checked || key.click(); return key.checked"
            );
            if self.script(&chosen).await != true {
                return false;
            }
        }
        for (name, text) in fills {
            let css = format!("input[name=\"{name}\"], textarea[name=\"{name}\"]");
            let Ok(field) = self.driver.find(By::Css(css.as_str())).await else { return false };
            if text.len() > PASTED {
                let put = format!(
                    "const field = document.querySelector({css:?}); field.value = {text:?}; field.dispatchEvent(new Event('input', {{bubbles: true}}))"
                );
                self.script(&put).await;
            } else if field.clear().await.is_err() || field.send_keys(*text).await.is_err() {
                return false;
            }
        }
        // Give what is typed the moment it takes to be kept.
        tokio::time::sleep(Duration::from_millis(150)).await;
        let press = "const b = [...document.querySelectorAll('main form .button.first')].pop(); b?.click(); return !!b";
        let _ = self.driver.execute(press, vec![]).await;
        for _ in 0..80 {
            let path = self.path().await;
            if path.contains("/report") && self.sees_now("main ol.lines li").await {
                return true;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        false
    }

    /// Writes down that the bell, or what it says, is not as it should be.
    pub async fn rings(&self, unit: &str, text: &str) {
        self.writes(&format!("/units/{unit}/write/defect"), &[("system", "horn_bell")], &[("text", text)])
            .await;
    }

    /// The one place that says what the tablet keeps.
    pub async fn kept_says(&self, words: &str) {
        self.find(By::XPath(format!("//*[@id='kept'][not(@hidden)][contains(., {words:?})]"))).await;
    }

    pub async fn sees(&self, css: &str) -> bool {
        for _ in 0..50 {
            if self.sees_now(css).await {
                return true;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        false
    }

    async fn sees_now(&self, css: &str) -> bool {
        self.driver.find(By::Css(css)).await.is_ok()
    }

    /// Signs the unit's report on the tablet: yard work, no run.
    pub async fn signs_here(&self, unit: &str) {
        self.open(&format!("/units/{unit}/report")).await;
        self.signs_what_is_shown().await;
        self.reads("Waiting to be sent").await;
    }

    pub async fn signs_what_is_shown(&self) {
        self.find(By::Css("#shell input[name=signature]")).await;
        // A second tap on a key takes it back.
        if self.script("return document.querySelector('#shell form').elements.occasion.value").await != "yard"
        {
            self.tap("input[name=occasion][value=yard]").await;
        }
        self.tap("#shell input[name=signature]").await;
        self.press("Sign, and send when there is network").await;
    }

    /// The battery is flat.
    pub async fn browser_is_killed(&self) {
        let _ = self.driver.cdp().send_raw("Browser.crash", json!({})).await;
    }
}
