//! Notices: each told once, to whoever may read it, by the way they chose, whatever ends or fails in between.
use std::{
    collections::HashMap,
    sync::{Arc, atomic::Ordering::SeqCst},
    time::Duration,
};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use breakerbook::{
    base::{
        Instant, SignIn,
        instant::{DAY, HOUR, MINUTE},
    },
    book::Channel,
    desk::{
        backup::told::{self, Told},
        keep_people::{KeepPeople, PersonWanted},
        notices::{
            Post,
            look::{Looked, Looking, Stand, look},
            mail::{MailServer, Tls},
            post::due_hooks,
        },
        rebuild,
    },
    people::Role,
    web::{noticed, paths},
};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use tokio::sync::watch;

use crate::{
    fakes::{Answers, Mailbox, Receiver, header},
    harness::{App, PASSWORD, entry_id, report},
};

/// Typed into every text that a report takes.
const SENTINEL: &str = "xylophone-kettle";

fn opening(n: u32, unit: &str, at: &str) -> Value {
    let bypass = json!({"id": entry_id(n), "kind": "bypass", "opened_at": at, "device": "GRC", "by": "ann", "reference": SENTINEL,
        "purpose": "repair", "engine_running": "no", "power_taken": "no", "protection": "lock", "note": SENTINEL});
    let mut whole = report(n, unit, "ann", vec![bypass]);
    whole["remarks"] = json!(SENTINEL);
    whole
}

fn trouble(n: u32, unit: &str) -> Value {
    let defect = json!({"id": entry_id(n), "kind": "defect", "at": "2026-03-03T01:00:00-06:00", "system": "other",
        "text": SENTINEL, "may_go_on": "no", "restriction": SENTINEL});
    report(n, unit, "ann", vec![defect])
}

async fn look_now(app: &App, mail: bool) -> Looked {
    let now = app.clock.now();
    look(app.web.desk(), Looking { book: true, thorough: true, mail, from: now }, now).await.unwrap()
}

fn by_mail(port: u16) -> Post {
    let server = MailServer {
        host: "127.0.0.1".into(),
        port,
        tls: Tls::None,
        user: None,
        from: "book@example.com".parse().unwrap(),
        patience: Duration::from_millis(300),
    };
    Post::new(Some(server), noticed::links("https://book.example.com/"))
}

fn by_hook() -> Post {
    let mut post = Post::new(None, noticed::links("https://book.example.com"));
    post.patience = Duration::from_millis(300);
    post
}

/// Somebody chooses on their page: e-mail about every opening, as said.
async fn wants_mail(app: &App, who: &str, when: &str) {
    let page = app.user(who).await.get(paths::NoticesMine).await.is(200);
    let page = page.fill("email", &format!("{who}@example.com")).fill("morning", "06:30");
    let sorts = [
        "cutout_opened",
        "cutout_still_open",
        "without_authority",
        "ground_trouble",
        "not_reviewed",
        "right_ends",
    ];
    let page = sorts.iter().fold(page, |page, sort| page.fill(&format!("mail.{sort}"), when));
    page.send().await.goes_to("/notices/mine?done=kept");
}

fn going() -> watch::Receiver<bool> {
    watch::channel(false).1
}

async fn mail_round(app: &App, post: &Post) -> usize {
    let (_stop, going) = watch::channel(false);
    post.mail_round(app.web.desk(), &going).await.unwrap()
}

/// Carries what is due to every webhook; how many went.
async fn hook_rounds(app: &App, post: &Post) -> usize {
    let mut went = 0;
    for (hook, due) in due_hooks(app.web.desk()).await.unwrap() {
        went += post.hook_round(app.web.desk(), &hook, due, &going()).await.unwrap();
    }
    went
}

