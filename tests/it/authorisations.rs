//! Rights granted by two people and taken back by one; and who tries to get round it.
use breakerbook::{
    base::{Instant, SignIn, zone::Day},
    book::Channel,
    desk::{
        body::Grant,
        keep_people::GrantAuthorisations,
        verify::{self, Verdict},
    },
    web::paths,
};
use serde_json::json;

use crate::harness::{App, Browser, PASSWORD, Page, entry_id, report};

const NEW: &str = "/authorisations/new";

pub async fn proposed<'a>(by: &Browser<'a>, person: &str) -> String {
    let page = by.get(NEW).await.is(200).fill("person", person).fill("classes", "HB6");
    let page = page.fill("to", "2026-12-31").fill("basis", "course 12 of 2026").fill("password", PASSWORD);
    let page = page.send().await.is(303);
    page.location()
}

async fn confirmed<'a>(by: &Browser<'a>, proposal: &str) -> Page<'a> {
    let me = signer(by).await;
    by.post(format!("{proposal}/confirm"), &[("signer", &me), ("password", PASSWORD)]).await
}

/// Who the browser's page says signs.
async fn signer(by: &Browser<'_>) -> String {
    let page = by.get(NEW).await;
    let form = page.form();
    form.fields.iter().find(|f| f.name == "signer").and_then(|f| f.value.clone()).unwrap()
}

async fn pages(app: &App, kind: &str) -> i64 {
    let sql = "SELECT count(*) FROM page WHERE blob ->> 'kind' = ?";
    sqlx::query_scalar(sql).bind(kind).fetch_one(&mut *app.web.desk().read().await.unwrap()).await.unwrap()
}

async fn clean(app: &App) {
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
}

fn held(app: &App, who: &str) -> usize {
    let people = &app.web.desk().world().people;
    people.authorisations.iter().filter(|a| a.person == SignIn::from(who) && a.revoked_at.is_none()).count()
}

#[tokio::test]
async fn one_proposes_another_confirms_and_both_have_a_hand_in_what_is_opened_under_it() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let proposal = proposed(&sue, "sam").await;
    assert_eq!(held(&app, "sam"), 0, "proposed is not granted");
    stan.get(paths::Authorisations).await.is(200).says("sam: HB6").says("proposed by sue");
    stan.get(&proposal).await.is(200).says("course 12 of 2026").says("Confirm as stan");
    confirmed(&stan, &proposal).await.goes_to(&proposal);
    assert_eq!(held(&app, "sam"), 1);
    // Sent twice, it is one right; and nothing waits any more.
    confirmed(&stan, &proposal).await.goes_to(&proposal);
    assert_eq!(pages(&app, "authorisation_granted").await, 1);
    // Whoever has just signed stands here, and is not told that somebody else was quicker.
    for who in [&sue, &stan] {
        let page =
            who.get(&proposal).await.says("stan confirmed it 3 Mar 2026 06:00 -06:00: it is a right since");
        page.never_says("already").never_says("Withdraw it").never_says("Lapses");
    }
    sue.get(paths::Authorisations)
        .await
        .says("1 in force")
        .says("proposed by sue, confirmed by stan")
        .never_says("Waiting to be confirmed");
    app.minutes_pass(60);
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let opened = json!({"id": entry_id(1), "kind": "bypass", "opened_at": "2026-03-03T06:30:00-06:00", "by": "sam", "device": "GRC",
        "purpose": "repair", "closed_at": "2026-03-03T06:50:00-06:00", "closed_by": "sam"});
    let mut filed = report(1, "QHB 412", "ann", vec![opened]);
    filed["run"]["ended"] = "2026-03-03T07:00:00-06:00".into();
    filed["signed_at"] = "2026-03-03T07:00:00-06:00".into();
    app.file("ann", &filed).await;
    // The proposer may review it as little as the one who confirmed.
    for who in [&sue, &stan] {
        who.get(format!("/bypasses/{}", entry_id(1))).await.is(200).says("granted the right to");
    }
    clean(&app).await;
}

#[tokio::test]
async fn a_grant_confirmed_by_its_proposer_is_refused_and_on_record() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    let proposal = proposed(&sue, "sam").await;
    sue.get(&proposal).await.says("another supervisor has to confirm it").never_says("Confirm as sue");
    confirmed(&sue, &proposal).await.is(403).says("You proposed this right");
    assert_eq!((held(&app, "sam"), pages(&app, "authorisation_granted").await), (0, 0));
    assert_eq!(pages(&app, "act_refused").await, 1);
    sue.get(&proposal).await.says("sue signed this").says("and it was refused");
    clean(&app).await;
}

