//! One-time codes: setting them up, giving one at sign-in and as a signature, losing them.
use breakerbook::{base::UnitName, web::paths};
use serde_json::json;

use crate::{
    harness::{App, PASSWORD, entry_id, report},
    phone::{asked, recovery, secret, set_up},
};

#[tokio::test]
async fn codes_are_set_up_with_the_password_and_a_code_and_asked_for_from_then_on() {
    let app = App::start().await;
    let (sue, elsewhere) = (app.user("sue").await, app.user("sue").await);
    let page = sue.get(paths::Codes).await.is(200).says("This book does not ask for them");
    page.send().await.goes_to(paths::Codes);
    let page = sue.get(paths::Codes).await.says("Take these codes");
    assert!(page.body.contains("<svg viewBox="), "a square to take");
    let shown = secret(&page);
    let page = page.fill("one_time_code", "000000").fill("password", PASSWORD).send().await.is(422);
    let page = page.says("This code is not right");
    assert_eq!(secret(&page), shown, "the same one is still to be confirmed");
    let page = page.fill("one_time_code", "000000").fill("password", "not mine").send().await.is(422);
    page.says("This is not your password.").never_says("This code is not right");
    assert_eq!(app.pages_of("codes_set").await, 0);

    let phone = set_up(&app, &sue).await;
    assert_eq!(phone.recovery.len(), 10);
    assert_eq!(app.pages_of("codes_set").await, 1, "that they were set up stands in the book");
    let page = sue.get(paths::Codes).await.says("10 recovery codes are left");
    assert!(recovery(&page).is_empty(), "they are shown once");
    elsewhere.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));

    let page = app.anon().get(paths::SignIn).await;
    let page = page.fill("sign_in", "sue").fill("password", "wrong").send().await.is(422);
    page.says("Name and password do not go together.").never_says("code");
    app.minutes_pass(1);
    let page = asked(&app, "sue").await;
    let page = page.fill("one_time_code", "123456").send().await.is(422).says("This code is not right");
    let spaced = phone.shows(app.clock.now());
    let spaced = format!("{} {}", &spaced[..3], &spaced[3..]);
    let page = page.fill("one_time_code", &spaced).send().await.goes_to("/");
    page.again("/").await.goes_to(paths::Bypasses);
}

#[tokio::test]
async fn the_next_page_is_the_one_that_was_asked_for() {
    let app = App::start().await;
    let phone = set_up(&app, &app.user("sue").await).await;
    app.minutes_pass(1);
    let page = app.anon().get(paths::SignIn.with(&[("next", "/units")])).await;
    let page = page.fill("sign_in", "sue").fill("password", PASSWORD).send().await;
    page.fill("one_time_code", &phone.shows(app.clock.now())).send().await.goes_to("/units");
}

#[tokio::test]
async fn a_code_and_a_recovery_code_are_good_once_and_for_their_owner_only() {
    let app = App::start().await;
    let sues = set_up(&app, &app.user("sue").await).await;
    let now = sues.shows(app.clock.now());
    let page = asked(&app, "sue").await.fill("one_time_code", &now).send().await;
    page.is(422).says("used before");

    app.minutes_pass(1);
    let stans = set_up(&app, &app.user("stan").await).await;
    app.minutes_pass(1);
    let (first, second) = (asked(&app, "sue").await, asked(&app, "sue").await);
    let second = second.fill("one_time_code", &stans.shows(app.clock.now())).send().await.is(422);
    let second = second.fill("one_time_code", &stans.recovery[0]).send().await.is(422);
    app.minutes_pass(1);
    let code = sues.shows(app.clock.now());
    first.fill("one_time_code", &code).send().await.goes_to("/");
    // The other page's step ended with it.
    second.fill("one_time_code", &code).send().await.is(422).says("sign in again");
    asked(&app, "sue").await.fill("one_time_code", &code).send().await.is(422).says("used before");

    app.minutes_pass(1);
    let used = sues.recovery[3].to_uppercase().replace(' ', "-");
    asked(&app, "sue").await.fill("one_time_code", &used).send().await.goes_to("/");
    asked(&app, "sue").await.fill("one_time_code", &used).send().await.is(422).says("used before");
    app.minutes_pass(1);
    let page = asked(&app, "sue").await.fill("one_time_code", &sues.recovery[4]).send().await;
    page.again(paths::Codes).await.says("8 recovery codes are left");
}

#[tokio::test]
async fn new_recovery_codes_and_another_telephone_make_the_old_ones_worthless() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    let old = set_up(&app, &sue).await;
    let page = sue.get(paths::Codes).await.fill("password", "not mine").send().await.is(422);
    let page = page.says("not your password").fill("password", PASSWORD).send().await.is(200);
    let fresh = recovery(&page);
    assert!(fresh.len() == 10 && !fresh.contains(&old.recovery[0]));
    asked(&app, "sue").await.fill("one_time_code", &old.recovery[0]).send().await.is(422);
    app.minutes_pass(1);
    let new = set_up(&app, &sue).await;
    app.minutes_pass(1);
    let page = asked(&app, "sue").await.fill("one_time_code", &old.shows(app.clock.now())).send().await;
    page.is(422).fill("one_time_code", &new.shows(app.clock.now())).send().await.goes_to("/");
}