#[tokio::test]
async fn each_is_told_once_to_whoever_may_read_it_and_a_rebuild_tells_nothing() {
    let app = App::start().await;
    app.file("ann", &trouble(1, "QHB 412")).await;
    assert_eq!(look_now(&app, false).await.matters, 0, "what was open before telling began is known");

    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    app.file("ann", &trouble(3, "QHB 413")).await;
    let looked = look_now(&app, false).await;
    assert!(looked.matters >= 3, "{looked:?}");
    assert_eq!(look_now(&app, false).await, Looked::default());
    let mut db =
        breakerbook::db::open::writer(&app.path(), &breakerbook::db::Opening::default()).await.unwrap();
    rebuild::rebuild(&mut db).await.unwrap();
    assert_eq!(look_now(&app, false).await, Looked::default());

    let sue = app.user("sue").await;
    let page = sue.get(paths::Notices).await.is(200);
    let text = page.text();
    assert!(text.contains("QHB 412: ground-relay cutout opened"), "{text}");
    assert_eq!(
        text.matches("opened without a right on record 3 Mar").count(),
        1,
        "by two rules, told once: {text}"
    );
    assert!(
        !text.contains("QHB 413") && !page.body.contains(SENTINEL) && !page.body.contains("ann"),
        "{text}"
    );
    assert_eq!(page.link_to("/bypasses/"), format!("/bypasses/{}", entry_id(2)));
    sue.get(page.link_to("/bypasses/")).await.is(200);
    let sam = app.user("sam").await;
    let page = sam.get(paths::Notices).await.is(200).says("QHB 413: new on the board").never_says("cutout");
    sam.get(page.link_to("/findings/")).await.is(200);
    app.user("ann").await.get(paths::Notices).await.is(403);
    app.user("ada").await.get(paths::Notices).await.is(200).says("Nothing was told to you yet");

    // Another telling of the same opening, from a minute before: the line goes by another entry now.
    app.file("ann", &opening(4, "QHB 412", "2026-03-03T01:59:00-06:00")).await;
    look_now(&app, false).await;
    let text = sue.get(paths::Notices).await.text();
    assert_eq!(text.matches("QHB 412: ground-relay cutout opened 3 Mar").count(), 1, "{text}");
}

#[tokio::test]
async fn what_was_looked_at_is_looked_at_again_when_anything_comes_in_or_a_line_ends() {
    let app = App::start().await;
    let stand = async || Stand::of(app.web.desk(), app.clock.now()).await.unwrap();
    let before = stand().await;
    app.clock.set(app.clock.now().plus(MINUTE));
    assert!(before.is_still(&stand().await));
    let trip = json!({"id": entry_id(1), "kind": "breaker_trip", "at": "2026-03-03T02:00:00-06:00", "at_how": "clock",
        "device": "TC2", "resets": [{"basis": "not_determined", "result": "tripped_again"},
            {"basis": "not_determined", "result": "tripped_again"}], "left": "off"});
    app.file("ann", &report(1, "QHB 412", "ann", vec![trip])).await;
    let after = stand().await;
    assert!(!before.is_still(&after), "a report came in");
    app.clock.set(app.clock.now().plus(MINUTE));
    assert!(after.is_still(&stand().await));
    // Closed again with nothing determined: that line ends after 90 days, and nobody writes anything for it.
    app.clock.set(app.clock.now().plus(91 * DAY));
    assert!(!after.is_still(&stand().await), "a line ended");
}

#[tokio::test]
async fn what_is_read_is_marked_for_the_reader_alone() {
    let app = App::start().await;
    look_now(&app, false).await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, false).await;
    let (sue, stan) = (app.user("sue").await, app.user("stan").await);
    let before = sue.get(paths::Notices).await.body.matches("name=\"one\"").count();
    let page = sue.get(paths::Notices).await;
    let one = page.body.split("name=\"one\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    sue.post(paths::NoticesRead, &[("one", &one)]).await.goes_to("/notices");
    sue.post(paths::NoticesRead, &[("one", "nonsense")]).await.goes_to("/notices");
    let page = sue.get(paths::Notices).await;
    assert_eq!(page.body.matches("name=\"one\"").count(), before - 1);
    page.send().await.goes_to("/notices");
    sue.get(paths::Notices).await.says("Nothing unread.").says("ground-relay cutout opened");
    assert!(!sue.get(paths::Bypasses).await.body.contains("unread"));
    assert_eq!(stan.get(paths::Notices).await.body.matches("name=\"one\"").count(), before);
    assert!(stan.get(paths::Bypasses).await.body.contains(&format!("Notices, {before} unread")));
}

