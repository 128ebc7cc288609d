//! What waits for a supervisor: openings that nobody reviewed, and authorisations that run out.
use breakerbook::{
    base::{Day, EntryId, Instant, SignIn},
    book::Channel,
    desk::{
        body::{Grant, Statement},
        keep_people::GrantAuthorisations,
        reports::AddStatement,
    },
    people,
    web::paths,
};
use serde_json::{Value, json};

use crate::{
    board::sues_own,
    harness::{App, PASSWORD, Page, entry_id, report},
};

const DAY: i64 = 24 * 60;

async fn findings(app: &App, asking: &str) -> Vec<Value> {
    let token = app.token("stan").await;
    let (_, rows) = app.api(&token, "GET", &format!("/api/v1/findings{asking}"), None).await;
    rows.as_array().unwrap().clone()
}

/// Since and until of one rule's findings, to the hour.
async fn of_rule(app: &App, rule: &str, asking: &str) -> Vec<(String, Option<String>)> {
    let rows = findings(app, asking).await;
    let of_rule = rows.iter().filter(|row| row["rule"] == rule);
    let hour = |value: &Value| value.as_str().map(|text| text[5..13].to_owned());
    let mut told: Vec<_> = of_rule.map(|row| (hour(&row["since"]).unwrap(), hour(&row["until"]))).collect();
    told.sort();
    told
}

fn span(since: &str, until: Option<&str>) -> (String, Option<String>) {
    (since.to_owned(), until.map(str::to_owned))
}

fn signed<'a>(page: Page<'a>, words: &str) -> Page<'a> {
    page.fill("judgement", "in_order").fill("words", words).fill("password", PASSWORD)
}

#[tokio::test]
async fn an_opening_without_a_review_is_asked_for_after_seven_days() {
    let app = App::start().await;
    sues_own(&app).await;
    let path = app.user("stan").await.get(paths::Bypasses).await.link_to("/bypasses/");
    app.minutes_pass(6 * DAY);
    assert_eq!(of_rule(&app, "not_reviewed", "").await, []);
    app.minutes_pass(2 * DAY);
    assert_eq!(of_rule(&app, "not_reviewed", "").await, [span("03-10T07", None)]);
    let asked = "opened 3 March 2026 by sue, closed 3 March 2026. Nobody reviewed it by 10 March 2026.";
    let stan = app.user("stan").await;
    stan.get(paths::Bypasses).await.says("not reviewed");
    stan.get(&path).await.says(asked);
    let key = app.finding_key("not_reviewed").await;
    stan.get(paths::Finding(key.clone())).await.is(200).says(asked).says("within 7 days of the opening");
    app.user("sam").await.get(paths::Finding(key)).await.is(404);
    signed(stan.get(&path).await, "Looked.").send().await.goes_to(&path);
    stan.get(&path).await.says("(until 11 Mar 2026").never_says("changed since reviewed");
    assert_eq!(of_rule(&app, "not_reviewed", "").await, []);
    assert_eq!(of_rule(&app, "not_reviewed", "?history=yes").await, [span("03-10T07", Some("03-11T12"))]);
    assert_eq!(of_rule(&app, "not_reviewed", "?as_of=2026-03-09T12:00:00Z").await, []);
    assert_eq!(
        of_rule(&app, "not_reviewed", "?as_of=2026-03-11T00:00:00Z").await,
        [span("03-10T07", None)],
        "as of then nobody had reviewed it"
    );
}

async fn says_beside(app: &App, who: &str, entry: u32, words: &str) {
    let by = app.web.desk().world().people.person(&SignIn::from(who)).unwrap().clone();
    let permit = by.permit(people::Act::MakeStatement).unwrap();
    let entry: EntryId = entry_id(entry).parse().unwrap();
    let statement = Statement { entry, words: words.into() };
    app.web.desk().act(AddStatement::of(statement, &permit, Channel::Page, app.clock.now())).await.unwrap();
}

