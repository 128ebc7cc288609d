//! The machine fails, or the program does: a full disk, a book from the future, a panic, a queue that is full, a client
//! that is gone. Nothing half done, nobody told what is not so.
use std::sync::{
    Arc,
    atomic::{AtomicUsize, Ordering},
};

use breakerbook::{
    base::{Instant, Stamp},
    book::Channel,
    db::{OpenError, Opening},
    desk::{
        Desk, DeskOptions, Draft, Filed, Page, Refused, Trouble,
        act::{Act, Decided},
        body::{Body, HandoverRead},
    },
};
use sqlx::Connection;

use crate::{
    house::{House, contents, file, read, same_contents, trip},
    process::{run, serve},
    writing::hold,
};

async fn with_pages(house: &House, max_pages: Option<u32>) -> Desk {
    let options = DeskOptions { opening: Opening { max_pages, ..Opening::default() }, ..house.options() };
    Desk::open(&house.path, options).await.unwrap()
}

#[tokio::test]
async fn a_full_disk_refuses_whole_and_the_book_stays_readable() {
    let house = House::new().await;
    let pages = u32::try_from(std::fs::metadata(&house.path).unwrap().len() / 4096).unwrap() + 12;
    let desk = with_pages(&house, Some(pages)).await;
    let mut filed = 0;
    let refused = loop {
        match file(&desk, &trip(filed, u32::try_from(filed).unwrap()), "ann", Channel::Token).await {
            Ok(receipt) => assert!(receipt.is_new),
            Err(why) => break why,
        }
        filed += 1;
        assert!(filed < 1000, "the disk never fills");
    };
    assert!(filed > 0);
    assert_eq!(refused, Refused::Trouble(Trouble::DiskFull));
    let says = refused.says();
    assert!(
        says.starts_with("The disk that holds the book is full: nothing of this was kept.")
            && says.ends_with('.'),
        "{says}"
    );
    // Whoever watches the server is told so too, and that it can be read.
    let health = desk.health().await;
    assert_eq!(health.pages, Some(desk.pages().await.unwrap()));
    let not_writable = health.not_writable.unwrap();
    assert!(not_writable.starts_with("the disk that holds the book is full"), "{not_writable}");
    // A whole group of them, some of which would fit alone.
    let gate = hold(&desk).await;
    let pending: Vec<_> = (500..520)
        .map(|n| desk.hand_over(read(&desk, &trip(n, 3), "ann", Channel::Token).unwrap(), None).unwrap())
        .collect();
    gate.open().await;
    let mut in_book = filed;
    for one in pending {
        match one.answer().await {
            Ok(receipt) => {
                in_book += 1;
                assert!(receipt.is_new);
            }
            Err(why) => assert_eq!(why, Refused::Trouble(Trouble::DiskFull)),
        }
    }
    // What is outside the book says so as well, and reading goes on.
    let mut db = desk.read().await.unwrap();
    let reports: i64 = sqlx::query_scalar("SELECT count(*) FROM report").fetch_one(&mut *db).await.unwrap();
    assert_eq!(reports, i64::try_from(in_book).unwrap());
    assert!(!contents(&mut db).await["finding"].is_empty());
    drop(db);
    house.is_clean().await;
    drop(desk);
    crate::house::closed(&house.path).await;
    house.is_clean().await;

    let desk = with_pages(&house, None).await;
    let again =
        file(&desk, &trip(filed, u32::try_from(filed).unwrap()), "ann", Channel::Token).await.unwrap();
    assert!(again.is_new, "nothing of it was kept the first time");
    house.is_clean().await;
}