#[tokio::test]
async fn what_is_long_past_when_it_is_written_down_is_not_told() {
    let app = App::start().await;
    look_now(&app, false).await;
    let mut old = opening(2, "QHB 412", "2026-01-03T02:00:00-06:00");
    old["entries"][0]["closed_at"] = json!("2026-01-03T03:00:00-06:00");
    old["entries"][0]["closed_by"] = json!("ann");
    old["run"]["started"] = json!("2026-01-02T21:40:00-06:00");
    old["run"]["ended"] = json!("2026-01-03T05:10:00-06:00");
    app.file("ann", &old).await;
    look_now(&app, false).await;
    app.user("sue").await.get(paths::Notices).await.never_says("ground-relay cutout opened");
    // One that is open still is told, however long.
    app.file("ann", &opening(3, "QHB 413", "2026-01-03T02:00:00-06:00")).await;
    look_now(&app, false).await;
    app.user("sue")
        .await
        .get(paths::Notices)
        .await
        .says("QHB 413: ground-relay cutout opened")
        .says("still open");
}

#[tokio::test]
async fn a_letter_has_what_which_unit_when_and_where_and_nothing_that_anybody_typed() {
    let app = App::start().await;
    look_now(&app, true).await;
    wants_mail(&app, "sue", "at_once").await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    let mailbox = Mailbox::default();
    let post = by_mail(mailbox.open(0).await);
    assert_eq!(mail_round(&app, &post).await, 1);
    assert_eq!(mail_round(&app, &post).await, 0);
    let letters = mailbox.read();
    assert_eq!(letters.len(), 1);
    let letter = &letters[0];
    let line = "QHB 412: ground-relay cutout opened, 3 Mar 2026 02:00 -06:00";
    let link = format!("https://book.example.com/bypasses/{}", entry_id(2));
    assert!(letter.contains(line) && letter.contains(&link), "{letter}");
    assert!(letter.starts_with("RCPT TO:<sue@example.com>"), "{letter}");
    assert_eq!(header(letter, "auto-submitted"), "auto-generated");
    assert!(!letter.contains(SENTINEL) && !letter.contains("ann") && !letter.contains("GRC"), "{letter}");
    let sue = app.user("sue").await;
    sue.get(paths::NoticesSent).await.says("sent · 3 Mar 2026 06:00 -06:00, 1 try.");
    app.user("ada").await.get(paths::NoticesAll).await.says("By e-mail to sue").never_says(SENTINEL);
}

#[tokio::test]
async fn a_mail_server_that_is_down_for_a_day_gets_each_once_and_what_is_one_persons_as_one_letter() {
    let app = App::start().await;
    look_now(&app, true).await;
    wants_mail(&app, "sue", "at_once").await;
    wants_mail(&app, "stan", "morning").await;
    let mailbox = Mailbox::default();
    let port = {
        let nobody = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        nobody.local_addr().unwrap().port()
    };
    let post = by_mail(port);
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    for hour in 0..24 {
        if hour == 12 {
            app.file("ann", &opening(3, "QHB 413", "2026-03-03T03:00:00-06:00")).await;
        }
        look_now(&app, true).await;
        assert_eq!(mail_round(&app, &post).await, 0);
        app.minutes_pass(60);
    }
    let told = app.user("sue").await.get(paths::NoticesSent).await;
    told.says("tried").says(&format!("the mail server 127.0.0.1:{port} could not be reached"));

    mailbox.open(port).await;
    for _ in 0..2 {
        app.minutes_pass(61);
        look_now(&app, true).await;
        mail_round(&app, &post).await;
    }
    let letters = mailbox.read();
    for who in ["sue", "stan"] {
        let theirs: Vec<_> = letters.iter().filter(|l| l.starts_with(&format!("RCPT TO:<{who}@"))).collect();
        assert_eq!(theirs.len(), 1, "{who}: {theirs:?}");
        for unit in ["QHB 412", "QHB 413"] {
            let line = format!("{unit}: ground-relay cutout opened, 3 Mar");
            assert_eq!(theirs[0].matches(&line).count(), 1, "{who} {unit}: {theirs:?}");
        }
    }
    assert_eq!(letters.len(), 2);
}