#[tokio::test]
async fn a_step_ends_by_age_and_by_a_new_password_and_a_made_up_one_is_none() {
    let app = App::start().await;
    let phone = set_up(&app, &app.user("sue").await).await;
    app.minutes_pass(1);
    let page = asked(&app, "sue").await;
    app.minutes_pass(6);
    page.fill("one_time_code", &phone.shows(app.clock.now())).send().await.is(422).says("within 5 minutes");
    for step in ["", "nonsense", &"0".repeat(64)] {
        let fields = [("step", step), ("one_time_code", &phone.shows(app.clock.now()))];
        app.anon().post(paths::SignInCode, &fields).await.is(422).says("sign in again");
    }
}

#[tokio::test]
async fn codes_are_slowed_as_passwords_are() {
    let app = App::start().await;
    let phone = set_up(&app, &app.user("sue").await).await;
    app.minutes_pass(1);
    let mut page = asked(&app, "sue").await;
    for _ in 0..3 {
        page = page.fill("one_time_code", "000000").send().await.is(422).says("This code is not right");
    }
    let page = page.fill("one_time_code", &phone.shows(app.clock.now())).send().await.is(422);
    page.says("Too many wrong codes in a row. Try again at");
    // A new sign-in by the right password is no way around it.
    let page = asked(&app, "sue").await.fill("one_time_code", &phone.shows(app.clock.now())).send().await;
    page.is(422).says("Too many wrong codes in a row.");
    app.minutes_pass(1);
    asked(&app, "sue").await.fill("one_time_code", &phone.shows(app.clock.now())).send().await.goes_to("/");
}

#[tokio::test]
async fn a_current_code_signs_in_place_of_the_password_once() {
    let app = App::start().await;
    for n in [1, 2] {
        let bypass = json!({"id": entry_id(n), "kind": "bypass", "opened_at": format!("2026-03-03T0{n}:00:00-06:00"),
            "device": "GRC", "by": "ann", "purpose": "repair", "engine_running": "no", "power_taken": "no",
            "closed_at": format!("2026-03-03T0{n}:10:00-06:00"), "closed_by": "ann", "seal_applied": "20418"});
        app.file("ann", &report(n, "QHB 413", "ann", vec![bypass])).await;
    }
    let sue = app.user("sue").await;
    let review = async |n: u32, signature: &str| {
        let path = paths::BypassReview(entry_id(n).parse().unwrap());
        let fields = [
            ("judgement", "in_order"),
            ("words", "Looked."),
            ("password", signature),
            ("signer", "sue"),
            ("unit", "QHB 413"),
            ("seen_seq", "9999"),
        ];
        sue.post(path, &fields).await
    };
    review(1, "123456").await.is(422).says("This is not your password.");
    let phone = set_up(&app, &sue).await;
    app.minutes_pass(1);
    let code = phone.shows(app.clock.now());
    review(1, &phone.recovery[0]).await.is(422).says("A recovery code lets you in, and signs nothing.");
    review(1, &code).await.is(303);
    review(2, &code).await.is(422).says("used before");
    review(2, PASSWORD).await.is(303);
    assert_eq!(app.pages_of("bypass_reviewed").await, 2);
}

#[tokio::test]
async fn where_codes_are_asked_for_nothing_is_signed_without_and_nothing_typed_is_lost() {
    let app = App::start().await;
    app.asks_for_codes().await;
    let sue = app.anon();
    let page = sue.get(paths::SignIn).await.fill("sign_in", "sue").fill("password", PASSWORD).send().await;
    page.goes_to(paths::Codes);
    sue.get(paths::Codes).await.says("you can read, and change nothing");
    sue.get(paths::Bypasses).await.is(200).says("until then you can read here, and sign nothing");
    sue.post(paths::Checkpoints, &[]).await.goes_to(paths::Codes);
    let words = [("note", "wet sand in the switch"), ("password", PASSWORD), ("one_time_code", "123456")];
    sue.post(paths::Report(UnitName::from("QHB 413")), &words).await.goes_to(paths::Codes);
    let page = sue.get(paths::Kept).await.is(200).says("wet sand in the switch");
    assert!(!page.body.contains(PASSWORD) && !page.body.contains("123456"), "secrets are not kept");
    let size = app.pages_of("book_opened").await;
    assert_eq!(size, 1);
    // The API tells a program's browser in its own words; a program's token is something its owner has.
    let page = sue.post("/api/v1/tablet-keys", &[]).await.is(403);
    assert!(page.body.contains("Set up your one-time codes"), "{}", page.body);
    app.file("sue", &report(7, "QHB 413", "sue", vec![])).await;
    // Crew and shop are not asked.
    let ann = app.user("ann").await;
    ann.get(paths::Codes).await.is(403);
    ann.get(paths::Units).await.is(200).never_says("one-time codes");

    set_up(&app, &sue).await;
    sue.get(paths::Bypasses).await.never_says("Set up your one-time codes");
    let page = sue.post(paths::Checkpoints, &[]).await;
    assert!(page.location().starts_with("/book/checkpoints/"), "{}", page.location());
}

