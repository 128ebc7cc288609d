//! One opening and all that stands around it: what is known of its times, who had the unit, its seals, the month, the person;
//! and reviews by somebody with a hand in it, refused and on record.
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
use serde_json::{Value, json};

use crate::{
    harness::{App, Browser, PASSWORD, Page, entry_id, report},
    html,
};

/// A run of an hour and a half, reported by its crew.
fn run(n: u32, author: &str, from: &str, to: &str, entries: Vec<Value>) -> Value {
    json!({"id": format!("00000000-0000-4000-8000-{n:012}"), "unit": "QHB 412", "author": author,
        "run": {"symbol": format!("K{n}"), "started": from, "ended": to}, "position": "lead", "entries": entries, "signed_at": to})
}

fn seen(n: u32, at: &str, seen: &str, seal: Option<&str>) -> Value {
    json!({"id": entry_id(n), "kind": "position", "at": at, "device": "GRC", "seen": seen, "seal": seal})
}

/// Seen closed by ann; ben and ann had it in between; ben finds it open; ann sees it closed again, and nobody closed it.
async fn found_open(app: &App) {
    let closed = seen(1, "2026-02-27T02:00:00-06:00", "closed", Some("20417"));
    let first = run(41, "ann", "2026-02-27T01:00:00-06:00", "2026-02-27T09:00:00-06:00", vec![closed]);
    app.file("ann", &first).await;
    let between = run(42, "ben", "2026-02-28T02:00:00-06:00", "2026-02-28T08:00:00-06:00", vec![]);
    app.file("ben", &between).await;
    let relay = json!({"id": entry_id(2), "kind": "ground_relay", "at": "2026-02-28T20:00:00-06:00", "device": null,
        "operations": 2, "mode": "motoring", "reset": "by_hand"});
    let third = run(43, "ann", "2026-02-28T18:00:00-06:00", "2026-02-28T23:00:00-06:00", vec![relay]);
    app.file("ann", &third).await;
    let found = json!({"id": entry_id(3), "kind": "bypass", "found_open_at": "2026-03-01T04:00:00-06:00", "device": "GRC",
        "by": "not_known", "purpose": "none_given"});
    let fourth = run(44, "ben", "2026-03-01T03:30:00-06:00", "2026-03-01T05:00:00-06:00", vec![found]);
    app.file("ben", &fourth).await;
    let again = seen(4, "2026-03-01T10:30:00-06:00", "closed", Some("20499"));
    let fifth = run(45, "ann", "2026-03-01T10:00:00-06:00", "2026-03-01T16:00:00-06:00", vec![again]);
    app.file("ann", &fifth).await;
}

fn opening(n: u32) -> String {
    format!("/bypasses/{}", entry_id(n))
}

#[tokio::test]
async fn of_one_found_open_the_page_says_between_which_moments_it_was_opened_and_who_had_the_unit() {
    let app = App::start().await;
    found_open(&app).await;
    let sue = app.user("sue").await;
    let page = sue.get(opening(3)).await.is(200);
    page.says(
        "Opened not known: after 27 Feb 2026 02:00 -06:00, when it was last known closed, and not after 1 Mar 2026 04:00 -06:00, when it was found open",
    )
    .says("Last known closed before 27 Feb 2026 02:00 -06:00, told by ann")
    .says(
        "Closed not known: after 1 Mar 2026 04:00 -06:00, when it was last told open, and not after 1 Mar 2026 10:30 -06:00, when it was seen closed",
    )
    .says("How long at most 56 h 30 min")
    .says("When the book asks after an hour; something gave it reason sooner.")
    .says("From when it was last known closed")
    .says("On a run K42, lead, from 28 Feb 2026 02:00 -06:00 to 28 Feb 2026 08:00 -06:00 ben")
    .says("The ground relay operated 2 times 28 Feb 2026 20:00 -06:00, motoring ann")
    .says("Between two of them the book does not know who was there.")
    .says("On whose word nobody named");
    sue.get(paths::Bypasses).await.says("at most 56 h 30 min").says("seen closed 1 Mar 2026 10:30 -06:00");
}

/// The marks of the picture, each with its lane.
fn marks(page: &Page) -> Vec<[String; 5]> {
    let (_, drawn) = page.body.split_once("<svg class=\"opening\"").expect("the picture is there");
    let drawn = drawn.split("<figcaption>").next().unwrap();
    let (mut lane, mut found) = (String::new(), Vec::new());
    for tag in html::tags(drawn) {
        if tag.name == "g" {
            lane = tag.get("data-row").unwrap_or_default().to_owned();
        }
        let Some(kind) = tag.get("data-mark") else { continue };
        let of = |name: &str| tag.get(name).unwrap_or_default().to_owned();
        found.push([lane.clone(), kind.to_owned(), of("data-from"), of("data-to"), of("data-n")]);
    }
    found.sort();
    found
}

