//! Attacks on signing in: the book unharmed, its people not locked out, and the tries on record.
use axum::{body::Body, http::Request};
use breakerbook::{
    base::{SignIn, instant::DAY},
    people::tries_store::{self, Told, Try, Way},
    web::paths,
};

use crate::{
    harness::{App, PASSWORD},
    phone::{asked, set_up},
};

fn try_as(name: &str, password: &str) -> Request<Body> {
    let request = Request::builder().method("POST").uri("/sign-in").header("sec-fetch-site", "same-origin");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    let body = format!("sign_in={name}&password={}", paths::encoded(password));
    request.body(Body::from(body)).unwrap()
}

async fn told(app: &App, of: Option<&str>) -> Told {
    let mut db = app.web.desk().read().await.unwrap();
    let of = of.map(SignIn::from);
    tries_store::told(&mut db, of.as_ref(), app.clock.now().minus(DAY)).await.unwrap()
}

/// Of ten thousand only the first three are looked at; the others cost neither hashing nor a write.
#[tokio::test]
async fn ten_thousand_tries_are_sent_away_and_their_owner_comes_in_by_a_browser_they_know() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    sue.post(paths::SignOut, &[]).await;
    for n in 0..10_000 {
        let page = app.bare(try_as("sue", &format!("guess number {n}"))).await.is(422);
        if n == 9_999 {
            page.says("Too many wrong passwords in a row.");
        }
    }
    assert_eq!(told(&app, Some("sue")).await.wrong, 3);
    let held_back = app.web.gate().slowed(&Way::Elsewhere.counted(&"sue".into()));
    assert_eq!(told(&app, Some("sue")).await.slowed + held_back, 9_997);
    // From elsewhere the right password has to wait as well; by the browser she came in by before it has not.
    app.bare(try_as("sue", PASSWORD)).await.is(422).says("Too many wrong passwords");
    let page = sue.get(paths::SignIn).await.fill("sign_in", "sue").fill("password", PASSWORD).send().await;
    page.goes_to("/");
    let page = sue.get(paths::Sessions).await.is(200);
    page.says("3 tries failed under your name, and 9998 came too soon and were not looked at");
}

#[tokio::test]
async fn after_a_hundred_wrong_ones_a_known_browser_still_opens_and_signing_goes_on() {
    let app = App::start().await;
    let (sue, known) = (app.user("sue").await, app.user("sue").await);
    known.post(paths::SignOut, &[]).await;
    let (counted, now) = (Way::Elsewhere.counted(&"sue".into()), app.clock.now());
    let hundred = app.web.desk().aside(move |c| {
        Box::pin(async move {
            let at = |n: i64| now.minus((100 - n) * DAY);
            for n in 0..100 {
                assert_eq!(tries_store::begin(c, &counted, at(n)).await?, Try::Granted);
            }
            Ok(())
        })
    });
    hundred.await.unwrap();
    app.bare(try_as("sue", PASSWORD)).await.is(422).says("An administrator must set a new one.");
    // Whoever is signed in signs, and does not open the name for the one outside by that.
    let wrong = sue.post(paths::Sessions, &[("end", "others"), ("password", "wrong")]).await;
    wrong.is(422).says("not your password");
    app.bare(try_as("sue", PASSWORD)).await.is(422).says("An administrator must set a new one.");
    let page = known.get(paths::SignIn).await.fill("sign_in", "sue").fill("password", PASSWORD).send().await;
    page.goes_to("/");
}

#[tokio::test]
async fn a_browser_is_known_for_its_own_people_only_and_its_tries_are_slowed_too() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    for _ in 0..3 {
        app.bare(try_as("ben", "wrong")).await.is(422);
    }
    // Ann's browser is no way past what ben's name has to wait for.
    let page = ann.post(paths::SignIn, &[("sign_in", "ben"), ("password", PASSWORD)]).await;
    page.is(422).says("Too many wrong passwords");
    for _ in 0..3 {
        ann.post(paths::SignIn, &[("sign_in", "ann"), ("password", "wrong")]).await.is(422);
    }
    let page = ann.post(paths::SignIn, &[("sign_in", "ann"), ("password", PASSWORD)]).await;
    page.is(422).says("Too many wrong passwords");
}

#[tokio::test]
async fn names_that_nobody_has_are_not_kept_whatever_was_typed_there() {
    let app = App::start().await;
    app.bare(try_as("my-secret-typed-here", "wrong")).await.is(422);
    assert_eq!(told(&app, None).await.wrong, 1);
    let mut db = app.web.desk().read().await.unwrap();
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM tries_told WHERE sign_in LIKE '%secret%'")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    assert_eq!(kept, 0);
}

/// A session, a browser's secret and a step that somebody planted beforehand open nothing afterwards.
#[tokio::test]
async fn what_was_planted_in_a_browser_is_worth_nothing_after_signing_in() {
    let app = App::start().await;
    set_up(&app, &app.user("sue").await).await;
    let planted = "ab".repeat(32);
    let step = asked(&app, "sue").await;
    assert!(step.headers.get("set-cookie").is_none(), "half a sign-in has no cookie");
    let victim = app.anon();
    let cookies = format!("breakerbook={planted}; breakerbook-browser={planted}");
    let request = victim.request("POST", paths::SignIn).header("cookie", &cookies);
    let request = request.header("sec-fetch-site", "same-origin");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    let body = format!("sign_in=ann&password={}", paths::encoded(PASSWORD));
    let page = victim.send(request.body(Body::from(body)).unwrap()).await.goes_to("/");
    let given: Vec<_> =
        page.headers.get_all("set-cookie").iter().map(|line| line.to_str().unwrap()).collect();
    assert!(given.len() == 2 && given.iter().all(|line| !line.contains(&planted)), "{given:?}");
    for path in ["/", "/sessions", "/codes"] {
        let thief = app.anon();
        let request = thief.request("GET", path).header("cookie", &cookies).body(Body::empty()).unwrap();
        assert!(thief.send(request).await.location().starts_with("/sign-in"), "{path}");
    }
    // The step of one person's password opens no session for another name.
    let step = step.form().fields.into_iter().find(|f| f.name == "step").unwrap().value.unwrap();
    let fields = [("step", step.as_str()), ("sign_in", "ann"), ("one_time_code", "123456")];
    app.anon().post(paths::SignInCode, &fields).await.is(422);
}