/// Filing goes on by itself once there is room again, without opening the book anew.
#[tokio::test]
async fn the_writer_recovers_from_a_full_disk() {
    let house = House::new().await;
    let pages = u32::try_from(std::fs::metadata(&house.path).unwrap().len() / 4096).unwrap() + 6;
    let desk = with_pages(&house, Some(pages)).await;
    let mut n = 0;
    while file(&desk, &trip(n, 5), "ann", Channel::Token).await.is_ok() {
        n += 1;
    }
    for _ in 0..5 {
        assert_eq!(
            file(&desk, &trip(n, 5), "ann", Channel::Token).await,
            Err(Refused::Trouble(Trouble::DiskFull))
        );
    }
    // Nothing-new needs no room: a program that asks again still gets its receipt.
    assert!(!file(&desk, &trip(0, 5), "ann", Channel::Token).await.unwrap().is_new);
    desk.aside(|db| {
        Box::pin(async move { sqlx::query("PRAGMA max_page_count = 100000").execute(db).await.map(drop) })
    })
    .await
    .unwrap();
    assert!(file(&desk, &trip(n, 5), "ann", Channel::Token).await.unwrap().is_new);
    house.is_clean().await;
}

#[tokio::test]
async fn a_book_newer_than_the_program_is_left_untouched() {
    let house = House::new().await;
    let mut db = house.raw().await;
    sqlx::query("INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (9999, 'from tomorrow', 1, x'00', 1)")
        .execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    let before = house.bytes().await;
    match Desk::open(&house.path, house.options()).await.map(drop) {
        Err(OpenError::NewerThanProgram(_)) => {}
        other => panic!("{other:?}"),
    }
    let db = house.path.to_str().unwrap();
    let empty = house.file("list", "");
    let empty = empty.to_str().unwrap();
    for args in [
        &["serve", "--listen", "127.0.0.1:0", "--db", db][..],
        &["rebuild", "--db", db],
        &["findings", "--db", db],
        &["token", "--db", db, "--for", "ann"],
        &["import", "reports", empty, "--db", db],
    ] {
        let told = run(args).await;
        assert_eq!(told.code, Some(2), "{args:?}: {told:?}");
        assert!(
            told.err.contains("was written by a newer breakerbook than this one and was left untouched"),
            "{args:?}: {told:?}"
        );
    }
    let told = run(&["verify", "--db", db]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(house.bytes().await == before, "the file changed");
}

/// A page from tomorrow's program in a book whose tables are today's.
#[tokio::test]
async fn a_page_of_a_later_version_is_named_and_nothing_is_rebuilt() {
    let house = House::new().await;
    let mut db = house.raw().await;
    let size: i64 = sqlx::query_scalar("SELECT count(*) FROM page").fetch_one(&mut db).await.unwrap();
    let blob = format!(
        "{{\"v\":2,\"seq\":{size},\"kind\":\"handover_read\",\"author\":\"ann\",\"channel\":\"page\",\"on_behalf_of\":null,\"recorded_at\":\"2026-03-01T00:00:00Z\",\"happened_at\":null,\"body\":{{}}}}"
    );
    let leaf = breakerbook::book::tree::leaf_hash(blob.as_bytes());
    sqlx::query("INSERT INTO page VALUES (?, ?, ?)")
        .bind(size)
        .bind(blob)
        .bind(&leaf.0[..])
        .execute(&mut db)
        .await
        .unwrap();
    let before = contents(&mut db).await;
    let told = run(&["rebuild", "--db", house.path.to_str().unwrap()]).await;
    assert_eq!(told.code, Some(2), "{told:?}");
    assert!(told.err.contains(&format!("page {size}")) && told.err.contains("newer program"), "{told:?}");
    same_contents(&before, &contents(&mut db).await, "before and after a rebuild that failed");
}

/// Panics where it is told to.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Panics {
    Pages,
    Deciding,
    Answering,
    /// The body cannot be written out at all.
    Never,
}

struct Rude {
    page: Page,
    panics: Panics,
    decided: Arc<AtomicUsize>,
}

fn rude(panics: Panics) -> Rude {
    let body = Body::HandoverRead(Box::new(HandoverRead { unit: "QHB 3".into(), tree_size: Some(0) }));
    let page = Page {
        author: Some("ann".into()),
        channel: Channel::Page,
        on_behalf_of: None,
        happened_at: Some(Stamp::utc(Instant(0))),
        body,
    };
    Rude { page, panics, decided: Arc::default() }
}

