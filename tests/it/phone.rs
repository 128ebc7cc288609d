//! What shows the codes: another implementation's clock and ours, and a person who sets it up.
use breakerbook::{
    base::{Instant, instant::SECOND},
    people::codes_store,
    web::paths,
};

use crate::harness::{App, Browser, PASSWORD, Page};

pub struct Phone {
    secret: String,
    pub recovery: Vec<String>,
}

impl Phone {
    /// What it shows at that moment.
    pub fn shows(&self, at: Instant) -> String {
        let secret = totp_rs::Secret::try_from_base32(&self.secret).unwrap();
        let totp = totp_rs::Builder::new().with_secret(secret).build().unwrap();
        totp.generate(u64::try_from(at.0 / SECOND).unwrap()).to_string()
    }
}

/// The secret on the page of somebody who is setting it up.
pub fn secret(page: &Page) -> String {
    let (_, rest) = page.body.split_once("<dt>Secret</dt><dd class=\"code\">").expect("a secret is shown");
    rest.split_once('<').unwrap().0.replace(' ', "")
}

/// Sets up codes in this browser, to the last recovery code.
pub async fn set_up(app: &App, browser: &Browser<'_>) -> Phone {
    browser.post(paths::Codes, &[("then", "begin")]).await.goes_to(paths::Codes);
    let page = browser.get(paths::Codes).await.is(200);
    let mut phone = Phone { secret: secret(&page), recovery: Vec::new() };
    let code = phone.shows(app.clock.now());
    let page = page.fill("one_time_code", &code).fill("password", PASSWORD).send().await.is(200);
    phone.recovery = recovery(&page);
    phone
}

pub fn recovery(page: &Page) -> Vec<String> {
    let lines = page.body.split("<li class=\"figures\">").skip(1);
    lines.map(|line| line.split_once('<').unwrap().0.to_owned()).collect()
}

/// The page after the right password.
pub async fn asked<'a>(app: &'a App, name: &str) -> Page<'a> {
    let page = app.anon().get(paths::SignIn).await;
    page.fill("sign_in", name).fill("password", PASSWORD).send().await.is(200).says("One-time code")
}

impl App {
    /// As a book is that was begun by `init`.
    pub async fn asks_for_codes(&self) {
        let now = self.clock.now();
        let ask = self.web.desk().aside(move |c| Box::pin(async move { codes_store::ask(c, now).await }));
        ask.await.unwrap();
    }

    /// How many pages of the book are of a kind.
    pub async fn pages_of(&self, kind: &str) -> i64 {
        let mut db = self.web.desk().read().await.unwrap();
        let count = sqlx::query_scalar("SELECT count(*) FROM page WHERE blob LIKE ?");
        count.bind(format!("%\"kind\":\"{kind}\"%")).fetch_one(&mut *db).await.unwrap()
    }
}
