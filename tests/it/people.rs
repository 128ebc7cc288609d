//! People kept by page: added, changed, gone and back; and the last administrator, who stays.
use breakerbook::{
    base::SignIn,
    desk::verify::{self, Verdict},
    people::Role,
    web::paths,
};

use crate::harness::{App, Browser, PASSWORD, Page};

async fn clean(app: &App) {
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
}

async fn pages(app: &App, kind: &str) -> i64 {
    let sql = "SELECT count(*) FROM page WHERE blob ->> 'kind' = ?";
    sqlx::query_scalar(sql).bind(kind).fetch_one(&mut *app.web.desk().read().await.unwrap()).await.unwrap()
}

fn role(app: &App, who: &str) -> (Role, bool) {
    let world = app.web.desk().world();
    let person = world.people.person(&SignIn::from(who)).unwrap();
    (person.role, person.active)
}

fn seen(app: &App, who: &str) -> String {
    app.web.desk().world().people.person(&SignIn::from(who)).unwrap().last.seq.to_string()
}

pub async fn ends<'a>(app: &App, by: &Browser<'a>, me: &str, who: &str) -> Page<'a> {
    let seen = seen(app, who);
    let fields = [("signer", me), ("seen", &seen), ("reason", "has left"), ("password", PASSWORD)];
    by.post(paths::PersonEnd(who.to_owned()), &fields).await
}

async fn becomes<'a>(app: &App, by: &Browser<'a>, me: &str, who: &str, role: &str) -> Page<'a> {
    let (seen, name) = (seen(app, who), format!("{who} of the tests"));
    let fields = [
        ("signer", me),
        ("seen", &seen),
        ("name", &name),
        ("craft", ""),
        ("role", role),
        ("reason", "because"),
        ("password", PASSWORD),
    ];
    by.post(paths::PersonChange(who.to_owned()), &fields).await
}

async fn added<'a>(by: &Browser<'a>, who: &str, role: &str) -> Page<'a> {
    let page =
        by.get("/people/new").await.is(200).fill("sign_in", who).fill("name", "Eve Lund").fill("role", role);
    page.fill("reason", "hired").fill("password", PASSWORD).send().await
}

/// The first password, as the page shows it.
fn shown(page: &Page) -> String {
    let (_, rest) = page.body.split_once("<p class=\"figures\">").unwrap();
    rest.split('<').next().unwrap().to_owned()
}

#[tokio::test]
async fn somebody_new_signs_in_with_a_password_that_is_shown_once() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let page = added(&ada, "Eve.Lund", "shop").await.is(200).says("The first password of eve.lund");
    let password = shown(&page);
    assert_eq!(page.header("cache-control"), "no-store");
    assert!(
        !ada.get("/people/eve.lund").await.is(200).says("hired").says("Eve Lund").body.contains(&password)
    );
    let eve = app.anon();
    let page =
        eve.get(paths::SignIn).await.fill("sign_in", "eve.lund").fill("password", &password).send().await;
    page.goes_to(paths::Password);
    added(&ada, "eve.lund", "crew").await.is(422).says("eve.lund is in use");
    assert_eq!(role(&app, "eve.lund"), (Role::Shop, true));
    ada.get("/people?q=lund").await.says("eve.lund").never_says("ben of the tests");
    ada.get("/people?role=administrator").await.says("ada of the tests").never_says("ben of the tests");
    clean(&app).await;
}

#[tokio::test]
async fn whoever_leaves_is_out_at_once_and_comes_back_with_nothing_of_before() {
    let app = App::start().await;
    let (ada, ben, token) = (app.user("ada").await, app.user("ben").await, app.token("ben").await);
    ben.get(paths::Units).await.is(200);
    ends(&app, &ada, "ada", "ben").await.goes_to("/people/ben");
    assert_eq!(role(&app, "ben"), (Role::Crew, false));
    ben.get(paths::Units).await.is(303);
    let (status, _) = app.api(&token, "GET", "/api/v1/entries", None).await;
    assert_eq!(status, 401);
    let page =
        app.anon().get(paths::SignIn).await.fill("sign_in", "ben").fill("password", PASSWORD).send().await;
    page.is(422).says("do not go together");
    ada.get("/people/ben")
        .await
        .says("left")
        .says("has left")
        .says("ben of the tests")
        .says("They come back");
    added(&ada, "ben", "crew").await.is(422).says("never given to a second person");
    let (seen, before) = (seen(&app, "ben"), ben.cookie());
    let fields = [
        ("signer", "ada"),
        ("seen", &seen),
        ("name", "ben of the tests"),
        ("craft", ""),
        ("role", "shop"),
        ("reason", "back again"),
        ("password", PASSWORD),
    ];
    let page = ada.post(paths::PersonReturn("ben".into()), &fields).await.is(200);
    let password = shown(&page);
    assert_eq!((ben.cookie(), role(&app, "ben")), (before, (Role::Shop, true)));
    ben.get(paths::Units).await.is(303);
    let (status, _) = app.api(&token, "GET", "/api/v1/entries", None).await;
    assert_eq!(status, 401, "a token of before stays ended");
    let page =
        app.anon().get(paths::SignIn).await.fill("sign_in", "ben").fill("password", &password).send().await;
    page.goes_to(paths::Password);
    clean(&app).await;
}