impl Act for Rude {
    type Answer = u64;

    fn pages(&self) -> Vec<&Page> {
        assert_ne!(self.panics, Panics::Pages, "a test's panic in pages");
        vec![&self.page]
    }
    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        self.decided.fetch_add(1, Ordering::SeqCst);
        assert_ne!(self.panics, Panics::Deciding, "a test's panic in decide");
        Ok(Decided::all(1))
    }
    fn answer(&self, _: &Draft, filed: &[Filed]) -> u64 {
        assert_ne!(self.panics, Panics::Answering, "a test's panic in answer");
        filed[0].seq
    }
}

#[tokio::test]
async fn a_panic_fails_its_own_job_only() {
    let house = House::new().await;
    let desk = house.desk().await;
    let before = house.is_clean().await;
    for panics in [Panics::Pages, Panics::Deciding, Panics::Answering] {
        match desk.act(rude(panics)).await {
            Err(Refused::Trouble(Trouble::Fault(_))) => {}
            other => panic!("{panics:?}: {other:?}"),
        }
        assert_eq!(house.is_clean().await, before, "{panics:?}: nothing of it is in the book");
    }
    let mut n = 0;
    for panics in [Panics::Deciding, Panics::Answering, Panics::Pages] {
        let gate = hold(&desk).await;
        let mut good = Vec::new();
        let mut hand_good = |n: u64| {
            good.push(desk.hand_over(read(&desk, &trip(n, 5), "ann", Channel::Token).unwrap(), None).unwrap())
        };
        (n..n + 5).for_each(&mut hand_good);
        let bad = desk.hand_over(rude(panics), None).unwrap();
        (n + 5..n + 10).for_each(&mut hand_good);
        let fine = desk.hand_over(rude(Panics::Never), None).unwrap();
        gate.open().await;
        for one in good {
            assert!(one.answer().await.unwrap().is_new, "{panics:?}");
        }
        match bad.answer().await {
            Err(why @ Refused::Trouble(Trouble::Fault(_))) => {
                assert!(
                    why.says().starts_with("The program failed on this and kept nothing of it"),
                    "{}",
                    why.says()
                );
            }
            other => panic!("{panics:?}: {other:?}"),
        }
        fine.answer().await.unwrap();
        n += 10;
        assert_eq!(house.is_clean().await, before + n + n / 10);
    }
}

#[tokio::test]
async fn an_aside_that_panics_or_fails_changes_nothing() {
    let house = House::new().await;
    let desk = house.desk().await;
    let outcome = desk
        .aside::<(), _>(|db| {
            Box::pin(async move {
                sqlx::query("INSERT INTO attempt VALUES ('ann', 1, 0)").execute(&mut *db).await?;
                panic!("a test's panic in an aside")
            })
        })
        .await;
    assert!(matches!(outcome, Err(Trouble::Fault(_))), "{outcome:?}");
    let outcome = desk
        .aside::<(), _>(|db| {
            Box::pin(async move {
                sqlx::query("INSERT INTO attempt VALUES ('bob', 1, 0)").execute(&mut *db).await?;
                sqlx::query("INSERT INTO attempt VALUES ('bob', 1, 0)").execute(&mut *db).await.map(drop)
            })
        })
        .await;
    assert!(matches!(outcome, Err(Trouble::Fault(_))), "{outcome:?}");
    let mut db = desk.read().await.unwrap();
    let attempts: i64 = sqlx::query_scalar("SELECT count(*) FROM attempt").fetch_one(&mut *db).await.unwrap();
    assert_eq!(attempts, 0);
    drop(db);
    file(&desk, &trip(1, 5), "ann", Channel::Token).await.unwrap();
    house.is_clean().await;
}