#[tokio::test]
async fn the_morning_letter_waits_for_its_hour() {
    let app = App::start().await;
    look_now(&app, true).await;
    wants_mail(&app, "stan", "morning").await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    let mailbox = Mailbox::default();
    let post = by_mail(mailbox.open(0).await);
    // It is 06:00 there.
    app.user("stan").await.get(paths::NoticesSent).await.says("waiting · Goes 3 Mar 2026 06:30 -06:00.");
    for (minutes, went) in [(29, 0), (1, 1), (24 * 60, 0)] {
        app.minutes_pass(minutes);
        assert_eq!(mail_round(&app, &post).await, went, "{minutes}");
    }
}

#[tokio::test]
async fn ended_while_a_letter_is_under_way_the_same_letter_goes_again() {
    let app = App::start().await;
    look_now(&app, true).await;
    wants_mail(&app, "sue", "at_once").await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    let mailbox = Mailbox::default();
    mailbox.mute.store(true, SeqCst);
    let port = mailbox.open(0).await;
    let mut slow = by_mail(port);
    slow.mail.as_mut().unwrap().patience = Duration::from_secs(30);
    let desk = app.web.desk().clone();
    let round = tokio::spawn(async move { slow.mail_round(&desk, &going()).await });
    while mailbox.read().is_empty() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    // Killed after the server had it and before it was known: told once more, by the same name.
    round.abort();
    let _ = round.await;
    app.file("ann", &opening(3, "QHB 413", "2026-03-03T03:00:00-06:00")).await;
    look_now(&app, true).await;
    mail_round(&app, &by_mail(port)).await;
    app.minutes_pass(5);
    mailbox.mute.store(false, SeqCst);
    for _ in 0..3 {
        mail_round(&app, &by_mail(port)).await;
        app.minutes_pass(61);
    }
    let letters = mailbox.read();
    let of = |unit: &str| {
        let with: Vec<_> =
            letters.iter().filter(|letter| letter.contains(&format!("{unit}: ground"))).collect();
        let ids: std::collections::BTreeSet<_> =
            with.iter().map(|letter| header(letter, "message-id")).collect();
        (with.len(), ids.len())
    };
    let (first, first_ids) = of("QHB 412");
    assert!(first >= 2 && first_ids == 1, "{letters:?}");
    assert_eq!(of("QHB 413").1, 1, "{letters:?}");
    assert!(!letters.iter().any(|l| l.contains("QHB 412:") && l.contains("QHB 413:")), "{letters:?}");
    app.user("sue").await.get(paths::NoticesSent).await.never_says("tried ·").never_says("waiting ·");
}

#[tokio::test]
async fn a_letter_that_is_refused_is_tried_for_three_days_and_then_given_up() {
    let app = App::start().await;
    look_now(&app, true).await;
    wants_mail(&app, "sue", "at_once").await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    let mailbox = Mailbox::default();
    mailbox.refuses.store(true, SeqCst);
    let post = by_mail(mailbox.open(0).await);
    for _ in 0..74 {
        assert_eq!(mail_round(&app, &post).await, 0);
        app.minutes_pass(61);
    }
    app.user("sue")
        .await
        .get(paths::NoticesSent)
        .await
        .says("given up")
        .says("the mail server did not take the letter");
    mailbox.refuses.store(false, SeqCst);
    assert_eq!((mail_round(&app, &post).await, mailbox.read().len()), (0, 0));
}

