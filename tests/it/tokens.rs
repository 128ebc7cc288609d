//! Tokens by page: made and shown once, listed with their last use, over at their time, revoked at once.
use breakerbook::{
    desk::verify::{self, Verdict},
    web::paths,
};

use crate::harness::{App, Browser, PASSWORD, Page};

const DAY_MIN: i64 = 24 * 60;

async fn made<'a>(by: &Browser<'a>, of: &str, until: &str) -> Page<'a> {
    let fields = [
        ("signer", "ada"),
        ("of", of),
        ("words", "Yard display, east door"),
        ("until", until),
        ("password", PASSWORD),
    ];
    by.post(paths::Tokens, &fields).await
}

/// The token, as the page shows it.
fn shown(page: &Page) -> String {
    let (_, rest) = page.body.split_once("kept nowhere:</p><p class=\"figures\">").unwrap();
    rest.split('<').next().unwrap().to_owned()
}

fn chosen(page: &Page) -> String {
    let (_, rest) = page.body.split_once("name=\"token\" value=\"").unwrap();
    rest.split('"').next().unwrap().to_owned()
}

async fn status(app: &App, token: &str) -> u16 {
    app.api(token, "GET", "/api/v1/entries", None).await.0
}

#[tokio::test]
async fn a_token_is_shown_once_and_ends_when_it_is_revoked() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    ada.get(paths::Tokens).await.is(200).says("There is none.");
    let page =
        made(&ada, "sam", "2027-01-31").await.is(200).says("sam : Yard display, east door").says("by ada");
    let token = shown(&page);
    assert_eq!(page.header("cache-control"), "no-store");
    assert_eq!(status(&app, &token).await, 200);
    let page = ada.get(paths::Tokens).await.is(200).says("last used").never_says(&token);
    let id = chosen(&page);
    let revoke = |signer: &'static str, password: &'static str| {
        let id = id.clone();
        let ada = &ada;
        async move {
            let fields = [("signer", signer), ("token", id.as_str()), ("password", password)];
            ada.post(paths::TokenRevoke, &fields).await
        }
    };
    revoke("ada", "not it at all, sorry").await.is(422).says("sam : Yard display");
    revoke("sue", PASSWORD).await.is(422).says("opened by sue");
    let none = [("signer", "ada"), ("password", PASSWORD)];
    ada.post(paths::TokenRevoke, &none)
        .await
        .is(422)
        .says("Choose which token is to end.")
        .never_says("ended already");
    assert_eq!(status(&app, &token).await, 200, "neither was signed");
    revoke("ada", PASSWORD).await.goes_to(paths::Tokens);
    assert_eq!(status(&app, &token).await, 401, "at once, whatever was remembered of it");
    revoke("ada", PASSWORD).await.is(422).says("has ended already");
    let revoked: Vec<String> =
        sqlx::query_scalar("SELECT blob ->> 'author' FROM page WHERE blob ->> 'kind' = 'token_revoked'")
            .fetch_all(&mut *app.web.desk().read().await.unwrap())
            .await
            .unwrap();
    assert_eq!(revoked, ["ada"]);
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
}

#[tokio::test]
async fn a_token_is_over_after_its_last_day() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let today = app.web.desk().world().railway.zone.day_of(app.clock.now());
    let token = shown(&made(&ada, "sam", &today.plus(1).to_string()).await.is(200));
    app.minutes_pass(DAY_MIN);
    assert_eq!(status(&app, &token).await, 200);
    app.minutes_pass(DAY_MIN);
    assert_eq!(status(&app, &token).await, 401);
}

#[tokio::test]
async fn what_is_no_token_says_why_and_keeps_what_was_typed() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let today = app.web.desk().world().railway.zone.day_of(app.clock.now());
    for (of, until, says) in [
        ("nobody", today.plus(9), "Nobody who is here signs in with that name"),
        ("sam", today.plus(-1), "today or later"),
        ("sam", today.plus(800), "within two years"),
    ] {
        let page = made(&ada, of, &until.to_string()).await.is(422).says(says);
        assert!(page.body.contains("value=\"Yard display, east door\""), "{}", page.body);
    }
    ada.get(paths::Tokens).await.says("There is none.");
    for name in ["ann", "sam", "sue"] {
        let other = app.user(name).await;
        other.get(paths::Tokens).await.is(403);
        other
            .post(paths::TokenRevoke, &[("token", "0"), ("signer", name), ("password", PASSWORD)])
            .await
            .is(403);
    }
}

/// The first of two would be good, and nobody would have seen it.
#[tokio::test]
async fn pressed_twice_it_is_one_token() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let token = shown(&made(&ada, "sam", "2027-01-31").await.is(200));
    let page = made(&ada, "sam", "2027-02-28").await.is(422).says("There is one for this already.");
    assert_eq!(page.body.matches("name=\"token\" value=").count(), 1);
    assert!(page.body.contains("value=\"Yard display, east door\""), "{}", page.body);
    assert_eq!(status(&app, &token).await, 200);
    made(&ada, "tom", "2027-01-31").await.is(200);
}