#[tokio::test]
async fn nobody_grants_a_right_to_themselves_in_either_part() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let page = sue.get(NEW).await.fill("person", "sue").fill("classes", "*").fill("basis", "I know it well");
    page.fill("password", PASSWORD)
        .send()
        .await
        .is(403)
        .says("Nobody proposes or confirms one for themselves");
    let proposal = proposed(&sue, "stan").await;
    confirmed(&stan, &proposal).await.is(403).says("two other supervisors");
    assert_eq!((held(&app, "sue"), held(&app, "stan")), (0, 0));
    assert_eq!(pages(&app, "act_refused").await, 2);
    clean(&app).await;
}

#[tokio::test]
async fn a_proposal_is_withdrawn_or_lapses() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let first = proposed(&sue, "sam").await;
    let no = [("signer", "stan"), ("password", PASSWORD), ("reason", "the course was another")];
    stan.post(format!("{first}/withdraw"), &no[..2]).await.is(422).says("Say why");
    stan.post(format!("{first}/withdraw"), &no).await.goes_to(&first);
    stan.get(&first).await.says("stan withdrew it: the course was another");
    confirmed(&stan, &first).await.is(409).says("stan withdrew it");
    let second = proposed(&sue, "sam").await;
    app.minutes_pass(14 * 24 * 60);
    let stan = app.user("stan").await;
    stan.get(&second).await.says("It lapsed: nobody confirmed it within 14 days");
    confirmed(&stan, &second).await.is(409).says("It lapsed");
    assert_eq!(held(&app, "sam"), 0);
    clean(&app).await;
}

#[tokio::test]
async fn one_takes_a_right_back_at_once_and_the_reason_stands_wherever_it_is_shown() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let proposal = proposed(&sue, "sam").await;
    confirmed(&stan, &proposal).await.is(303);
    let one = stan.get(&proposal).await.link_to("/authorisations/");
    let page = stan.get(paths::Authorisations).await;
    assert!(page.body.contains("/authorisations/"), "{one}");
    let seq = app.web.desk().world().people.authorisations[0].seq;
    let page = sue.get(paths::Authorisation(seq)).await.is(200).fill("reason", "left a cutout open");
    page.fill("password", "not my password").send().await.is(422).says("This is not your password");
    let page = sue.get(paths::Authorisation(seq)).await.fill("reason", "left a cutout open");
    page.fill("password", PASSWORD).send().await.goes_to(paths::Authorisation(seq));
    for path in [
        "/authorisations".to_owned(),
        format!("/authorisations/{seq}"),
        "/register/people/sam".to_owned(),
        "/register/months/2026-03".to_owned(),
    ] {
        stan.get(&path).await.is(200).says("by sue: left a cutout open");
    }
    // A second tab, and a second press.
    let again = [("signer", "stan"), ("password", PASSWORD), ("reason", "other words")];
    stan.post(paths::AuthorisationRevoke(seq), &again).await.is(409).says("sue revoked it already");
    assert_eq!(pages(&app, "authorisation_revoked").await, 1);
    clean(&app).await;
}

#[tokio::test]
async fn who_held_what_on_a_day_is_asked_in_the_address() {
    let app = App::start().await;
    let grant = |who: &str, from: &str, to: &str| Grant {
        sign_in: SignIn::from(who),
        classes: Vec::new(),
        from: Day::parse(from).unwrap(),
        to: Day::parse(to),
        basis: None,
        granted_by: SignIn::from("sue"),
        from_list: true,
        proposed_by: None,
        proposal: None,
    };
    let grants = vec![grant("sam", "2026-01-01", "2026-04-20"), grant("tom", "2025-01-01", "2025-12-31")];
    app.web.desk().act(GrantAuthorisations::of(grants, None, Channel::Import)).await.unwrap();
    let sue = app.user("sue").await;
    let page = sue.get("/authorisations").await.is(200).says("ends in 48 days").says("imported from a list");
    page.says("1 of them ends within 60 days");
    sue.get("/authorisations?on=2026-02-01")
        .await
        .is(200)
        .says("sam of the tests")
        .never_says("tom of the tests");
    sue.get("/authorisations?on=2025-06-01")
        .await
        .is(200)
        .says("tom of the tests")
        .never_says("sam of the tests");
    sue.get("/authorisations?stands=ended").await.says("tom of the tests").never_says("sam of the tests");
    sue.get("/authorisations?on=yesterday").await.is(422).says("Write the day as in 2026-05-01");
    sue.get("/authorisations?person=nobody.here").await.is(422).says("Nothing is listed until");
    let csv = sue.get("/authorisations?format=csv").await.is(200);
    assert!(csv.body.starts_with("sign_in,classes,from,to,basis,granted_by"), "{}", csv.body);
    // One given on a page holds from its recording on, and not on the days before it.
    app.clock.set(Instant::parse("2026-05-10T12:00:00Z").unwrap());
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let proposal = proposed(&sue, "ben").await;
    confirmed(&stan, &proposal).await.is(303);
    sue.get("/authorisations?on=2026-05-09").await.never_says("ben of the tests");
    sue.get("/authorisations?on=2026-05-10").await.says("ben of the tests");
}