#[tokio::test]
async fn the_last_administrator_stays_and_that_it_was_tried_is_on_record() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    becomes(&app, &ada, "ada", "ada", "crew").await.is(403).says("ada is the last administrator");
    ends(&app, &ada, "ada", "ada").await.is(403).says("You cannot end yourself");
    assert_eq!((role(&app, "ada"), pages(&app, "act_refused").await), ((Role::Administrator, true), 2));
    ada.get("/people/ada").await.says("and it was refused");
    clean(&app).await;
}

#[tokio::test]
async fn two_administrators_who_end_each_other_at_once_leave_one() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    becomes(&app, &ada, "ada", "stan", "administrator").await.is(303);
    let stan = app.user("stan").await;
    let (one, two) =
        tokio::join!(ends(&app, &ada, "ada", "stan"), becomes(&app, &stan, "stan", "ada", "crew"));
    let mut statuses = [one.status, two.status];
    statuses.sort_unstable();
    assert_eq!(statuses[0], 303, "{statuses:?}");
    assert_ne!(statuses[1], 303, "{statuses:?}");
    let world = app.web.desk().world();
    let left = world.people.persons.values().filter(|p| p.active && p.role == Role::Administrator).count();
    assert_eq!(left, 1);
    clean(&app).await;
}

#[tokio::test]
async fn a_stale_form_files_nothing_and_a_second_press_files_once() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let old = seen(&app, "ann");
    becomes(&app, &ada, "ada", "ann", "shop").await.is(303);
    let filed = pages(&app, "person_changed").await;
    for path in [paths::PersonChange("ann".into()).to_string(), paths::PersonEnd("ann".into()).to_string()] {
        let fields = [
            ("signer", "ada"),
            ("seen", old.as_str()),
            ("name", "Ann Other"),
            ("craft", ""),
            ("role", "crew"),
            ("reason", "second tab"),
            ("password", PASSWORD),
        ];
        ada.post(path, &fields).await.is(409).says("Somebody changed ann since you opened this page");
    }
    becomes(&app, &ada, "ada", "ann", "shop").await.is(422).says("Nothing is changed");
    assert_eq!(pages(&app, "person_changed").await, filed);
    let fields = [("signer", "sue"), ("seen", old.as_str()), ("reason", "x"), ("password", PASSWORD)];
    ada.post(paths::PersonEnd("ann".into()), &fields).await.is(422).says("opened by sue");
    ada.post(paths::PersonEnd("nobody.here".into()), &fields).await.is(404);
    for who in ["sue", "sam", "ann"] {
        let browser = app.user(who).await;
        browser.get("/people").await.is(403);
        browser.post(paths::PersonEnd("ben".into()), &fields).await.is(403);
        browser.post(paths::PersonPassword("ada".into()), &fields).await.is(403);
    }
    clean(&app).await;
}

#[tokio::test]
async fn a_new_first_password_ends_the_old_one_and_its_sessions() {
    let app = App::start().await;
    let (ada, ann) = (app.user("ada").await, app.user("ann").await);
    let fields = [("signer", "ada"), ("password", PASSWORD)];
    ada.post(paths::PersonPassword("ada".into()), &fields).await.is(422).says("on its own page");
    let page = ada.post(paths::PersonPassword("ann".into()), &fields).await.is(200);
    assert_eq!(shown(&page).len(), 24);
    ann.get(paths::Units).await.is(303);
    clean(&app).await;
}

#[tokio::test]
async fn a_list_cannot_take_the_last_administrator_either() {
    use breakerbook::{
        book::Channel,
        desk::{
            Refused,
            keep_people::{KeepPeople, PersonWanted, kept_names},
        },
    };
    let app = App::start().await;
    let desk = app.web.desk();
    let kept = kept_names(&mut desk.read().await.unwrap()).await.unwrap();
    let row =
        |who: &str, role| PersonWanted { sign_in: who.into(), role, name: who.into(), craft: String::new() };
    let act = |rows: &[PersonWanted]| KeepPeople::of(rows, &kept, None, Channel::Import).unwrap();
    let refused = desk.act(act(&[row("ada", Role::Crew)])).await.unwrap_err();
    assert!(matches!(refused, Refused::NotYours(_)), "{refused:?}");
    desk.act(act(&[row("ada", Role::Crew), row("sam", Role::Administrator)])).await.unwrap();
    assert_eq!((role(&app, "ada").0, role(&app, "sam").0), (Role::Crew, Role::Administrator));
}

#[tokio::test]
async fn words_that_nobody_can_see_are_none() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    for unseen in ["\u{200b}", "\u{2800}\u{ad}", "\u{202e}"] {
        let page =
            ada.get("/people/new").await.fill("sign_in", "eve").fill("role", "crew").fill("name", unseen);
        let page = page.fill("reason", unseen).fill("password", PASSWORD).send().await.is(422);
        page.says("Write the name as it is to be shown.").says("Say why in a few words");
    }
    assert_eq!(pages(&app, "person_kept").await, 0);
}
