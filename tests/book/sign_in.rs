//! Signing in, as far as the machine's console has to do with it.
use breakerbook::{
    base::SignIn,
    desk::{Desk, DeskOptions},
    people::{codes_store, tries_store},
};

use crate::{
    house::House,
    process::{Told, run},
};

async fn begun() -> (House, String) {
    let house = House::bare();
    let db = house.path.to_str().unwrap().to_owned();
    let what =
        ["init", "--db", &db, "--railway", "Quarry & Harbor", "--mark", "qhb", "--zone", "America/Chicago"];
    let told = run(&[&what[..], &["--admin", "ada"]].concat()).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    (house, db)
}

async fn codes(db: &str, more: &[&str]) -> Told {
    run(&[&["codes", "--db", db], more].concat()).await
}

#[tokio::test]
async fn codes_are_asked_for_from_the_beginning_and_cleared_with_a_reason_that_the_book_tells() {
    let (house, db) = begun().await;
    let told = codes(&db, &[]).await;
    let said = "one-time codes are asked of supervisors and administrators\ncodes administrator ada none\n";
    assert_eq!((told.code, told.out.as_str()), (Some(0), said), "{told:?}");
    let told = codes(&db, &["--ask", "no"]).await;
    assert!(told.out.starts_with("one-time codes are not asked for\n"), "{told:?}");
    codes(&db, &["--ask", "yes"]).await;

    let desk = Desk::open(&house.path, DeskOptions::default()).await.unwrap();
    let now = desk.clock().now();
    let seed = breakerbook::people::codes::Seed::fresh().unwrap();
    let (code, at) = {
        let secret = totp_rs::Secret::from(seed.0);
        let totp = totp_rs::Builder::new().with_secret(secret).build().unwrap();
        (totp.generate(u64::try_from(now.0 / 1_000_000).unwrap()).to_string(), now)
    };
    let confirmed = desk.aside(move |c| {
        Box::pin(async move {
            codes_store::show(c, SignIn::from("ada"), seed, at).await?;
            let code = breakerbook::people::codes::Typed::read(&code).unwrap();
            codes_store::confirm(c, SignIn::from("ada"), code, vec![], at).await
        })
    });
    assert!(confirmed.await.unwrap());
    desk.close().await;
    let told = codes(&db, &[]).await;
    assert!(told.out.contains("codes administrator ada since 20"), "{told:?}");

    let told = codes(&db, &["--clear", "ada"]).await;
    assert_eq!(told.code, Some(2), "without a reason: {told:?}");
    let told = codes(&db, &["--clear", "nobody", "--reason", "x"]).await;
    assert!(told.code == Some(2) && told.err.contains("Nobody in this book signs in as nobody"), "{told:?}");
    let told = codes(&db, &["--clear", "ada", "--reason", "Lost telephone and paper"]).await;
    assert!(told.code == Some(0) && told.out.ends_with("codes administrator ada none\n"), "{told:?}");
    let told = run(&["verify", "--db", &db]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let desk = Desk::open(&house.path, DeskOptions::default()).await.unwrap();
    let last = "SELECT blob FROM page ORDER BY seq DESC LIMIT 1";
    let last: String = sqlx::query_scalar(last).fetch_one(&mut *desk.read().await.unwrap()).await.unwrap();
    assert!(last.contains("codes_cleared") && last.contains("Lost telephone and paper"), "{last}");
    desk.close().await;
}

/// It stayed shut before: the count of wrong ones was not taken back.
#[tokio::test]
async fn a_password_made_at_the_console_opens_a_name_that_a_hundred_wrong_ones_shut() {
    let (house, db) = begun().await;
    let desk = Desk::open(&house.path, DeskOptions::default()).await.unwrap();
    let now = desk.clock().now();
    let shut = async |desk: &Desk| {
        let begin = desk.aside(move |c| Box::pin(async move { tries_store::begin(c, "ada", now).await }));
        begin.await.unwrap() == tries_store::Try::Locked
    };
    let hundred = desk.aside(move |c| {
        Box::pin(async move {
            for n in 0..100 {
                tries_store::begin(c, "ada", now.minus((100 - n) * 86_400_000_000)).await?;
            }
            Ok(())
        })
    });
    hundred.await.unwrap();
    assert!(shut(&desk).await);
    desk.close().await;
    let told = run(&["password", "--db", &db, "--for", "ada"]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let desk = Desk::open(&house.path, DeskOptions::default()).await.unwrap();
    assert!(!shut(&desk).await);
    desk.close().await;
}
