//! Where somebody is signed in, and the end of it.
use axum::body::Body;
use breakerbook::web::paths;

use crate::{
    harness::{App, Browser, PASSWORD},
    html,
};

const AGENT: &str = "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0";

/// Signs in as a browser does that says what it is.
async fn firefox<'a>(app: &'a App, name: &str) -> Browser<'a> {
    let browser = app.anon();
    let body = format!("sign_in={name}&password={}", paths::encoded(PASSWORD));
    let request = browser.request("POST", paths::SignIn).header("user-agent", AGENT);
    let request = request.header("sec-fetch-site", "same-origin");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    browser.send(request.body(Body::from(body)).unwrap()).await.is(303);
    browser
}

/// The ids offered on the page of one's sessions.
async fn offered(browser: &Browser<'_>) -> Vec<String> {
    let page = browser.get(paths::Sessions).await.is(200);
    let tags = html::tags(&page.body);
    let ids = tags.iter().filter(|tag| tag.get("name") == Some("end")).filter_map(|tag| tag.get("value"));
    ids.filter(|id| *id != "others").map(str::to_owned).collect()
}

#[tokio::test]
async fn sessions_are_listed_and_ended_one_by_one_and_all_others() {
    let app = App::start().await;
    let there = firefox(&app, "ann").await;
    app.minutes_pass(10);
    let here = app.user("ann").await;
    let page = here.get(paths::Sessions).await.is(200);
    let page = page.says("Firefox on Linux").says("A browser that does not say what it is");
    let page = page.says("Signed in 3 Mar 2026 06:00 -06:00, last seen 3 Mar 2026 06:00 -06:00");
    let ids = offered(&here).await;
    assert_eq!(ids.len(), 1, "the one here is not offered");
    let page = page.fill("end", &ids[0]).fill("password", "not mine").send().await.is(422);
    there.get("/").await.goes_to(paths::Units);
    page.says("not your password")
        .fill("end", &ids[0])
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to(paths::Sessions);
    there.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    here.get(paths::Sessions).await.says("Nowhere else.");

    let (one, two) = (firefox(&app, "ann").await, firefox(&app, "ann").await);
    here.get(paths::Sessions).await.fill("password", PASSWORD).send().await.goes_to(paths::Sessions);
    for ended in [one, two] {
        ended.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    }
    here.get("/").await.goes_to(paths::Units);
}

#[tokio::test]
async fn nobody_ends_another_persons_session() {
    let app = App::start().await;
    let (_bens_other, ben) = (firefox(&app, "ben").await, app.user("ben").await);
    let bens = offered(&ben).await;
    let ann = app.user("ann").await;
    for id in bens.iter().map(String::as_str).chain(["", "nonsense", "0000000000000000"]) {
        let page = ann.post(paths::Sessions, &[("end", id), ("password", PASSWORD)]).await;
        page.is(422).says("this one is over already, or not yours");
    }
    ann.post(paths::Sessions, &[("end", "others"), ("password", PASSWORD)]).await.goes_to(paths::Sessions);
    assert_eq!(offered(&ben).await, bens, "ben's are all there");
}

#[tokio::test]
async fn an_administrator_ends_all_sessions_of_somebody() {
    let app = App::start().await;
    let (ben, ann, ada) = (app.user("ben").await, app.user("ann").await, app.user("ada").await);
    let page = ada.get(paths::SignInsOf("ben".into())).await.fill("what", "sessions");
    page.fill("password", PASSWORD).send().await.is(200).says("All their sessions have ended.");
    ben.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    ann.get("/").await.goes_to(paths::Units);
}
