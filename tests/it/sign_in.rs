use breakerbook::web::{Settings, paths};

use crate::harness::{App, PASSWORD};

#[tokio::test]
async fn a_crew_member_comes_in_and_goes_out() {
    let app = App::start().await;
    let ann = app.anon();
    ann.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    let page = ann.get(paths::SignIn).await.is(200);
    let page = page.fill("sign_in", " Ann ").fill("password", PASSWORD).send().await.goes_to("/");
    let cookie = page.header("set-cookie");
    assert!(cookie.starts_with("breakerbook=") && cookie.contains("HttpOnly; SameSite=Lax"), "{cookie}");
    assert!(!cookie.contains("Secure"), "over plain http on a loopback it would be dropped: {cookie}");
    ann.get("/").await.goes_to(paths::Units);

    let stolen = ann.cookie();
    ann.post(paths::SignOut, &[]).await.goes_to(paths::SignIn);
    let thief = app.anon();
    let request = thief.request("GET", "/").header("cookie", format!("breakerbook={stolen}"));
    let page = thief.send(request.body(axum::body::Body::empty()).unwrap()).await;
    assert!(page.location().starts_with("/sign-in"), "a session that was signed out is over on the server");
}

#[tokio::test]
async fn over_tls_the_cookie_is_host_bound_and_hsts_is_sent() {
    let app = App::start_with(Settings { tls: true }).await;
    let page =
        app.anon().get(paths::SignIn).await.fill("sign_in", "ann").fill("password", PASSWORD).send().await;
    let cookie = page.header("set-cookie");
    assert!(cookie.starts_with("__Host-breakerbook=") && cookie.ends_with("; Secure"), "{cookie}");
    assert_eq!(page.header("strict-transport-security"), "max-age=31536000");
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_name_get_the_same_answer() {
    let app = App::start().await;
    for name in ["ann", "nobody.here", "not a name"] {
        let page =
            app.anon().get(paths::SignIn).await.fill("sign_in", name).fill("password", "wrong").send().await;
        let page = page.is(422).says("Name and password do not go together.");
        assert!(page.body.contains(&format!("value=\"{name}\"")), "what was typed stays");
        assert!(!page.body.contains("value=\"wrong\""), "but for the password");
    }
}

#[tokio::test]
async fn attempts_are_slowed_and_the_page_says_until_when() {
    let app = App::start().await;
    for name in ["ann", "nobody"] {
        let try_it = async |password: &str| {
            app.anon().post(paths::SignIn, &[("sign_in", name), ("password", password)]).await
        };
        for _ in 0..3 {
            try_it("wrong").await.says("do not go together");
        }
        let page = try_it(PASSWORD).await.is(422);
        page.says("Too many wrong passwords in a row. Try again at 06:00:04.");
    }
    app.minutes_pass(1);
    app.user("ann").await;
    let again = app.anon().post(paths::SignIn, &[("sign_in", "ann"), ("password", "wrong")]).await;
    again.says("do not go together");
    app.user("ann").await;
}

#[tokio::test]
async fn after_a_hundred_wrong_passwords_only_an_administrator_helps() {
    let app = App::start().await;
    for _ in 0..100 {
        app.anon().post(paths::SignIn, &[("sign_in", "ann"), ("password", "wrong")]).await.is(422);
        app.minutes_pass(16);
    }
    let page = app.anon().post(paths::SignIn, &[("sign_in", "ann"), ("password", PASSWORD)]).await;
    page.is(422).says("An administrator must set a new one.");
}

#[tokio::test]
async fn a_one_time_password_opens_nothing_but_the_choice_of_an_own_one() {
    let app = App::start().await;
    let ida = app.user("ida").await;
    for path in ["/", "/kept"] {
        ida.get(path).await.goes_to(paths::Password);
    }
    let page = ida.get(paths::Password).await.says("for one time");
    let page =
        page.fill("password", PASSWORD).fill("new_password", "short").fill("new_password_again", "short");
    let page = page.send().await.is(422).says("At least 15 characters");
    let new = "seven dry goats on a roof";
    let page = page.fill("password", PASSWORD).fill("new_password", new).fill("new_password_again", "seven");
    let page = page.send().await.is(422).says("do not agree");
    let page = page.fill("password", "not mine").fill("new_password", new).fill("new_password_again", new);
    let page = page.send().await.is(422).says("not your password");
    let before = ida.cookie();
    let page = page.fill("password", PASSWORD).fill("new_password", new).fill("new_password_again", new);
    page.send().await.goes_to("/");
    assert_ne!(ida.cookie(), before, "a new token with the new password");
    ida.get("/").await.goes_to(paths::Units);
}

#[tokio::test]
async fn a_new_password_ends_the_other_sessions() {
    let app = App::start().await;
    let (here, elsewhere) = (app.user("ann").await, app.user("ann").await);
    let new = "seven dry goats on a roof";
    let page = here.get(paths::Password).await;
    let page = page.fill("password", PASSWORD).fill("new_password", new).fill("new_password_again", new);
    page.send().await.goes_to("/");
    here.get("/").await.goes_to(paths::Units);
    elsewhere.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
}

#[tokio::test]
async fn sessions_end_by_idling_and_by_age() {
    let app = App::start().await;
    let (ann, sam) = (app.user("ann").await, app.user("sam").await);
    app.minutes_pass(29);
    sam.get("/").await.goes_to(paths::Triage);
    app.minutes_pass(31);
    sam.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    for _ in 0..22 {
        app.minutes_pass(60);
        ann.get("/").await.goes_to(paths::Units);
    }
    app.minutes_pass(60);
    ann.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
}

#[tokio::test]
async fn a_token_planted_beforehand_is_worth_nothing() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let before = ann.cookie();
    ann.get(paths::SignIn).await.fill("sign_in", "ben").fill("password", PASSWORD).send().await;
    assert_ne!(ann.cookie(), before);
    let old = app.anon();
    let request = old.request("GET", "/").header("cookie", format!("breakerbook={before}"));
    let page = old.send(request.body(axum::body::Body::empty()).unwrap()).await;
    assert!(page.location().starts_with("/sign-in"), "signing in ended the session before");
}

#[tokio::test]
async fn signing_in_leads_back_but_never_elsewhere() {
    let app = App::start().await;
    for (next, to) in
        [("/units/QHB-412?x=1", "/units/QHB-412?x=1"), ("//evil.test/", "/"), ("https://evil.test", "/")]
    {
        let page = app.anon().get(paths::SignIn.with(&[("next", next)])).await;
        page.fill("sign_in", "ann").fill("password", PASSWORD).send().await.goes_to(to);
    }
}