#[tokio::test]
async fn a_form_that_is_stale_or_somebody_elses_or_wrong_files_nothing() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let page = || async { sue.get(NEW).await.fill("password", PASSWORD) };
    page().await.send().await.is(422).says("Give the sign-in name").says("Say on what it rests");
    let page = page().await.fill("person", "sam").fill("classes", "HB7 *").fill("from", "2026-01-01");
    page.fill("basis", "x").send().await.is(422).says("write it alone");
    let wrong = |from: &'static str, to: &'static str, classes: &'static str| {
        let sue = sue.clone();
        async move {
            let page = sue.get(NEW).await.fill("person", "sam").fill("classes", classes).fill("from", from);
            page.fill("to", to).fill("basis", "x").fill("password", PASSWORD).send().await.is(422)
        }
    };
    wrong("2026-03-02", "", "HB6").await.says("cannot be given backwards");
    wrong("2026-03-05", "2026-03-04", "HB6").await.says("end before it begins");
    wrong("2026-03-05", "", "XX").await.says("There is no class XX");
    // The same form sent twice is one proposal; with other words it is none.
    let form = sue.get(NEW).await.form();
    let id = form.fields.iter().find(|f| f.name == "id").and_then(|f| f.value.clone()).unwrap();
    let send = |basis: &'static str, signer: &'static str| {
        let (sue, id) = (sue.clone(), id.clone());
        async move {
            let fields = [
                ("id", id.as_str()),
                ("signer", signer),
                ("person", "sam"),
                ("classes", "hb6"),
                ("from", "2026-03-03"),
                ("to", ""),
                ("basis", basis),
                ("password", PASSWORD),
            ];
            sue.post(NEW, &fields).await
        }
    };
    send("a letter", "stan").await.is(422).says("opened by stan, and you are sue");
    send("a letter", "sue").await.is(303);
    send("a letter", "sue").await.is(303);
    send("another letter", "sue").await.is(409).says("sent already");
    assert_eq!(pages(&app, "authorisation_proposed").await, 1);
    // The same right in another form waits already.
    let page = stan.get(NEW).await.fill("person", "sam").fill("classes", "HB6").fill("basis", "mine");
    page.fill("password", PASSWORD).send().await.is(422).says("sue proposed this very right already");
    // Ids of what is not there, or not one at all.
    for id in ["00000000-0000-4000-8000-000000000000", "7", "%00"] {
        confirmed(&stan, &format!("/authorisations/proposals/{id}")).await.is(404);
    }
    for seq in ["0", "99999", "x"] {
        let fields = [("signer", "stan"), ("password", PASSWORD), ("reason", "x")];
        stan.post(format!("/authorisations/{seq}/revoke"), &fields).await.is(404);
    }
    clean(&app).await;
}

#[tokio::test]
async fn who_lost_the_role_meanwhile_neither_confirms_nor_counts_as_proposer() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let proposal = proposed(&sue, "sam").await;
    let ada = app.user("ada").await;
    let page = ada.get("/people/sue").await.is(200).fill("role", "shop").fill("reason", "moved to the shop");
    page.fill("password", PASSWORD).send().await.is(303);
    confirmed(&stan, &proposal).await.is(409).says("sue is no supervisor any more");
    let fields = [("signer", "sue"), ("password", PASSWORD)];
    sue.post(format!("{proposal}/confirm"), &fields).await.is(403);
    assert_eq!(held(&app, "sam"), 0);
    clean(&app).await;
}
