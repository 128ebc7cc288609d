//! What the rules go by: shown, tried on the book's own history, signed, refused; and the watch list.
use breakerbook::{
    desk::{
        Refused,
        body::Change,
        thresholds::ChangeThresholds,
        verify::{self, Verdict},
    },
    people::Act,
    web::paths,
};
use serde_json::{Value, json};

use crate::harness::{App, PASSWORD, Page};

/// A report of one day, with a trip of TC2 at each hour given.
fn day(n: u32, unit: &str, day: &str, hours: &[u32]) -> Value {
    let trip = |hour: &u32| {
        json!({"id": format!("00000000-0000-4000-a000-{:012}", n * 100 + hour), "kind": "breaker_trip", "device": "TC2",
            "at": format!("{day}T{hour:02}:00:00-06:00"), "resets": [], "left": "on"})
    };
    json!({"id": format!("00000000-0000-4000-b000-{n:012}"), "unit": unit, "author": "ann",
        "run": {"symbol": "K17", "started": format!("{day}T00:30:00-06:00"), "ended": format!("{day}T23:30:00-06:00")},
        "position": "lead", "entries": hours.iter().map(trip).collect::<Vec<_>>(), "signed_at": format!("{day}T23:40:00-06:00")})
}

/// A year of three units, whose two healthy ones trip once in eight weeks; QHB 412 trips daily for a week in February.
async fn a_year(app: &App) {
    let days: Vec<String> = (0..13)
        .map(|i| {
            let start = breakerbook::base::Day::parse("2025-03-10").unwrap();
            start.plus(28 * i).to_string()
        })
        .collect();
    let mut n = 0;
    for (i, when) in days.iter().enumerate() {
        for (k, unit) in ["QHB 412", "QHB 413", "QHB 431"].iter().enumerate() {
            n += 1;
            let hours: &[u32] = if k > 0 && i % 2 == k - 1 { &[9] } else { &[] };
            app.file("ann", &day(n, unit, when, hours)).await;
        }
    }
    for d in 18..24 {
        n += 1;
        app.file("ann", &day(n, "QHB 412", &format!("2026-02-{d}"), &[7])).await;
    }
    assert!(app.web.desk().take_figures_if_due().await.unwrap());
}

async fn bursts(app: &App) -> usize {
    let token = app.token("sue").await;
    let (_, rows) = app.api(&token, "GET", "/api/v1/findings", None).await;
    rows.as_array().unwrap().iter().filter(|row| row["rule"] == "burst").count()
}

async fn is_clean(app: &App) {
    match verify::verify(&app.path()).await.unwrap() {
        Verdict::Clean { .. } => {}
        Verdict::Flawed(flaws) => panic!("{flaws:?}"),
    }
}

fn signed<'a>(page: Page<'a>, reason: &str) -> Page<'a> {
    page.fill("reason", reason).fill("password", PASSWORD)
}

#[tokio::test]
async fn a_change_is_tried_signed_and_judges_the_book_again() {
    let app = App::start().await;
    a_year(&app).await;
    assert_eq!(bursts(&app).await, 1);
    let sue = app.user("sue").await;
    let page = sue.get(paths::Thresholds).await.is(200).says("Operates in a burst");
    let page = page.says("1 line opened in the last 12 months. By chance alone: 0.0");
    page.says("46 a year on 20,000 pairs")
        .says("In force: 5. Default 5:")
        .says("every setting is at its default");
    let page = sue.get(paths::Thresholds.with(&[("burst_at_least", "10")])).await.is(200);
    let page = page.says("If these were in force").says("from 3 to 10").says("operates in a burst 1 0 0.0");
    assert_eq!(bursts(&app).await, 1, "trying changes nothing");
    let why = "The shop knows of the six: <one> loose lead.";
    signed(page, why).send().await.goes_to(paths::Thresholds);
    assert_eq!(bursts(&app).await, 0);
    let page = sue.get(paths::Thresholds).await.is(200).says("sue").says(why).says("from 3 to 10");
    page.says("0 lines opened in the last 12 months. By chance alone: 0").says("In force: 10. Default 3:");
    is_clean(&app).await;
    let ada = app.user("ada").await;
    let page = ada.get(paths::Thresholds.with(&[("burst_at_least", "3"), ("quiet_days", "60")])).await;
    let page = page.is(200).says("operates in a burst 0 1");
    signed(page, "As it was.").send().await.goes_to(paths::Thresholds);
    assert_eq!(bursts(&app).await, 1);
    ada.get(paths::Thresholds).await.says("As it was.").says(why);
    let finding = paths::Finding(app.finding_key("burst").await);
    let page = ada.get(finding).await.is(200).says("This railway has set other numbers");
    page.says("service days without an occurrence that end a line, at most: 60 instead of 90");
}