#[tokio::test]
async fn a_statement_after_the_review_counts_again_from_there() {
    let app = App::start().await;
    sues_own(&app).await;
    says_beside(&app, "ben", 3, "I was there and saw the lock.").await;
    let stan = app.user("stan").await;
    let path = stan.get(paths::Bypasses).await.link_to("/bypasses/");
    // Ben's words stood there when the form was shown; ann's come while it is being filled in.
    let stale = signed(stan.get(&path).await, "Looked.");
    says_beside(&app, "ann", 3, "There was no lock.").await;
    stale.send().await.is(409).says("was written since you opened this page");
    signed(stan.get(&path).await, "Looked, and read both.").send().await.goes_to(&path);
    stan.get(&path).await.never_says("changed since reviewed");
    let state = |rows: Vec<Value>| {
        rows.iter()
            .filter(|row| row["rule"] == "no_authority")
            .map(|row| row["state"].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(state(findings(&app, "").await), ["reviewed"]);

    app.minutes_pass(3 * DAY);
    says_beside(&app, "ann", 3, "Nor a tag.").await;
    let stan = app.user("stan").await;
    stan.get(&path).await.says("changed since reviewed").says("no longer holds");
    assert_eq!(state(findings(&app, "").await), ["open"], "what it answered is asked again");
    app.minutes_pass(8 * DAY);
    assert_eq!(of_rule(&app, "not_reviewed", "").await, [span("03-13T12", None)]);
    let stan = app.user("stan").await;
    stan.get(&path).await.says("Something was written about it on 6 March 2026 after it was reviewed");
    signed(stan.get(&path).await, "No tag, indeed.").send().await.goes_to(&path);
    assert_eq!(of_rule(&app, "not_reviewed", "").await, []);
}

/// The entry that told of the closing is taken back: the review looked at another story.
#[tokio::test]
async fn an_amendment_that_takes_an_entry_away_counts_again_too() {
    let app = App::start().await;
    let opened = |n: u32, closed: Value| {
        json!({"id": entry_id(n), "kind": "bypass", "opened_at": "2026-03-03T01:00:00-06:00", "device": "GRC", "by": "sue",
            "purpose": "insulation_test", "closed_at": closed})
    };
    app.file("ann", &report(1, "QHB 413", "ann", vec![opened(1, Value::Null)])).await;
    app.file("ben", &report(2, "QHB 413", "ben", vec![opened(2, "2026-03-03T01:30:00-06:00".into())])).await;
    let stan = app.user("stan").await;
    let path = stan.get(paths::Bypasses).await.link_to("/bypasses/");
    signed(stan.get(&path).await, "Looked.").send().await.goes_to(&path);
    app.minutes_pass(DAY);
    let amendment = json!({"id": entry_id(50), "report": report(2, "QHB 413", "ben", vec![])["id"], "entry": entry_id(2),
        "author": "ben", "at": "2026-03-04T12:00:00Z", "reason": "that was another unit", "replacement": null});
    let amendment = breakerbook::reports::stored::amendment(&amendment.to_string()).unwrap();
    let ben = app.web.desk().world().people.person(&SignIn::from("ben")).unwrap().clone();
    let permit = ben.permit(people::Act::AmendEntry).unwrap();
    let act =
        breakerbook::desk::reports::AmendEntry::of(amendment, &permit, people::Role::Crew, Channel::Page);
    app.web.desk().act(act).await.unwrap();
    app.minutes_pass(8 * DAY);
    app.user("stan").await.get(&path).await.says("no longer holds");
    assert_eq!(of_rule(&app, "not_reviewed", "").await, [span("03-11T12", None)]);
}

fn grant(to: &str, classes: &[&str]) -> Grant {
    Grant {
        sign_in: "sam".into(),
        classes: classes.iter().map(|class| (*class).into()).collect(),
        from: Day::parse("2026-01-01").unwrap(),
        to: Day::parse(to),
        basis: None,
        granted_by: "sue".into(),
        from_list: false,
        proposed_by: None,
        proposal: None,
    }
}

async fn grants(app: &App, one: Grant) {
    app.web.desk().act(GrantAuthorisations::of(vec![one], Some(&"sue".into()), Channel::Page)).await.unwrap();
}

#[tokio::test]
async fn an_authorisation_is_told_of_sixty_days_before_it_ends() {
    let app = App::start().await;
    grants(&app, grant("2026-05-31", &[])).await;
    let says = "sam's authorisation for all classes ends 31 May 2026: grant it anew or tell them.";
    app.user("stan").await.get(paths::Bypasses).await.never_says(says).never_says("end within 60 days");
    // 60 days before midnight at the end of 31 May.
    app.clock.set(Instant::parse("2026-04-02T04:59:00Z").unwrap());
    assert_eq!(of_rule(&app, "expiring", "").await, []);
    app.minutes_pass(2);
    assert_eq!(of_rule(&app, "expiring", "").await, [span("04-02T05", Some("06-01T05"))]);
    let stan = app.user("stan").await;
    stan.get(paths::Bypasses).await.says("Authorisations that end within 60 days").says(says);
    stan.get("/bypasses?unit=QHB+413").await.never_says(says);
    let key = app.finding_key("expiring").await;
    stan.get(paths::Finding(key)).await.is(200).says(says);
    // The shop is told of none: it names people.
    let token = app.token("sam").await;
    let (_, rows) = app.api(&token, "GET", "/api/v1/findings", None).await;
    assert!(!rows.to_string().contains("expiring"), "{rows}");

    app.minutes_pass(DAY);
    grants(&app, grant("2027-05-31", &[])).await;
    assert_eq!(of_rule(&app, "expiring", "").await, []);
    assert_eq!(of_rule(&app, "expiring", "?history=yes").await, [span("04-02T05", Some("04-03T05"))]);
    assert_eq!(
        of_rule(&app, "expiring", "?as_of=2026-04-02T12:00:00Z").await,
        [span("04-02T05", Some("04-03T05"))]
    );
    app.user("stan").await.get(paths::Bypasses).await.never_says("end within 60 days");
}