#[tokio::test]
async fn a_client_that_is_gone_cancels_nothing() {
    let house = House::new().await;
    let desk = house.desk().await;
    let gate = hold(&desk).await;
    for n in 0..20 {
        drop(desk.hand_over(read(&desk, &trip(n, 5), "ann", Channel::Token).unwrap(), None).unwrap());
    }
    let waits = tokio::spawn({
        let (desk, act) = (desk.clone(), read(&desk, &trip(50, 5), "ann", Channel::Token).unwrap());
        async move { desk.act(act).await }
    });
    tokio::task::yield_now().await;
    waits.abort();
    gate.open().await;
    // Whoever comes after them is answered after them.
    assert!(file(&desk, &trip(60, 5), "ann", Channel::Token).await.unwrap().is_new);
    for n in (0..20).chain([50]) {
        assert!(!file(&desk, &trip(n, 5), "ann", Channel::Token).await.unwrap().is_new, "{n}");
    }
    house.is_clean().await;
}

#[tokio::test]
async fn a_full_queue_says_come_again() {
    let house = House::new().await;
    let desk = house.desk().await;
    let gate = hold(&desk).await;
    let mut pending = Vec::new();
    let busy = loop {
        match desk.hand_over(rude(Panics::Never), None) {
            Ok(one) => pending.push(one),
            Err(why) => break why,
        }
        assert!(pending.len() <= 1024);
    };
    assert_eq!(pending.len(), 1024);
    assert_eq!(busy, Refused::Busy { retry_after_s: 2 });
    assert!(busy.says().contains("nothing of this was kept"), "{}", busy.says());
    assert!(desk.aside(|_| Box::pin(async { Ok(()) })).await.is_err());
    gate.open().await;
    for one in pending {
        one.answer().await.unwrap();
    }
    assert!(file(&desk, &trip(1, 5), "ann", Channel::Token).await.unwrap().is_new);
    house.is_clean().await;
}

/// A server files while another process imports into the same book.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_processes_write_at_once() {
    let house = House::new().await;
    let before = house.is_clean().await;
    let db = house.path.to_str().unwrap().to_owned();
    let token = run(&["token", "--db", &db, "--for", "ann"]).await.out.trim().to_owned();
    let mut server = serve(&house.path).await;
    let lines: String = (1000..1300).map(|n| format!("{}\n", trip(n, (n % 600) as u32))).collect();
    let jsonl = house.file("reports.jsonl", lines);
    // People too, so that the server's picture of the world is out of date meanwhile.
    let people = house.file("people.csv", "sign_in,name,role,craft\nzoe,Zoe Example,crew,engineer\n");
    let import = async {
        let told = run(&["import", "people", people.to_str().unwrap(), "--db", &db]).await;
        assert_eq!(told.last_line(), "new=1 same=0 rejected=0", "{told:?}");
        run(&["import", "reports", jsonl.to_str().unwrap(), "--db", &db]).await
    };
    let mut client = crate::killed::Client::to(&server.address, &token).await;
    let filing = async {
        for n in 0..120 {
            let (status, body) = client.file(&trip(n, (n * 3 % 600) as u32)).await.unwrap();
            assert_eq!(status, 201, "{body}");
        }
    };
    let (told, ()) = tokio::join!(import, filing);
    assert_eq!((told.code, told.last_line()), (Some(0), "new=300 same=0 rejected=0"), "{told:?}");
    server.child.kill().await.unwrap();
    let size = house.is_clean().await;
    let mut raw = house.raw().await;
    let reports: i64 = sqlx::query_scalar("SELECT count(*) FROM report").fetch_one(&mut raw).await.unwrap();
    assert_eq!(reports, 420);
    let figures = "SELECT count(*) FROM page WHERE blob->>'kind' = 'class_figures_taken' AND seq >= ?";
    let before = i64::try_from(before).unwrap();
    let figures: i64 = sqlx::query_scalar(figures).bind(before).fetch_one(&mut raw).await.unwrap();
    assert_eq!(i64::try_from(size).unwrap(), before + 1 + 1 + 420 + figures, "nothing else was written");
}
