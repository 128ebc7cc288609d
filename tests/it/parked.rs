//! A session that ended while a form was open.
use breakerbook::web::paths;

use crate::harness::{App, PASSWORD};

const FIELDS: &[(&str, &str)] = &[
    ("palette", "night"),
    ("back", "/units"),
    ("note", "smelt hot <b> & \"wet\""),
    ("password", "my secret"),
];

async fn parked(app: &App, times: usize) -> crate::harness::Browser<'_> {
    let ann = app.user("ann").await;
    app.minutes_pass(13 * 60);
    for _ in 0..times {
        app.minutes_pass(1);
        ann.post(paths::Password, FIELDS).await.goes_to(paths::SignIn.with(&[("kept", "yes")]));
    }
    ann
}

#[tokio::test]
async fn what_was_typed_is_kept_shown_to_its_author_and_sent_on() {
    let app = App::start().await;
    let ann = parked(&app, 1).await;
    let page =
        ann.get(paths::SignIn.with(&[("kept", "yes")])).await.says("What you typed is kept for 24 hours");
    page.fill("sign_in", "ann").fill("password", PASSWORD).send().await.goes_to(paths::Kept);
    let page = ann.get(paths::Kept).await.is(200).says("smelt hot <b> & \"wet\"").never_says("my secret");
    let form = page.form();
    assert!(form.action.starts_with("/password?kept="), "{}", form.action);
    assert!(!page.body.contains("my secret"), "a password is never kept");
    let page = page.fill("password", "not mine").send().await;
    page.is(422);
    ann.get(paths::Kept).await.says("smelt hot");
}

#[tokio::test]
async fn once_it_got_through_it_is_no_longer_kept() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    app.minutes_pass(13 * 60);
    let new = "seven dry goats on a roof";
    ann.post(paths::Password, &[("password", PASSWORD), ("new_password", new), ("new_password_again", new)])
        .await;
    ann.get(paths::SignIn)
        .await
        .fill("sign_in", "ann")
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to(paths::Kept);
    let page = ann.get(paths::Kept).await;
    let page = page.fill("password", PASSWORD).fill("new_password", new).fill("new_password_again", new);
    page.send().await.goes_to("/");
    ann.get(paths::Kept).await.says("Nothing is kept for you.");
}

#[tokio::test]
async fn nobody_else_ever_sees_it() {
    let app = App::start().await;
    let browser = parked(&app, 1).await;
    let page = browser.get(paths::SignIn.with(&[("kept", "yes")])).await;
    page.fill("sign_in", "ben").fill("password", PASSWORD).send().await.goes_to("/");
    browser.get(paths::Kept).await.says("Nothing is kept for you.").never_says("smelt hot");
    // Ben cannot let Ann's form go either, were he to know its id.
    let ann = app.user("ann").await;
    let page = ann.get(paths::Kept).await;
    let id = page.form().action.split_once("kept=").unwrap().1.to_owned();
    browser.post(paths::KeptDrop(id.clone()), &[]).await.goes_to(paths::Kept);
    ann.get(paths::Kept).await.says("smelt hot");
    ann.post(paths::KeptDrop(id), &[]).await.goes_to(paths::Kept);
    ann.get(paths::Kept).await.says("Nothing is kept for you.");
}

#[tokio::test]
async fn five_are_kept_for_a_day() {
    let app = App::start().await;
    parked(&app, 7).await;
    let ann = app.user("ann").await;
    let kept = ann.get(paths::Kept).await.body.matches("Send it on").count();
    assert_eq!(kept, 5);
    app.minutes_pass(24 * 60);
    app.user("ann").await.get(paths::Kept).await.says("Nothing is kept for you.");
}

#[tokio::test]
async fn a_form_without_a_session_comes_back_inside_the_sign_in_page() {
    let app = App::start().await;
    let tablet = app.user("ann").await;
    tablet.post(paths::SignOut, &[]).await.goes_to(paths::SignIn);
    let page =
        tablet.post(paths::Password, FIELDS).await.is(401).says("What you typed is still in this page");
    assert!(!page.body.contains("my secret"), "a password is never carried");
    app.user("ann").await.get(paths::Kept).await.says("Nothing is kept for you.");
    let page = page.fill("sign_in", "ann").fill("password", "wrong").send().await.is(422);
    let page = page.says("What you typed is still in this page").never_says("my secret");
    page.fill("sign_in", "ann").fill("password", PASSWORD).send().await.goes_to(paths::Kept);
    let page = tablet.get(paths::Kept).await.says("What you typed is kept").says("smelt hot <b> & \"wet\"");
    let form = page.form();
    assert!(form.action.starts_with("/password?kept="), "{}", form.action);
    assert!(form.fields.iter().any(|f| f.name == "password") && !page.body.contains("my secret"));
    app.user("ben").await.get(paths::Kept).await.says("Nothing is kept for you.");
}

#[tokio::test]
async fn what_is_carried_comes_from_our_own_pages_and_is_not_large() {
    let app = App::start().await;
    let stranger = app.anon();
    let elsewhere = stranger
        .request("POST", paths::Password)
        .header("sec-fetch-site", "cross-site")
        .header("content-type", "application/x-www-form-urlencoded");
    let page = stranger.send(elsewhere.body("note=planted".into()).unwrap()).await.is(403);
    assert!(!page.body.contains("planted"));
    let long = "x".repeat(110 * 1024);
    stranger.post(paths::Password, &[("note", &long)]).await.goes_to(paths::SignIn);
    // A path that is not ours is not carried, and what is called a password is dropped on the way in, too.
    let typed = [
        ("sign_in", "ben"),
        ("password", PASSWORD),
        ("carried:note", "planted"),
        ("carried_path", "//evil.test"),
    ];
    stranger.post(paths::SignIn, &typed).await.goes_to("/");
    let typed = [
        ("sign_in", "ben"),
        ("password", PASSWORD),
        ("carried:password", "planted"),
        ("carried_path", "/password"),
    ];
    app.anon().post(paths::SignIn, &typed).await.goes_to(paths::Kept);
    let page = app.user("ben").await.get(paths::Kept).await;
    assert!(!page.body.contains("planted"));
}

#[tokio::test]
async fn a_trip_written_down_before_the_session_ended_keeps_its_time() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let unit = breakerbook::base::UnitName::from("QHB 412");
    let form = paths::WriteKind(unit.clone(), "breaker_trip".into()).with(&[("device", "TC2")]);
    let page = ann.get(form).await.fill("when", "15").fill("left", "off");
    app.minutes_pass(12 * 60 + 1);
    // 03 March 12:00Z is 06:00 there; the form was sent at 18:01 and told of 17:46.
    page.send().await.goes_to(paths::SignIn.with(&[("kept", "yes")]));
    app.minutes_pass(600);
    ann.get(paths::SignIn)
        .await
        .fill("sign_in", "ann")
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to(paths::Kept);
    ann.get(paths::Kept).await.send().await.goes_to(paths::Report(unit.clone()).with(&[("wrote", "yes")]));
    ann.get(paths::Report(unit)).await.says("17:46");
    ann.get(paths::Kept).await.says("Nothing is kept for you.");
}