/// The sums on a finding's page named the default's numbers whatever the railway had set.
#[tokio::test]
async fn a_findings_sums_are_those_of_the_settings_in_force() {
    let app = App::start().await;
    a_year(&app).await;
    let sue = app.user("sue").await;
    let finding = paths::Finding(app.finding_key("burst").await);
    let page = sue.get(&finding).await.is(200).says("Every occurrence multiplies it by 4.5.");
    page.never_says("has set other numbers");
    let page = sue.get(paths::Thresholds.with(&[("burst_ratio", "7")])).await;
    signed(page, "Slower ones.").send().await.goes_to(paths::Thresholds);
    // By another ratio the score may cross on another day: then it is another line.
    let finding = paths::Finding(app.finding_key("burst").await);
    let page = sue.get(&finding).await.is(200).says("Every occurrence multiplies it by 7.");
    page.says("so many times the other units': 7 instead of 4.5");
    is_clean(&app).await;
}

#[tokio::test]
async fn only_supervisors_and_administrators_come_in() {
    let app = App::start().await;
    for name in ["ann", "sam"] {
        let who = app.user(name).await;
        who.get(paths::Thresholds).await.is(403);
        let typed = [("burst_ratio", "7"), ("old.burst_ratio", "4.5"), ("reason", "mine"), ("signer", name)];
        who.post(paths::Thresholds, &[&typed[..], &[("password", PASSWORD)]].concat()).await.is(403);
        assert!(!who.get(paths::Units).await.is(200).body.contains("/thresholds"), "no link for {name}");
    }
    for name in ["sue", "ada"] {
        app.user(name).await.get(paths::Thresholds).await.is(200);
    }
}

#[tokio::test]
async fn a_young_book_has_a_page_too_and_no_number_that_is_none() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    let page = sue.get(paths::Thresholds).await.is(200).says("Nothing is known of this fleet yet");
    let page = page.says("How many healthy devices it takes along is not known");
    page.never_says("NaN").never_says("inf ");
    let page = sue.get(paths::Thresholds.with(&[("burst_ratio", "7")])).await.is(200);
    signed(page.says("from 4.5 to 7"), "Tried on paper.").send().await.goes_to(paths::Thresholds);
    is_clean(&app).await;
}

#[tokio::test]
async fn what_does_not_fit_is_said_beside_its_field_and_stays() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    for wrong in ["NaN", "inf", "-1", "1e999", "seven", " ", "7,5", "51"] {
        let query = [("burst_ratio", wrong), ("watch_days", "45")];
        let page =
            sue.get(paths::Thresholds.with(&query)).await.is(422).says("a number from 2 to 50, please.");
        let page = page.never_says("If these were in force");
        assert!(page.body.contains(&format!("value=\"{wrong}\"")), "{wrong:?} stays");
        assert!(page.body.contains("value=\"45\""), "what fits stays as well");
    }
    sue.get("/thresholds?burst_ratio=").await.is(422).says("a number from 2 to 50, please.");
    sue.get("/thresholds?quiet_days=30.5").await.is(422).says("a whole number, please.");
    sue.get("/thresholds?burst_ratio=4.5&no_such=1").await.is(200).says("Nothing is changed");
    let typed =
        [("burst_ratio", "NaN"), ("old.burst_ratio", "4.5"), ("reason", "Why not."), ("signer", "sue")];
    let page = sue.post(paths::Thresholds, &[&typed[..], &[("password", PASSWORD)]].concat()).await;
    page.is(422).says("a number from 2 to 50, please.");
    sue.get(paths::Thresholds).await.says("every setting is at its default");
}

#[tokio::test]
async fn a_change_wants_a_reason_a_password_and_its_own_reader() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    let path = paths::Thresholds.with(&[("burst_ratio", "7")]);
    let page = sue.get(&path).await.fill("password", PASSWORD).send().await.is(422);
    let page = page
        .says("Say why in a few words")
        .fill("reason", "Fewer rare ones.")
        .fill("password", "wrong")
        .send();
    let page =
        page.await.is(422).says("This is not your password.").says("Fewer rare ones.").says("from 4.5 to 7");
    page.fill("password", PASSWORD).send().await.goes_to(paths::Thresholds);
    let typed = [("burst_ratio", "6"), ("old.burst_ratio", "7"), ("reason", "Mine."), ("signer", "stan")];
    let page = sue.post(paths::Thresholds, &[&typed[..], &[("password", PASSWORD)]].concat()).await;
    page.is(422).says("This page was opened by stan, and you are sue.");
    let typed = [("reason", "Nothing at all."), ("signer", "sue"), ("password", PASSWORD)];
    sue.post(paths::Thresholds, &typed).await.is(422).says("Nothing is changed");
}