#[tokio::test]
async fn whoever_lost_the_right_gets_nothing_and_sees_nothing() {
    let app = App::start().await;
    look_now(&app, true).await;
    for who in ["sue", "stan"] {
        wants_mail(&app, who, "at_once").await;
    }
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, true).await;
    let shop = PersonWanted {
        sign_in: SignIn::from("sue"),
        role: Role::Shop,
        name: "sue".into(),
        craft: String::new(),
    };
    app.web
        .desk()
        .act(KeepPeople::of(&[shop], &HashMap::new(), None, Channel::Console).unwrap())
        .await
        .unwrap();
    let mailbox = Mailbox::default();
    let post = by_mail(mailbox.open(0).await);
    mail_round(&app, &post).await;
    let letters = mailbox.read();
    assert!(letters.len() == 1 && letters[0].starts_with("RCPT TO:<stan@"), "{letters:?}");
    let sue = app.user("sue").await;
    sue.get(paths::Notices).await.is(200).never_says("cutout");
    assert!(!sue.get(paths::Triage).await.body.contains("unread"));
    app.user("ada")
        .await
        .get(paths::NoticesAll)
        .await
        .says("not sent · not tried yet: it is not theirs to read any more.");
}

#[tokio::test]
async fn a_choice_that_cannot_be_is_said_beside_its_field_and_kept_as_typed() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::NoticesMine).await.is(200).never_says("Ground-relay cutout opened");
    let page = page
        .fill("email", "sam at home")
        .fill("morning", "6 o'clock")
        .fill("shop", "Nowhere")
        .send()
        .await
        .is(422);
    for says in [
        "This is no e-mail address",
        "Hours and minutes, as in 06:00, please.",
        "No unit of the roster has that home shop.",
    ] {
        assert!(page.text().contains(says), "{says}: {}", page.text());
    }
    assert!(
        page.body.contains("value=\"sam at home\"") && page.body.contains("value=\"6 o&#39;clock\""),
        "{}",
        page.body
    );
    sam.get(paths::NoticesMine).await.never_says("sam at home");
    // What a role may not read cannot be chosen either.
    sam.post(paths::NoticesMine, &[("morning", "07:00"), ("inbox.cutout_opened", "yes")])
        .await
        .goes_to("/notices/mine?done=kept");
    look_now(&app, false).await;
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, false).await;
    sam.get(paths::Notices).await.says("Nothing was told to you yet");
    let ada = app.user("ada").await;
    ada.get(paths::NoticesAll)
        .await
        .says("sue: inbox")
        .says("This server sends no e-mail")
        .never_says("sam: inbox");
}

#[tokio::test]
async fn a_failed_back_up_is_told_once_a_day_and_an_inspection_when_it_is_near() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    sam.post(
        "/units/QHB-412/inspections",
        &[
            ("kind", "periodic"),
            ("at", "2025-12-15T10:00"),
            ("place", "Harrow Ferry"),
            ("conditions", SENTINEL),
            ("certified_by", SENTINEL),
            ("password", PASSWORD),
            ("signer", "sam"),
            ("unit", "QHB 412"),
        ],
    )
    .await;
    look_now(&app, false).await;
    for n in 0..3 {
        let failed = Told { says: SENTINEL.into(), ..Told::at(app.clock.now().plus(n * HOUR)) };
        app.web
            .desk()
            .aside(move |db| Box::pin(async move { told::keep(db, "failed", &failed).await }))
            .await
            .unwrap();
        app.clock.set(app.clock.now().plus(n * HOUR));
        look_now(&app, false).await;
    }
    let page = app.user("ada").await.get(paths::Notices).await;
    assert_eq!(page.text().matches("Back-up failed 3 Mar").count(), 1, "{}", page.text());
    assert!(!page.body.contains(SENTINEL), "{}", page.body);
    // 92 days from 15 December are over on 17 March: from the 3rd on it is near, and was known; from the 18th it has passed.
    app.clock.set(Instant::parse("2026-03-18T12:00:00Z").unwrap());
    look_now(&app, false).await;
    look_now(&app, false).await;
    let page = app.user("sam").await.get(paths::Notices).await;
    assert_eq!(page.text().matches("QHB 412: inspection due 18 Mar").count(), 1, "{}", page.text());
    assert!(!page.body.contains(SENTINEL), "{}", page.body);
}