#[tokio::test]
async fn the_picture_of_an_opening_is_what_was_written_and_the_same_as_its_csv() {
    let app = App::start().await;
    found_open(&app).await;
    let sue = app.user("sue").await;
    let page = sue.get(opening(3)).await.is(200);
    let drawn = marks(&page);
    let csv = sue.get(format!("{}/data/around", opening(3))).await.is(200);
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8");
    let mut read = csv::Reader::from_reader(csv.body.as_bytes());
    assert_eq!(
        read.headers().unwrap().iter().collect::<Vec<_>>().join(","),
        "row,mark,from,to,number,who,says"
    );
    let mut rows: Vec<[String; 5]> =
        read.records().map(|row| std::array::from_fn(|n| row.as_ref().unwrap()[n].to_owned())).collect();
    rows.sort();
    assert_eq!(drawn, rows);
    let want =
        |row: &str, mark: &str, from: &str, to: &str, n: &str| [row, mark, from, to, n].map(str::to_owned);
    for told in [
        want("cutout", "not_known", "2026-02-27T08:00:00Z", "2026-03-01T10:00:00Z", "1"),
        want("cutout", "not_known", "2026-03-01T10:00:00Z", "2026-03-01T16:30:00Z", "1"),
        want("cutout", "open", "2026-03-01T10:00:00Z", "2026-03-01T10:00:00Z", "1"),
        want("cutout", "closed", "2026-02-27T08:00:00Z", "2026-02-27T08:00:00Z", "1"),
        want("cutout", "closed", "2026-03-01T16:30:00Z", "2026-03-01T16:30:00Z", "1"),
        want("unit", "run", "2026-02-28T08:00:00Z", "2026-02-28T14:00:00Z", "1"),
        want("ground_relay", "ground_relay", "2026-03-01T02:00:00Z", "2026-03-01T02:00:00Z", "2"),
    ] {
        assert!(rows.contains(&told), "{told:?} in {rows:?}");
    }
    assert_eq!(rows.iter().filter(|row| row[0] == "unit").count(), 5, "all five runs: {rows:?}");
    sue.get(format!("{}/data/nothing", opening(3))).await.is(404);
    sue.get(format!("{}/data/around", opening(999))).await.is(404);
    app.user("ann").await.get(format!("{}/data/around", opening(3))).await.is(403);
}

#[tokio::test]
async fn seals_are_a_chain_and_the_page_says_where_it_breaks() {
    let app = App::start().await;
    found_open(&app).await;
    let sue = app.user("sue").await;
    let page = sue.get("/register/seals/QHB-412").await.is(200);
    let page =
        page.says("Seals of QHB 412").says("GRC Ground-relay cutout").says("Nowhere does it fail to follow.");
    page.says("20417").says("no number was on record: the chain begins here").says("cutout found open");
    // Another number than the one on record, and one that is gone with no opening on record.
    let other = seen(11, "2026-03-01T20:00:00-06:00", "closed", Some("20500"));
    let gone = seen(12, "2026-03-01T22:00:00-06:00", "closed", Some("missing"));
    let more = run(46, "ben", "2026-03-01T19:00:00-06:00", "2026-03-01T23:00:00-06:00", vec![other, gone]);
    app.file("ben", &more).await;
    let page = sue.get("/register/seals/QHB-412").await.is(200);
    let page = page.says("In 2 places it does not follow.").says("does not follow");
    page.says("found 20500, the one last on record is 20499")
        .says("found missing with no opening on record; the one last on record is 20500");
    let csv = sue.get("/register/seals/QHB-412?format=csv").await.is(200);
    let rows: Vec<&str> = csv.body.lines().collect();
    assert_eq!(rows.len(), 6, "{rows:?}");
    assert!(
        rows[0].starts_with("unit,device,at,last_at,looks,act,seal,last_on_record,follows,says,by,entry")
    );
    assert_eq!(rows.iter().filter(|row| row.contains(",no,")).count(), 2, "{rows:?}");
    // The same on the opening's own page: what was on record before it, and what came after.
    sue.get(opening(3)).await.says("20417").says("20499").link_to("/register/seals/");
    sue.get("/register/seals/QHB-413").await.is(200).says("Nothing is written down of a seal on this unit.");
    app.user("sam").await.get("/register/seals/QHB-412").await.is(403);
}

