//! An old checkpoint against a book that somebody rewrote with a tool of their own: every hash reckoned anew, every table
//! rebuilt. `verify` alone finds nothing in such a book; the checkpoint does.
use breakerbook::{
    base::{SignIn, instant::DAY},
    book::{
        Channel, Envelope, Frontier, key,
        note::{Checkpoint, Note, PublicKey, SecretKey},
        page,
        tree::leaf_hash,
    },
    desk::{
        held::Held,
        rebuild,
        verify::{Elsewhere, Verdict, verify_against},
    },
};
use sqlx::{AssertSqlSafe, SqliteConnection};

use crate::{
    house::{House, file, trip},
    process::run,
    tampered::{drop_triggers, full},
};

/// A book with some trips, and the checkpoint of it.
async fn with_checkpoint() -> (House, String) {
    let house = House::new().await;
    let note = add(&house, 1..4).await;
    (house, note)
}

/// Files some more, and signs.
async fn add(house: &House, trips: std::ops::Range<u64>) -> String {
    let desk = house.desk().await;
    for n in trips {
        file(&desk, &trip(n, u32::try_from(n).unwrap() * 20), "ann", Channel::Token).await.unwrap();
    }
    let kept = desk.make_checkpoint(Some(SignIn::from("max"))).await.unwrap();
    desk.close().await;
    kept.note
}

async fn held(house: &House, notes: &[&str]) -> Verdict {
    let named = |(note, n): (&&str, usize)| Held { named: format!("note {n}"), note: (*note).to_owned() };
    let elsewhere =
        Elsewhere { checkpoints: notes.iter().zip(1..).map(named).collect(), keys: vec![key_of(house)] };
    verify_against(&house.path, &elsewhere).await.unwrap()
}

fn key_of(house: &House) -> PublicKey {
    let secret = std::fs::read_to_string(key::beside(&house.path)).unwrap();
    SecretKey::parse(&secret).unwrap().public()
}

#[track_caller]
fn flaws(verdict: Verdict) -> Vec<String> {
    match verdict {
        Verdict::Flawed(flaws) => flaws,
        clean @ Verdict::Clean { .. } => panic!("{clean:?}"),
    }
}

#[track_caller]
fn says(flaws: &[String], words: &str) {
    assert!(flaws.iter().any(|flaw| flaw.contains(words)), "{words:?} is not in {flaws:#?}");
}