#[tokio::test]
async fn settings_that_would_flag_everything_are_refused_with_the_forecast() {
    let app = App::start().await;
    a_year(&app).await;
    let sue = app.user("sue").await;
    let wild = [("burst_chance", "1"), ("burst_ratio", "2"), ("burst_at_least", "2")];
    let page = sue.get(paths::Thresholds.with(&wild)).await.is(200).says("If these were in force");
    let page =
        page.says("lines a year by chance alone on this fleet of 3 devices: nobody would read the board.");
    assert!(!page.body.contains("name=\"password\""), "there is nothing to sign");
    assert!(page.body.contains("name=\"burst_chance\" type=\"text\" value=\"1\""), "what was typed stays");
    let old = [("old.burst_chance", "0.0023"), ("old.burst_ratio", "4.5"), ("old.burst_at_least", "3")];
    let typed = [("reason", "All of it."), ("signer", "sue"), ("password", PASSWORD)];
    let page = sue.post(paths::Thresholds, &[&wild[..], &old[..], &typed[..]].concat()).await.is(422);
    let page = page.says("by chance alone on this fleet of 3 devices");
    assert_eq!(page.text().matches("nobody would read the board").count(), 1, "said once: {}", page.text());
    assert_eq!(app.web.desk().world().thresholds, Default::default());
}

#[tokio::test]
async fn two_tabs_do_not_undo_each_other() {
    let app = App::start().await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let late = sue.get(paths::Thresholds.with(&[("burst_ratio", "7"), ("wet_ratio", "3")])).await.is(200);
    let page = stan.get(paths::Thresholds.with(&[("burst_ratio", "6")])).await;
    signed(page, "Six will do.").send().await.goes_to(paths::Thresholds);
    let page = signed(late, "Five were better.").send().await.is(409);
    let page = page.says("since you opened this page").says("Five were better.").says("from 6 to 7");
    page.fill("password", PASSWORD).send().await.goes_to(paths::Thresholds);
    let world = app.web.desk().world();
    assert_eq!(
        (world.thresholds.get("burst_ratio"), world.thresholds.get("wet_ratio")),
        (Some(7.0), Some(3.0))
    );
    sue.get(paths::Thresholds).await.says("from 4.5 to 6").says("from 6 to 7").says("from 2 to 3");
}

#[tokio::test]
async fn the_desk_takes_no_change_that_says_nothing_or_twice() {
    let app = App::start().await;
    let now = app.clock.now();
    let world = app.web.desk().world();
    let permit = world.people.person(&"sue".into()).unwrap().permit(Act::ChangeThresholds).unwrap();
    let change = |setting: &str, old: f64, new: f64| Change { setting: setting.into(), old, new };
    let four = || change("burst_ratio", 4.5, 7.0);
    for (changes, reason, says) in [
        (vec![], "Why.", "Nothing is changed"),
        (vec![four()], " ", "Say why"),
        (vec![four(), four()], "Why.", "twice"),
        (vec![change("burst_ratio", 4.5, 4.5)], "Why.", "the value in force"),
        (vec![change("burst_ratio", 4.5, f64::NAN)], "Why.", "from 2 to 50"),
        (vec![change("no_such", 7.0, 5.0)], "Why.", "no_such"),
    ] {
        let act = ChangeThresholds::of(changes, reason.into(), &permit, now);
        match app.web.desk().act(act).await {
            Err(refused @ Refused::Problems(_)) => assert!(refused.says().contains(says), "{refused:?}"),
            other => panic!("{says}: {other:?}"),
        }
    }
    let act = ChangeThresholds::of(vec![change("burst_ratio", 6.0, 7.0)], "Why.".into(), &permit, now);
    assert!(matches!(app.web.desk().act(act).await, Err(Refused::Stale(_))));
    assert_eq!(app.web.desk().world().thresholds, Default::default());
}

#[tokio::test]
async fn the_watch_list_says_what_it_is_worth() {
    let app = App::start().await;
    app.user("sam").await.get(paths::Watch).await.is(200).says("No device has had so many.");
    a_year(&app).await;
    let sam = app.user("sam").await;
    let page =
        sam.get(paths::Watch).await.is(200).says("A rule of thumb, not a finding: 3 within 30 service days:");
    let page = page.says("of 100 healthy devices would be on this list within a year.");
    let page =
        page.says("QHB 412 · TC2 Traction inverter 2").says("6 occurrences within the last 30 service days");
    page.never_says("QHB 413");
    sam.get(paths::Triage).await.says("The watch list").link_to("/watc");
    app.user("ann").await.get(paths::Watch).await.is(403);
    let sue = app.user("sue").await;
    let page = sue.get(paths::Thresholds.with(&[("watch_count", "7")])).await.is(200).says("from 3 to 7");
    signed(page, "Six are usual here.").send().await.goes_to(paths::Thresholds);
    sam.get(paths::Watch).await.says("7 within 30 service days").says("No device has had so many.");
}