#[tokio::test]
async fn the_months_are_counted_on_a_page_and_in_a_file() {
    let app = App::start().await;
    let sue = app.user("sue").await;
    sue.get(paths::BypassMonths).await.is(200).says("That is not to say that there was none.");
    sue.get("/register/months/2026-03").await.is(200).says("Bypasses in March 2026").says("Openings 0");
    found_open(&app).await;
    let kept = json!({"id": entry_id(21), "kind": "bypass", "opened_at": "2026-02-20T08:00:00-06:00", "device": "GRC", "by": "ann",
        "reference": "=1+1", "purpose": "repair", "closed_at": "2026-02-20T08:30:00-06:00", "closed_by": "ann", "seal_applied": "20417"});
    app.file("ann", &report(21, "QHB 413", "ann", vec![kept])).await;
    let all = sue.get(paths::BypassMonths).await.is(200);
    let all = all.says("March 2026").says("February 2026");
    let march = sue.get(all.link_to("/register/months/")).await.is(200);
    let march = march
        .says("Openings 1")
        .says("Found open 1")
        .says("Opener not known, so whether authorised is not known 1")
        .says("Open when the book asked 1");
    march
        .says("Without a review that holds 1")
        .says("By unit QHB 412 1")
        .says("Pages in the book")
        .says("Root");
    let february =
        sue.get("/register/months/2026-02").await.is(200).says("Not authorised 1").says("Still open 0");
    february
        .says("By purpose repair 1")
        .says("By home shop Slate Gap 1")
        .says("30 min")
        .never_says("QHB 412");
    let csv = sue.get("/register/months?format=csv").await.is(200);
    let rows: Vec<&str> = csv.body.lines().collect();
    assert_eq!(rows.len(), 3);
    assert!(rows[0].starts_with("month,openings,own_right,ordered,not_authorised,"), "{rows:?}");
    assert!(
        rows[1].starts_with("2026-03,1,0,0,0,1,1,0,1,1,0,") && rows[2].starts_with("2026-02,1,0,0,1,"),
        "{rows:?}"
    );
    let csv = sue.get("/register/months/2026-02?format=csv").await.is(200);
    assert!(csv.body.contains(",'=1+1,") && csv.body.lines().count() == 2, "{}", csv.body);
    let narrowed = sue.get("/bypasses?unit=412&format=csv").await.is(200);
    assert!(
        narrowed.body.contains("2026-03-01T16:30:00Z") && narrowed.body.lines().count() == 2,
        "{}",
        narrowed.body
    );
    let sheet = sue.get("/bypasses?format=xlsx").await.is(200);
    assert!(sheet.header("content-disposition").ends_with(".xlsx\""));
    sue.get("/bypasses?unit=nonsense&format=csv").await.is(422).says("No unit of the roster is that");
    for wrong in ["2026-13", "March", "2026-3"] {
        sue.get(format!("/register/months/{wrong}")).await.is(404).says("A month is a year and a month");
    }
    app.user("sam").await.get("/register/months/2026-02").await.is(403);
}

async fn grant(app: &App, person: &str, by: &str) {
    let grant = Grant {
        sign_in: SignIn::from(person),
        classes: vec![],
        from: Day::parse("2026-01-01").unwrap(),
        to: Some(Day::parse("2026-12-31").unwrap()),
        basis: Some("course of 5 May 2025".into()),
        granted_by: SignIn::from(by),
        from_list: true,
        proposed_by: None,
        proposal: None,
    };
    app.web.desk().act(GrantAuthorisations::of(vec![grant], None, Channel::Import)).await.unwrap();
}

#[tokio::test]
async fn a_persons_page_has_their_rights_and_openings_and_nothing_else() {
    let app = App::start().await;
    crate::board::a_night(&app).await;
    grant(&app, "ann", "stan").await;
    let sue = app.user("sue").await;
    let page = sue
        .get("/register/people/ann")
        .await
        .is(200)
        .says("in force now")
        .says("basis: course of 5 May 2025");
    let page = page
        .says("from 1 January 2026 to 31 December 2026")
        .says("by stan")
        .says("QHB 412")
        .says("here: opened it");
    page.never_says("TC2").never_says("tripped").says("Nothing else is kept together by person.");
    sue.get("/register/people/ben")
        .await
        .is(200)
        .says("They are named in no opening.")
        .says("None is in the book");
    sue.get("/register/people/nobody.here").await.is(404).says("Nobody in this book has that sign-in name");
    app.user("ann").await.get("/register/people/ann").await.is(403);
    sue.get(opening(2)).await.says("It gave the right then.").link_to("/register/people/");
}

/// A review as a form would send it, signed with the right password.
async fn review<'a>(by: &Browser<'a>, name: &str, path: &str, unit: &str) -> Page<'a> {
    let typed = [
        ("judgement", "in_order"),
        ("words", "Looked at the order."),
        ("password", PASSWORD),
        ("signer", name),
        ("unit", unit),
        ("seen_seq", "9999"),
    ];
    by.post(format!("{path}/review"), &typed).await
}

