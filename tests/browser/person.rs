//! Somebody at a browser: reads what is to be seen, taps what can be tapped.
use std::time::Duration;

use breakerbook::cli::demo::SIGN_INS;
use serde_json::{Value, json};
use thirtyfour::{By, WebDriver, WebElement};

use crate::{chromium::Chromium, house::House};

/// How often and how long is waited for a page that is on its way: half a minute, for a machine that has much else to
/// do. Only what fails waits so long.
pub const PATIENCE: usize = 600;
pub const MOMENT: Duration = Duration::from_millis(50);

pub struct Person<'a> {
    pub driver: WebDriver,
    pub house: &'a House,
}

impl<'a> Person<'a> {
    pub fn at(chromium: &Chromium, house: &'a House) -> Self {
        Self { driver: chromium.driver.clone(), house }
    }

    pub async fn sign_in(&self, name: &str) {
        let (_, _, password) = SIGN_INS.iter().find(|(_, n, _)| *n == name).unwrap();
        self.sign_in_with(name, password).await;
    }

    pub async fn sign_in_with(&self, name: &str, password: &str) {
        self.open("/sign-in").await;
        self.fill("sign_in", name).await;
        self.fill("password", password).await;
        self.press("Sign in").await;
        self.find(By::Css(".who")).await;
    }

    /// Signs in on the page that asks for it.
    pub async fn sign_in_here(&self, name: &str) {
        self.fill("sign_in", name).await;
        self.fill("password", password(name)).await;
        self.press("Sign in").await;
        self.find(By::Css(".who")).await;
    }

    /// The server ends the session, as after hours without a sign of life; the browser knows nothing of it.
    pub async fn session_ends(&self) {
        let urls = json!({"urls": [self.house.url]});
        let mut cookies = self.devtools("Network.getCookies", urls).await["cookies"].take();
        let cookies = cookies.as_array_mut().unwrap();
        let mut cookie = cookies.iter_mut().find(|cookie| cookie["name"] == "breakerbook").unwrap().take();
        self.script("return fetch('/sign-out', {method: 'POST', redirect: 'manual'}).then(() => true)").await;
        let wanted = ["name", "value", "path", "httpOnly", "sameSite"];
        let mut kept: serde_json::Map<_, _> =
            wanted.into_iter().map(|name| (name.to_owned(), cookie[name].take())).collect();
        kept.insert("url".into(), json!(self.house.url));
        self.devtools("Network.setCookie", Value::Object(kept)).await;
    }

    pub async fn sign_out(&self) {
        self.press("Sign out").await;
        self.waits_for("/sign-in").await;
    }

    pub async fn open(&self, path: &str) {
        let came = self.driver.goto(format!("{}{path}", self.house.url)).await;
        came.unwrap_or_else(|why| panic!("{path} does not come: {why}"));
    }

    /// Where the browser is: path and query.
    pub async fn path(&self) -> String {
        let url = self.driver.current_url().await.unwrap();
        url.as_str().strip_prefix(self.house.url.as_str()).unwrap_or(url.as_str()).to_owned()
    }

    pub async fn waits_for(&self, path: &str) {
        for _ in 0..PATIENCE {
            if self.path().await.starts_with(path) {
                return;
            }
            tokio::time::sleep(MOMENT).await;
        }
        panic!("is at {}, not at {path}: {}", self.path().await, self.text().await);
    }

    /// What is to be seen on the page itself.
    pub async fn text(&self) -> String {
        for _ in 0..PATIENCE {
            // A page that is just being left takes its elements with it.
            if let Ok(main) = self.driver.find(By::Id("main")).await
                && let Ok(text) = main.text().await
            {
                return text;
            }
            tokio::time::sleep(MOMENT).await;
        }
        panic!("there is no page at {}", self.path().await)
    }

    /// Reads it, at once or as soon as the page has come.
    pub async fn reads(&self, words: &str) {
        let mut text = String::new();
        for _ in 0..PATIENCE {
            text = self.text().await;
            if text.contains(words) {
                return;
            }
            tokio::time::sleep(MOMENT).await;
        }
        let start: String = text.chars().take(2_000).collect();
        panic!("{words:?} is not to be read at {}: {start}", self.path().await);
    }

    pub async fn find(&self, by: By) -> WebElement {
        let mut last = None;
        for _ in 0..PATIENCE {
            match self.driver.find(by.clone()).await {
                Ok(found) => return found,
                Err(why) => last = Some(why),
            }
            tokio::time::sleep(MOMENT).await;
        }
        panic!("{by:?} at {}: {last:?}\n{}", self.path().await, self.text().await)
    }

    pub async fn all(&self, css: &str) -> Vec<WebElement> {
        self.driver.find_all(By::Css(css)).await.unwrap()
    }

    /// Taps it where it is; something lying over it fails the test.
    pub async fn tap(&self, css: &str) {
        let found = self.find(By::Css(css)).await;
        self.brings_to_the_middle(&found).await;
        if let Err(why) = found.click().await {
            panic!("{css} at {} cannot be tapped: {why}\n{}", self.path().await, self.text().await);
        }
    }

    /// As somebody scrolls who wants to tap it.
    async fn brings_to_the_middle(&self, found: &WebElement) {
        let to = vec![found.to_json().unwrap()];
        let _ = self.driver.execute("arguments[0].scrollIntoView({block: 'center'})", to).await;
    }

    /// A button or a link with these words on it.
    pub async fn press(&self, words: &str) {
        let path = format!(
            "//button[normalize-space()={words:?}] | //a[normalize-space()={words:?}] | //summary[normalize-space()={words:?}]"
        );
        let found = self.find(By::XPath(path)).await;
        self.brings_to_the_middle(&found).await;
        if let Err(why) = found.click().await {
            panic!("{words:?} at {} cannot be pressed: {why}\n{}", self.path().await, self.text().await);
        }
    }

    /// What the page is for: its last large button.
    pub async fn press_first(&self) {
        let found = self.all("main form .button.first").await.pop().expect("a button that sends the form");
        found.click().await.unwrap();
    }

    /// One of the large keys.
    pub async fn choose(&self, name: &str, value: &str) {
        self.tap(&format!("input[name=\"{name}\"][value=\"{value}\"]")).await;
    }

    pub async fn fill(&self, name: &str, text: &str) {
        let css = format!("input[name=\"{name}\"], textarea[name=\"{name}\"]");
        let field = self.find(By::Css(css)).await;
        field.clear().await.unwrap();
        field.send_keys(text).await.unwrap();
    }

    pub async fn value(&self, name: &str) -> String {
        let css = format!("input[name=\"{name}\"], textarea[name=\"{name}\"]");
        self.find(By::Css(&*css)).await;
        // In one step: the page may be drawn anew between finding a field and reading it.
        let read = "return document.querySelector(arguments[0])?.value ?? ''";
        let value = self.driver.execute(read, vec![json!(css)]).await.unwrap();
        value.json().as_str().unwrap_or_default().to_owned()
    }

    pub async fn script(&self, script: &str) -> Value {
        self.driver.execute(script, vec![]).await.unwrap().json().clone()
    }

    pub async fn devtools(&self, command: &str, with: Value) -> Value {
        self.driver.cdp().send_raw(command, with).await.unwrap()
    }

    pub async fn screen(&self, width: u32) {
        let height = if width < 600 { 844 } else { 900 };
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        self.devtools("Emulation.setDeviceMetricsOverride", size).await;
    }
}

/// The password that the demo gave.
pub fn password(name: &str) -> &'static str {
    SIGN_INS.iter().find(|(_, n, _)| *n == name).unwrap().2
}