/// What somebody does who knows how this is made: other bytes, every number and hash in order, checkpoints in the file gone,
/// and then `rebuild`.
async fn rewrite(house: &House, change: impl FnOnce(&mut Vec<String>)) {
    let mut db = house.raw().await;
    let mut blobs: Vec<String> =
        sqlx::query_scalar("SELECT blob FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap();
    change(&mut blobs);
    let triggers = drop_triggers(&mut db).await;
    sqlx::raw_sql("DELETE FROM page; DELETE FROM checkpoint").execute(&mut db).await.unwrap();
    for (seq, blob) in blobs.iter().enumerate() {
        put(&mut db, seq, blob).await;
    }
    sqlx::raw_sql(AssertSqlSafe(triggers)).execute(&mut db).await.unwrap();
    rebuild::rebuild(&mut db).await.unwrap();
    sqlx::Connection::close(db).await.unwrap();
}

/// A page in its new place, under its new number.
async fn put(db: &mut SqliteConnection, seq: usize, blob: &str) {
    let old = Envelope::read(blob).unwrap();
    let blob = page::write(seq as u64, &old.kind, &old.heading(), old.body).unwrap();
    sqlx::query("INSERT INTO page (seq, blob, leaf) VALUES (?, ?, ?)")
        .bind(i64::try_from(seq).unwrap())
        .bind(&blob)
        .bind(&leaf_hash(blob.as_bytes()).0[..])
        .execute(db)
        .await
        .unwrap();
}

#[tokio::test]
async fn a_book_that_went_on_goes_on_from_every_checkpoint() {
    let (house, first) = with_checkpoint().await;
    let second = add(&house, 4..9).await;
    let Verdict::Clean { size, notes, .. } = held(&house, &[&first, &second]).await else {
        panic!("not clean")
    };
    assert_eq!(notes.len(), 2, "{notes:?}");
    assert!(notes[0].contains("goes on from it") && notes[0].contains("consistency proof"), "{notes:?}");
    let told = Checkpoint::read(Note::read(&second).unwrap().text).unwrap();
    assert_eq!(told.head.size, size);
    // The same book is signed once.
    assert_eq!(add(&house, 9..9).await, second);
}

#[tokio::test]
async fn a_tail_cut_off_is_found() {
    let (house, first) = with_checkpoint().await;
    let second = add(&house, 4..9).await;
    rewrite(&house, |pages| pages.truncate(pages.len() - 2)).await;
    let size = house.is_clean().await;
    let flaws = flaws(held(&house, &[&first, &second]).await);
    says(
        &flaws,
        &format!(
            "note 2: the book is shorter than it was: {} pages were signed, and there are {size}",
            size + 2
        ),
    );
    assert!(!flaws.iter().any(|flaw| flaw.starts_with("note 1")), "{flaws:?}");
}

#[tokio::test]
async fn a_tail_cut_off_and_other_pages_written_is_found_and_narrowed_down() {
    let (house, first) = with_checkpoint().await;
    let second = add(&house, 4..9).await;
    let before = Checkpoint::read(Note::read(&first).unwrap().text).unwrap().head.size;
    let signed = Checkpoint::read(Note::read(&second).unwrap().text).unwrap().head.size;
    rewrite(&house, |pages| pages.truncate(pages.len() - 2)).await;
    let desk = house.desk().await;
    for n in 20..26 {
        file(&desk, &trip(n, u32::try_from(n).unwrap() * 20), "ann", Channel::Token).await.unwrap();
    }
    desk.close().await;
    assert!(house.is_clean().await > signed);
    let flaws = flaws(held(&house, &[&first, &second]).await);
    says(&flaws, "note 2: the first");
    says(&flaws, "cut off and others written");
    says(&flaws, &format!("one of pages {before} to {}", signed - 1));
}

#[tokio::test]
async fn a_page_replaced_with_every_later_hash_is_found() {
    let (house, first) = with_checkpoint().await;
    let second = add(&house, 4..9).await;
    rewrite(&house, |pages| {
        let trip = pages.iter_mut().find(|page| page.contains("report_filed")).unwrap();
        assert!(trip.contains("looked_no_sign"));
        *trip = trip.replace("looked_no_sign", "examined");
    })
    .await;
    house.is_clean().await;
    let flaws = flaws(held(&house, &[&second]).await);
    says(&flaws, "not those that were signed");
    says(&flaws, "Which page differs first, a root cannot say: it is one of pages 0 to");
    let both = self::flaws(held(&house, &[&first, &second]).await);
    says(&both, "note 1: the first");
    let signed = Checkpoint::read(Note::read(&first).unwrap().text).unwrap().head.size;
    says(&both, &format!("one of pages 0 to {}", signed - 1));
}

#[tokio::test]
async fn whoever_forgets_the_checkpoints_in_the_file_is_found_without_any_other() {
    let (house, _) = with_checkpoint().await;
    let mut db = house.raw().await;
    let kept: Vec<(i64, String, i64)> =
        sqlx::query_as("SELECT size, note, made_at FROM checkpoint").fetch_all(&mut db).await.unwrap();
    rewrite(&house, |pages| {
        pages.pop();
    })
    .await;
    for (size, note, at) in kept {
        sqlx::query("INSERT INTO checkpoint (size, note, made_at) VALUES (?, ?, ?)")
            .bind(size)
            .bind(note)
            .bind(at)
            .execute(&mut db)
            .await
            .unwrap();
    }
    sqlx::Connection::close(db).await.unwrap();
    says(&house.flaws().await, "in the file itself: the book is shorter");
}

#[tokio::test]
async fn a_rewritten_book_is_not_signed_again() {
    let (house, note) = with_checkpoint().await;
    let mut db = house.raw().await;
    rewrite(&house, |pages| {
        let last = pages.last_mut().unwrap();
        *last = last.replace("looked_no_sign", "examined");
    })
    .await;
    let size = Checkpoint::read(Note::read(&note).unwrap().text).unwrap().head.size;
    sqlx::query("INSERT INTO checkpoint (size, note, made_at) VALUES (?, ?, 0)")
        .bind(i64::try_from(size).unwrap())
        .bind(&note)
        .execute(&mut db)
        .await
        .unwrap();
    sqlx::Connection::close(db).await.unwrap();
    let desk = house.desk().await;
    let why = desk.make_checkpoint(None).await.unwrap_err().to_string();
    assert!(why.contains(&format!("the first {size} pages are not those that were signed before")), "{why}");
}

#[tokio::test]
async fn what_is_no_checkpoint_of_this_book_proves_nothing_and_says_so() {
    let (house, note) = with_checkpoint().await;
    let (other, foreign) = with_checkpoint().await;
    // Both small books began as copies of one file, so the second is given a key and a name of its own.
    let stranger = SecretKey::of("breakerbook/00000000-0000-4000-8000-000000000001", &[9; 32]);
    let text = Note::read(&foreign).unwrap().text.to_owned();
    let name = text.lines().next().unwrap().to_owned();
    let foreign = stranger.sign(&text.replace(&name, stranger.public().name()));
    drop(other);
    let unknown = SecretKey::of(&name, &[9; 32]).sign(Note::read(&note).unwrap().text);
    let changed =
        note.replacen(&format!("\n{}", Note::read(&note).unwrap().text.lines().nth(1).unwrap()), "\n3", 1);
    for (note, words) in [
        (foreign.as_str(), "of another book (breakerbook/00000000"),
        (unknown.as_str(), "a key that is not known to be this book's"),
        (changed.as_str(), "the signature under this checkpoint is wrong"),
        ("3 pages", "this is not a signed note"),
        (note.trim_end(), "a part is missing"),
    ] {
        says(&flaws(held(&house, &[note]).await), words);
    }
}

#[tokio::test]
async fn a_key_made_anew_leaves_the_old_checkpoints_good() {
    let (house, note) = with_checkpoint().await;
    let old = key_of(&house);
    std::fs::remove_file(key::beside(&house.path)).unwrap();
    let newer = add(&house, 4..6).await;
    assert_ne!(key_of(&house), old);
    assert!(matches!(held(&house, &[&note, &newer]).await, Verdict::Clean { .. }));
}

#[tokio::test]
async fn a_clock_set_back_is_told_and_is_no_flaw() {
    let (house, _) = with_checkpoint().await;
    house.clock.set(house.clock.now().minus(40 * DAY));
    let note = add(&house, 4..6).await;
    let Verdict::Clean { size, notes, .. } = held(&house, &[&note]).await else { panic!("not clean") };
    let told = notes.iter().find(|note| note.contains("the clock of the machine was set back")).unwrap();
    assert!(
        told.contains(&format!("page {}", size - 2)) && told.contains("1 page is recorded earlier"),
        "{told}"
    );
    // A day that the clock comes to a second time has its checkpoint already; one that it has not been at gets its own.
    let desk = house.desk().await;
    assert!(!desk.make_checkpoint_if_due().await.unwrap());
    file(&desk, &trip(7, 140), "ann", Channel::Token).await.unwrap();
    assert!(!desk.make_checkpoint_if_due().await.unwrap(), "one a day");
    house.clock.set(house.clock.now().plus(DAY));
    assert!(desk.make_checkpoint_if_due().await.unwrap());
    assert!(!desk.make_checkpoint_if_due().await.unwrap());
    house.clock.set(house.clock.now().plus(DAY));
    assert!(!desk.make_checkpoint_if_due().await.unwrap(), "nothing was written since");
}

/// The tree that a checkpoint speaks of is the one that an outsider reckons from the pages.
#[tokio::test]
async fn a_checkpoint_is_what_anybody_reckons_from_the_pages() {
    let house = full().await;
    let desk = house.desk().await;
    let kept = desk.make_checkpoint(None).await.unwrap();
    let mut db = house.raw().await;
    let blobs: Vec<String> =
        sqlx::query_scalar("SELECT blob FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap();
    let mut tree = Frontier::default();
    blobs.iter().for_each(|blob| tree.push(leaf_hash(blob.as_bytes())));
    let told = Checkpoint::read(Note::read(&kept.note).unwrap().text).unwrap();
    assert_eq!((told.head.size, told.head.root), (tree.size(), tree.root()));
    assert_eq!(told.origin, desk.origin());
}

#[tokio::test]
async fn the_program_signs_and_holds_a_book_against_what_was_kept() {
    let house = full().await;
    let db = house.path.display().to_string();
    let told = run(&["checkpoint", "--db", &db]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let note = house.file("kept.txt", &told.out).display().to_string();
    let key = told.err.lines().find_map(|line| line.strip_prefix("public key: ")).unwrap().to_owned();
    let told = run(&["verify", "--db", &db, "--checkpoint", &note, "--key", &key]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.out.contains("this book goes on from it"), "{told:?}");
    rewrite(&house, |pages| {
        pages.pop();
    })
    .await;
    let told = run(&["verify", "--db", &db, "--checkpoint", &note]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(told.out.contains("kept.txt: the book is shorter than it was"), "{told:?}");
    let other = house.file("other.txt", "no note").display().to_string();
    let told = run(&["verify", "--db", &db, "--checkpoint", &other]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
}