#[tokio::test]
async fn an_administrator_clears_the_codes_of_somebody_who_lost_everything() {
    let app = App::start().await;
    app.asks_for_codes().await;
    let (sue, ada) = (app.user("sue").await, app.user("ada").await);
    set_up(&app, &sue).await;
    let adas = set_up(&app, &ada).await;
    app.minutes_pass(1);
    let path = paths::SignInsOf("sue".into());
    assert_eq!(ada.get(paths::SignIns).await.is(200).link_to("/sign-ins/s"), "/sign-ins/stan");
    let page = ada.get(&path).await.is(200).fill("what", "codes").fill("password", PASSWORD);
    let page = page.fill("one_time_code", &adas.shows(app.clock.now())).send().await.is(422);
    let page = page.says("it goes into the book").fill("reason", "Lost the telephone, came in person");
    let page = page.fill("password", "not mine").send().await.is(422).says("This is not your password.");
    let page = page.fill("password", PASSWORD).send().await.is(422).says("Type the code");
    assert_eq!(app.pages_of("codes_cleared").await, 0);
    sue.get("/").await.goes_to(paths::Bypasses);
    let page = page.fill("password", PASSWORD).fill("one_time_code", &adas.shows(app.clock.now()));
    page.send().await.is(200).says("Their codes are cleared");
    assert_eq!(app.pages_of("codes_cleared").await, 1);
    sue.get("/").await.goes_to(paths::SignIn.with(&[("next", "/")]));
    let page = app.anon().get(paths::SignIn).await.fill("sign_in", "sue").fill("password", PASSWORD);
    page.send().await.goes_to(paths::Codes);
    // Nobody clears their own, and nobody else may clear any.
    let own = [("what", "codes"), ("reason", "x"), ("password", PASSWORD)];
    ada.post(paths::SignInsOf("ada".into()), &own).await.is(403);
    app.user("stan").await.post(path, &own).await.is(403);
    ada.get(paths::SignIns.with(&[("who", " Sue ")])).await.goes_to(paths::SignInsOf("sue".into()));
    ada.get(paths::SignIns.with(&[("who", "nobody")]))
        .await
        .says("Nobody in this book has this sign-in name.");
}

#[tokio::test]
async fn a_first_password_is_good_for_a_week_and_only_its_owner_learns_that_it_is_over() {
    let app = App::start().await;
    app.minutes_pass(7 * 24 * 60 - 1);
    app.user("ida").await.get("/").await.goes_to(paths::Password);
    app.minutes_pass(1);
    let sign_in = async |password: &str| {
        app.anon().post(paths::SignIn, &[("sign_in", "ida"), ("password", password)]).await
    };
    sign_in("not hers").await.is(422).says("Name and password do not go together.").never_says("7 days");
    sign_in(PASSWORD).await.is(422).says("good for 7 days, and they are over. Ask an administrator");
    let ada = app.user("ada").await;
    let page = ada.get(paths::SignInsOf("ida".into())).await.says("nobody used in time");
    let page = page.fill("what", "password").fill("password", PASSWORD).send().await.is(200);
    let (_, rest) = page.body.split_once("<p class=\"code\">").unwrap();
    let made = rest.split_once('<').unwrap().0.to_owned();
    ada.get(paths::SignInsOf("ida".into())).await.never_says(&made).says("a first one, good until");
    sign_in(PASSWORD).await.is(422).says("do not go together");
    sign_in(&made).await.goes_to(paths::Password);
}

/// Nothing typed is no try: it tells nobody's code wrong, and makes nobody wait.
#[tokio::test]
async fn an_empty_code_is_asked_for_and_a_recovery_code_signs_nothing_and_says_so() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    let phone = set_up(&app, &sue).await;
    app.minutes_pass(1);
    let mut page = asked(&app, "sue").await;
    for blank in ["", " ", "", "", ""] {
        page = page.fill("one_time_code", blank).send().await.is(422);
        page = page.says("Type the code that your telephone shows now, or a recovery code");
    }
    page.fill("one_time_code", &phone.shows(app.clock.now())).send().await.goes_to("/");
    let page = sue.get("/authorisations/new").await.fill("person", "sam").fill("classes", "HB6");
    let page = page.fill("basis", "course 12").fill("password", &phone.recovery[0]).send().await.is(422);
    page.says("A recovery code lets you in, and signs nothing").never_says("not your password");
}