/// Makes one on the page; its secret, which the page shows once.
async fn webhook(app: &App, url: &str) -> String {
    let ada = app.user("ada").await;
    let fields = [("url", url), ("what.cutout_opened", "yes"), ("password", PASSWORD), ("signer", "ada")];
    let page = ada.post(paths::Webhooks, &fields).await.is(200);
    let secret = page.body.split("whsec_").nth(1).unwrap().split('<').next().unwrap().to_owned();
    let again = ada.get(paths::Webhooks).await.is(200);
    assert!(!again.body.contains(&secret), "shown once");
    secret
}

/// HMAC-SHA256 from RFC 2104, by itself: what a receiver would reckon.
fn hmac(key: &[u8], message: &[u8]) -> Vec<u8> {
    let pad = |with: u8| (0..64).map(|n| key.get(n).copied().unwrap_or(0) ^ with).collect::<Vec<u8>>();
    let inner = Sha256::digest([pad(0x36), message.to_vec()].concat());
    Sha256::digest([pad(0x5c), inner.to_vec()].concat()).to_vec()
}

#[tokio::test]
async fn a_webhook_is_told_once_signed_and_by_the_same_id_when_it_is_tried_again() {
    let app = App::start().await;
    look_now(&app, false).await;
    let receiver = Receiver::open(Answers::Status(500)).await;
    let secret = STANDARD.decode(webhook(&app, &receiver.url).await).unwrap();
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, false).await;
    let post = by_hook();
    assert_eq!(hook_rounds(&app, &post).await, 0);
    assert_eq!(hook_rounds(&app, &post).await, 0, "it waits");
    app.user("ada").await.get(paths::NoticesAll).await.says("1 try: it answered 500.");
    *receiver.answers.lock().unwrap() = Answers::Status(204);
    app.minutes_pass(2);
    assert_eq!(hook_rounds(&app, &post).await, 1);
    app.minutes_pass(2);
    assert_eq!(hook_rounds(&app, &post).await, 0);
    let got = receiver.read();
    assert_eq!(got.len(), 2);
    for message in &got {
        let (head, body) = message.split_once("\n\n").unwrap();
        let signed = format!("{}.{}.{body}", header(head, "webhook-id"), header(head, "webhook-timestamp"));
        let want = format!("v1,{}", STANDARD.encode(hmac(&secret, signed.as_bytes())));
        assert_eq!(header(head, "webhook-signature"), want);
        let told: Value = serde_json::from_str(body).unwrap();
        assert_eq!(
            (told["type"].as_str(), told["data"]["unit"].as_str()),
            (Some("cutout_opened"), Some("QHB 412"))
        );
        assert_eq!(told["data"]["at"], "2026-03-03T08:00:00Z");
        assert!(!message.contains(SENTINEL) && !message.contains("ann"), "{message}");
    }
    assert_eq!(header(&got[0], "webhook-id"), header(&got[1], "webhook-id"));
    assert!(header(&got[0], "webhook-timestamp") < header(&got[1], "webhook-timestamp"));
    // The file has no secret: neither as bytes nor as text.
    let wal = std::fs::read(format!("{}-wal", app.path().display())).unwrap_or_default();
    let file = [std::fs::read(app.path()).unwrap(), wal].concat();
    let has = |what: &[u8]| file.windows(what.len()).any(|w| w == what);
    assert!(
        !has(&secret) && !has(STANDARD.encode(&secret).as_bytes()) && !has(hex::encode(&secret).as_bytes())
    );
    app.user("ada").await.get(paths::Webhooks).await.never_says("token=seen");
}