/// Sue opened one, closed one that ann opened, gave the word for one, granted the right to one: she reviews none of them.
#[tokio::test]
async fn a_review_by_whoever_opened_closed_authorised_or_granted_is_refused_and_on_record() {
    let app = App::start().await;
    grant(&app, "ben", "sue").await;
    let one = |n: u32, hour: u32, by: &str, more: Value| {
        let mut entry = json!({"id": entry_id(n), "kind": "bypass", "opened_at": format!("2026-03-02T{hour:02}:00:00-06:00"), "device": "GRC",
            "by": by, "purpose": "repair", "closed_at": format!("2026-03-02T{hour:02}:30:00-06:00"), "closed_by": by});
        entry.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        entry
    };
    let told = [
        one(31, 1, "sue", json!({})),
        one(32, 3, "ann", json!({"closed_by": "sue"})),
        one(33, 5, "ann", json!({"authorised_by": "sue"})),
        one(34, 7, "ben", json!({})),
    ];
    for (entry, n) in told.into_iter().zip(31..) {
        app.file("ann", &report(n, "QHB 412", "ann", vec![entry])).await;
    }
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    for n in 31..=34 {
        let page = sue.get(opening(n)).await.is(200).says("somebody with no hand in it has to review it");
        assert!(!page.body.contains("/review\""), "no form is offered");
        let refused = review(&sue, "sue", &opening(n), "QHB 412").await.is(403);
        refused.says("somebody with no hand in it has to review it");
        let page = stan
            .get(opening(n))
            .await
            .is(200)
            .says("sue signed a review 3 Mar 2026 06:00 -06:00, and it was refused");
        page.never_says("Looked at the order.");
    }
    let mut db = app.web.desk().read().await.unwrap();
    let reviews: i64 = sqlx::query_scalar("SELECT count(*) FROM review").fetch_one(&mut *db).await.unwrap();
    let sql = "SELECT count(*) FROM page WHERE blob ->> 'kind' = 'act_refused' AND blob ->> 'author' = 'sue'";
    let tried: i64 = sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap();
    drop(db);
    assert_eq!((reviews, tried), (0, 4), "nothing reviewed, and each attempt a page of the book");
    // Who typed another's password, or none, signed nothing: that is no attempt of theirs.
    let wrong = [
        ("judgement", "in_order"),
        ("words", "x"),
        ("password", "no"),
        ("signer", "sue"),
        ("unit", "QHB 412"),
        ("seen_seq", "9999"),
    ];
    sue.post(format!("{}/review", opening(31)), &wrong).await.is(422);
    assert_eq!(count(&app, sql).await, 4);
    // Somebody with no hand in it reviews it all the same.
    review(&stan, "stan", &opening(31), "QHB 412").await.is(303);
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
    let told = stan.get(paths::Book).await.says("act refused");
    drop(told);
}

async fn count(app: &App, sql: &'static str) -> i64 {
    let mut db = app.web.desk().read().await.unwrap();
    sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap()
}

#[tokio::test]
async fn many_openings_are_a_hundred_to_a_page() {
    let app = App::start().await;
    let from = Instant::parse("2026-02-01T06:00:00Z").unwrap();
    let hour = breakerbook::base::instant::HOUR;
    for part in 0..10 {
        let entries = (0..50).map(|nth| {
            let n = part * 50 + nth;
            let at = |more: i64| from.plus(i64::from(n) * hour + more).to_z();
            json!({"id": entry_id(1_000 + n), "kind": "bypass", "opened_at": at(0), "device": "GRC", "by": "ann", "purpose": "repair",
                "closed_at": at(hour / 2), "closed_by": {"name": "A very long name of somebody whom the office list does not have ".repeat(3).trim()}})
        });
        app.file("ann", &report(60 + part, "QHB 412", "ann", entries.collect())).await;
    }
    let sue = app.user("sue").await;
    let page = sue.get(paths::Bypasses).await.is(200).says("1 to 100 of 500");
    assert_eq!(page.body.matches("data-th=\"Opened\"").count(), 100);
    let page = sue.get("/register/months/2026-02").await.is(200).says("Openings 500").says("1 to 100 of 500");
    assert_eq!(page.body.matches("data-th=\"Opened\"").count(), 100);
    let page = sue.get("/register/months/2026-02?print=yes").await.is(200);
    assert_eq!(page.body.matches("data-th=\"Opened\"").count(), 500);
    sue.get("/register/people/ann").await.is(200).says("Named in 500 openings, of which they opened 500.");
    sue.get(opening(1_400)).await.is(200);
    let seals = sue.get("/register/seals/QHB-412").await.is(200).says("1 to 100 of 1000");
    assert_eq!(seals.body.matches("data-th=\"When\"").count(), 100);
}
