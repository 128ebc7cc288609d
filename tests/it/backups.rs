//! The Back-ups page: what became of the last one, and 'back up now'.
use std::time::Duration;

use breakerbook::{
    base::instant::DAY,
    desk::backup::told::{self, Told},
    web::paths,
};

use crate::harness::App;

/// The page, once nothing is under way any more.
async fn settled(app: &App) -> String {
    let ada = app.user("ada").await;
    for _ in 0..400 {
        let page = ada.get(paths::Backups).await.is(200);
        if !page.text().contains("One is under way") {
            return page.text();
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("a back-up that does not end");
}

#[tokio::test]
async fn a_server_that_takes_none_says_what_to_do() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let page = ada.get(paths::Backups).await.is(200);
    let text = page.text();
    assert!(
        text.contains("There is no back-up of this book yet. Start the server with --backup-to"),
        "{text}"
    );
    assert!(text.contains("This server takes none.") && !text.contains("Back up now"), "{text}");
    for other in ["ann", "sam", "sue"] {
        app.user(other).await.get(paths::Backups).await.is(403);
    }
}

#[tokio::test]
async fn now_means_now_and_a_failure_says_what_to_do() {
    let (app, to) = App::backed_up().await;
    let ada = app.user("ada").await;
    ada.post(paths::Backups, &[]).await.goes_to("/backups");
    let text = settled(&app).await;
    assert!(text.contains("The last one failed, 3 Mar 2026 06:00 -06:00."), "{text}");
    assert!(text.contains("There is no folder") && text.contains("mount the disk that it is on"), "{text}");
    assert!(text.contains("The folder is not there, or its disk does not answer."), "{text}");

    std::fs::create_dir(&to).unwrap();
    app.minutes_pass(1);
    ada.post(paths::Backups, &[]).await.goes_to("/backups");
    let text = settled(&app).await;
    assert!(text.contains("3 Mar 2026 06:01 -06:00, just now"), "{text}");
    assert!(text.contains("2026-03-03T120100Z.backup") && !text.contains("failed"), "{text}");
    assert!(text.contains("Every day at 03:00 (America/Chicago)"), "{text}");
    assert!(text.contains("1 MB, with the signing key beside it"), "{text}");
    assert_eq!(std::fs::read_dir(&to).unwrap().count(), 3, "the back-up, its key and the folder's lock");
    // A half, and what is another book's, are not on the list.
    std::fs::write(to.join(".breakerbook-1.half"), "x").unwrap();
    std::fs::write(to.join("book.00000000.2026-03-02T120100Z.backup"), "x").unwrap();
    let text = settled(&app).await;
    assert!(!text.contains(".half") && !text.contains("2026-03-02T"), "{text}");

    app.clock.set(app.clock.now().plus(3 * DAY));
    let text = settled(&app).await;
    assert!(text.contains("The last good back-up is 3 days old. Back up now"), "{text}");
}

#[tokio::test]
async fn a_clock_that_was_ahead_hides_no_failure_and_what_is_to_be_looked_at_is_said() {
    let app = App::start().await;
    let ahead = Told { says: "A key went astray.".into(), ..Told::at(app.clock.now().plus(400 * DAY)) };
    let failed = Told { says: "there is no room".into(), ..Told::at(app.clock.now()) };
    app.web
        .desk()
        .aside(move |db| {
            Box::pin(async move {
                told::keep(db, "good", &ahead).await?;
                told::keep(db, "failed", &failed).await
            })
        })
        .await
        .unwrap();
    let text = app.user("ada").await.get(paths::Backups).await.is(200).text();
    for says in [
        "is of a day that is still to come",
        "The last one failed",
        "There is no room.",
        "A key went astray.",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
}

#[tokio::test]
async fn a_restored_book_says_so_and_what_is_typed_into_a_path_stays_text() {
    let app = App::start().await;
    let told = Told { file: "/kept/<b>old</b>.backup".into(), size: 7, ..Told::at(app.clock.now()) };
    app.web
        .desk()
        .aside(move |db| Box::pin(async move { told::keep(db, "restored", &told).await }))
        .await
        .unwrap();
    let page = app.user("ada").await.get(paths::Backups).await.is(200);
    assert!(
        page.text().contains("This book was restored 3 Mar 2026 06:00 -06:00, with 7 pages, from"),
        "{}",
        page.text()
    );
    assert!(page.body.contains("/kept/&#60;b&#62;old"), "{}", page.body);
}