#[tokio::test]
async fn one_that_never_answers_or_answers_without_end_holds_nobody_up_and_no_redirect_is_followed() {
    let app = App::start().await;
    look_now(&app, false).await;
    let (hangs, endless) = (Receiver::open(Answers::Never).await, Receiver::open(Answers::Endlessly).await);
    let (fine, moved) =
        (Receiver::open(Answers::Status(200)).await, Receiver::open(Answers::Status(307)).await);
    for receiver in [&hangs, &endless, &fine, &moved] {
        webhook(&app, &receiver.url).await;
    }
    for n in 2..5 {
        app.file("ann", &opening(n, &format!("QHB {}", 410 + n), "2026-03-03T02:00:00-06:00")).await;
    }
    look_now(&app, false).await;
    let mut post = by_hook();
    post.patience = Duration::from_secs(3);
    let (stop, stopped) = watch::channel(false);
    let begun = std::time::Instant::now();
    let running = tokio::spawn(Arc::new(post).run(app.web.desk().clone(), stopped));
    while fine.read().len() < 3 || endless.read().len() < 3 || moved.read().is_empty() {
        assert!(begun.elapsed() < Duration::from_millis(2_900), "the others waited for the one that hangs");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    stop.send(true).unwrap();
    running.await.unwrap();
    assert_eq!((hangs.read().len(), moved.read().len()), (1, 1));
    assert!(endless.taken.load(SeqCst) < 30_000_000, "{} bytes were read", endless.taken.load(SeqCst));
    let text = app.user("ada").await.get(paths::NoticesAll).await.text();
    assert!(text.contains("it did not answer within 3 seconds"), "{text}");
    assert!(text.contains("it answered 307, to look elsewhere: that is not followed"), "{text}");
    assert_eq!(text.matches("sent ·").count(), 6, "{text}");
}

#[tokio::test]
async fn a_webhook_is_signed_for_ended_and_refused_where_it_cannot_be() {
    let app = App::start().await;
    look_now(&app, false).await;
    let ada = app.user("ada").await;
    let page = ada
        .post(paths::Webhooks, &[("url", "http://elsewhere.example.com/"), ("password", PASSWORD)])
        .await
        .is(422);
    let page = page.says("https, please").says("Choose what it is told of.");
    assert!(page.body.contains("value=\"http://elsewhere.example.com/\""), "{}", page.body);
    let fields =
        [("url", "https://elsewhere.example.com/"), ("what.trial", "yes"), ("what.backup_failed", "yes")];
    ada.post(paths::Webhooks, &fields).await.is(422).says("Type your password");
    for who in ["sam", "sue", "ann"] {
        app.user(who).await.post(paths::Webhooks, &fields).await.is(403);
    }
    let receiver = Receiver::open(Answers::Status(200)).await;
    webhook(&app, &receiver.url).await;
    // Pressed twice, it is one: of two secrets only the second would have been seen.
    let again = [
        ("url", receiver.url.as_str()),
        ("what.trial", "yes"),
        ("what.backup_failed", "yes"),
        ("password", PASSWORD),
    ];
    ada.post(paths::Webhooks, &again).await.is(422).says("There is one to this address already.");
    let page = ada.get(paths::Webhooks).await;
    let action = page.form().action;
    assert!(action.ends_with("/trial"), "{action}");
    for _ in 0..2 {
        ada.post(&action, &[]).await.goes_to("/notices/all");
    }
    let end = action.replace("/trial", "/end");
    assert_eq!(hook_rounds(&app, &by_hook()).await, 1, "pressed twice, sent once");
    assert!(receiver.read()[0].contains("\"type\":\"trial\""), "{:?}", receiver.read());
    app.minutes_pass(1);
    ada.post(&action, &[]).await.goes_to("/notices/all");
    ada.post(&end, &[("password", "not it")]).await.is(422).says("This is not your password.");
    ada.post(&end, &[("password", PASSWORD)]).await.goes_to("/notices/webhooks");
    ada.post(&end, &[("password", PASSWORD)]).await.is(404);
    assert_eq!(hook_rounds(&app, &by_hook()).await, 0, "ended is ended");
    ada.get(paths::NoticesAll).await.says("the webhook was ended");
    // Another key beside the book: nothing is signed with what the receiver does not have.
    webhook(&app, &receiver.url).await;
    std::fs::remove_file(format!("{}.key", app.path().display())).unwrap();
    app.file("ann", &opening(2, "QHB 412", "2026-03-03T02:00:00-06:00")).await;
    look_now(&app, false).await;
    assert_eq!(hook_rounds(&app, &by_hook()).await, 0);
    ada.get(paths::NoticesAll).await.says("make this webhook anew");
    assert_eq!(receiver.read().len(), 1);
}

#[tokio::test]
async fn a_trial_comes_by_every_way_that_is_open() {
    let app = App::start().await;
    look_now(&app, true).await;
    // Without an address it is the inbox that has it.
    let sue = app.user("sue").await;
    sue.get("/notices/mine?done=kept")
        .await
        .says("It is kept")
        .again("/notices/mine")
        .await
        .never_says("It is kept");
    sue.post(paths::NoticesTrial, &[]).await.goes_to("/notices");
    sue.get(paths::Notices).await.says("Trial notice 3 Mar 2026 06:00");
    app.minutes_pass(1);
    wants_mail(&app, "sue", "morning").await;
    let mailbox = Mailbox::default();
    let post = Arc::new(by_mail(mailbox.open(0).await));
    app.web.carries(Arc::clone(&post));
    let sue = app.user("sue").await;
    for _ in 0..2 {
        sue.post(paths::NoticesTrial, &[]).await.goes_to("/notices/sent");
    }
    assert_eq!(mail_round(&app, &post).await, 1);
    assert!(mailbox.read()[0].contains("Trial notice, 3 Mar 2026 06:01"), "{:?}", mailbox.read());
    let text = sue.get(paths::Notices).await.text();
    assert_eq!(text.matches("Trial notice 3 Mar").count(), 2, "{text}");
    app.clock.set(app.clock.now().plus(DAY + MINUTE));
    assert_eq!(mail_round(&app, &post).await, 0);
    app.user("ada")
        .await
        .get(paths::NoticesAll)
        .await
        .says("E-mail goes by 127.0.0.1:")
        .says("from book@example.com");
}

#[tokio::test]
async fn a_proposed_right_waits_for_another_supervisor_and_who_left_is_told_of_nothing() {
    let app = App::start().await;
    look_now(&app, true).await;
    for who in ["sue", "stan"] {
        wants_mail(&app, who, "at_once").await;
    }
    crate::authorisations::proposed(&app.user("sue").await, "sam").await;
    assert_eq!(look_now(&app, true).await.matters, 1);
    assert_eq!(look_now(&app, true).await, Looked::default(), "told once");
    let page = app.user("stan").await.get(paths::Notices).await.is(200);
    let page = page.says("An authorisation was proposed and waits for another supervisor");
    assert!(!page.body.contains("sam"), "{}", page.body);
    app.user("sam").await.get(paths::Notices).await.is(200).never_says("was proposed");
    crate::people::ends(&app, &app.user("ada").await, "ada", "stan").await.is(303);
    let mailbox = Mailbox::default();
    let post = by_mail(mailbox.open(0).await);
    mail_round(&app, &post).await;
    let letters = mailbox.read();
    assert!(letters.len() == 1 && letters[0].starts_with("RCPT TO:<sue@"), "{letters:?}");
}
