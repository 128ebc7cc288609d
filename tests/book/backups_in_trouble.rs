//! Back-ups where something is in the way: the key, a kill, another back-up, a wrong clock, a book that is not the one of
//! before, a program of another age.
use std::{path::Path, time::Duration};

use breakerbook::{
    base::{Clock, Instant},
    book::Channel,
    desk::backup::{Pace, Taken, check, seal, take},
};
use sqlx::Connection;

use crate::{
    backups::{back_up, blobs, digests, filed, folder, lying, restore, taken},
    house::{House, closed, file, raw, trip},
    process::{Told, program, run},
};

fn name(path: &Path) -> String {
    path.file_name().unwrap().to_str().unwrap().to_owned()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// One by the library, at a moment of the test's choosing.
async fn take_at(house: &House, at: &str, keep: u32) -> Taken {
    let clock = Clock::standing_at(Instant::parse(at).unwrap());
    take(&house.path, &folder(house), Some(keep), Pace::Alone, &clock).await.unwrap()
}

async fn all_whole(house: &House) -> Vec<String> {
    let names = lying(&folder(house));
    for name in names.iter().filter(|name| name.ends_with(".backup")) {
        check::check(&folder(house).join(name)).await.unwrap();
    }
    names
}

async fn file_more(house: &House, numbers: std::ops::Range<u64>) {
    let desk = house.desk().await;
    for n in numbers {
        file(&desk, &trip(n, n as u32 % 600), "ann", Channel::Token).await.unwrap();
    }
    desk.close().await;
    closed(&house.path).await;
}

/// What somebody who reads the two side by side sees: every page with its place and hash, where they end, and every list.
async fn read_through(path: &Path) -> (Vec<(i64, String, Vec<u8>)>, (i64, Vec<u8>), Vec<String>) {
    let mut db = raw(path).await;
    let pages =
        sqlx::query_as("SELECT seq, blob, leaf FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap();
    let head = sqlx::query_as("SELECT size, root FROM head").fetch_one(&mut db).await.unwrap();
    db.close().await.unwrap();
    let mut lists = Vec::new();
    for list in ["entries", "findings", "bypasses"] {
        let told = run(&[list, "--db", text(path)]).await;
        assert_eq!(told.code, Some(0), "{told:?}");
        lists.push(told.out);
    }
    (pages, head, lists)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn restore_equals_the_original_page_for_page() {
    // More than one portion of pages.
    let house = filed(1_100).await;
    let path = taken(&back_up(&house, &["--fast"]).await);
    let there = house.dir.path().join("there.db");
    assert_eq!(restore(&path, &there, &[]).await.code, Some(0));
    let (original, restored) = (read_through(&house.path).await, read_through(&there).await);
    assert!(original.0.len() > 1_100 && original.2.iter().any(|list| list.len() > 100_000));
    for (was, is) in original.0.iter().zip(&restored.0) {
        assert_eq!(was, is);
    }
    assert_eq!(original.0.len(), restored.0.len());
    assert_eq!(original.1, restored.1);
    assert!(original.2 == restored.2, "a list says something else");
    let verified = run(&["verify", "--db", text(&there)]).await;
    assert_eq!(verified.code, Some(0), "{verified:?}");
}

#[tokio::test]
async fn the_key_goes_along_in_a_file_of_its_own_and_comes_back() {
    let house = filed(5).await;
    let none = back_up(&house, &[]).await;
    let old = taken(&none);
    assert!(none.out.contains("No key that checkpoints are signed with went along."), "{none:?}");
    let note = house.dir.path().join("note");
    let signed = run(&["checkpoint", "--db", text(&house.path), "--out", text(&note)]).await;
    assert_eq!(signed.code, Some(0), "{signed:?}");
    let beside = |path: &Path| Path::new(&format!("{}.key", path.display())).to_owned();
    let secret = std::fs::read(beside(&house.path)).unwrap();

    tokio::time::sleep(Duration::from_millis(1_100)).await;
    let told = back_up(&house, &[]).await;
    let path = taken(&told);
    assert!(told.out.contains("leave it out of what you hand to others"), "{told:?}");
    assert_eq!(std::fs::read(beside(&path)).unwrap(), secret);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(beside(&path)).unwrap().permissions().mode() & 0o777, 0o600);
    }
    let (book, half) = (std::fs::read(&path).unwrap(), &secret[secret.len() - 20..secret.len() - 1]);
    assert!(!book.windows(half.len()).any(|bytes| bytes == half), "the secret is in the back-up itself");

    // Another machine: the book signs with the same key, and goes on from what was signed.
    let there = house.dir.path().join("there.db");
    let told = restore(&path, &there, &[]).await;
    assert!(told.out.contains("The key that checkpoints are signed with is back in"), "{told:?}");
    assert_eq!(std::fs::read(beside(&there)).unwrap(), secret);
    let again = run(&["checkpoint", "--db", text(&there)]).await;
    assert_eq!(again.err.lines().next(), signed.err.lines().next(), "the public key");
    let verified = run(&["verify", "--db", text(&there), "--checkpoint", text(&note)]).await;
    assert_eq!(verified.code, Some(0), "{verified:?}");

    // One that has none says so, and takes none away from the book that it replaces.
    let told = restore(&old, &house.path, &["--replace"]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.out.contains("No key") && told.out.contains("is this book's and stays"), "{told:?}");
    assert_eq!(std::fs::read(beside(&house.path)).unwrap(), secret);
    // A damaged one is said, and the book comes all the same.
    std::fs::write(beside(&path), "PRIVATE+KEY+").unwrap();
    let third = house.dir.path().join("third.db");
    let told = restore(&path, &third, &[]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.out.contains("did not come back: the key in") && !beside(&third).exists(), "{told:?}");
    // Another key than the back-up's, there in the meantime, is kept with the book that is replaced.
    std::fs::write(beside(&path), &secret).unwrap();
    std::fs::write(beside(&third), "of somebody's own").unwrap();
    tokio::time::sleep(Duration::from_millis(1_100)).await;
    let told = restore(&path, &third, &["--replace"]).await;
    let kept = told.out.lines().next().unwrap().strip_prefix("kept ").unwrap_or_else(|| panic!("{told:?}"));
    assert_eq!(std::fs::read_to_string(beside(Path::new(kept))).unwrap(), "of somebody's own");
    assert_eq!(std::fs::read(beside(&third)).unwrap(), secret);
}

#[tokio::test]
async fn a_key_that_cannot_be_read_is_told_of_and_pruning_takes_keys_along() {
    let house = filed(3).await;
    assert_eq!(run(&["checkpoint", "--db", text(&house.path)]).await.code, Some(0));
    let first = take_at(&house, "2026-06-01T03:00:00Z", 7).await;
    let second = take_at(&house, "2026-06-02T03:00:00Z", 7).await;
    assert!(first.key.as_ref().is_some_and(|key| key.is_file()) && first.says.is_empty());
    let third = take_at(&house, "2026-07-01T03:00:00Z", 7).await;
    assert_eq!(third.removed, std::slice::from_ref(&first.path));
    let [two, three] = [name(&second.path), name(&third.path)];
    assert_eq!(
        lying(&folder(&house)),
        [two.clone(), format!("{two}.key"), three.clone(), format!("{three}.key")]
    );

    std::fs::write(format!("{}.key", house.path.display()), "not a key").unwrap();
    let told = back_up(&house, &[]).await;
    let path = taken(&told);
    assert!(told.out.contains("did not go along: the key in"), "{told:?}");
    assert!(!Path::new(&format!("{}.key", path.display())).exists());
    let mut db = house.raw().await;
    let says: String = sqlx::query_scalar("SELECT says FROM backup_told WHERE what = 'good'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert!(says.contains("did not go along"), "{says}");

    // Named from the folder in which it was started, and told of so that it is found from anywhere.
    tokio::time::sleep(Duration::from_millis(1_100)).await;
    let named = ["backup", "--db", "book.db", "--to", "kept"];
    let done = program().current_dir(house.dir.path()).args(named).output().await.unwrap();
    assert!(done.status.success(), "{done:?}");
    let at: String = sqlx::query_scalar("SELECT file FROM backup_told WHERE what = 'good'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert!(Path::new(&at).is_absolute() && Path::new(&at).is_file() && Path::new(&at) != path, "{at}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn killed_half_way_it_leaves_nothing_that_could_be_taken_for_a_back_up() {
    let house = filed(1_100).await;
    let good = taken(&back_up(&house, &["--fast"]).await);
    let to = folder(&house);
    let halves = || lying(&to).into_iter().filter(|name| name.ends_with(".half")).count();
    for _ in 0..3 {
        let mut child = program()
            .args(["backup", "--db", text(&house.path), "--to", text(&to), "--keep", "0"])
            .spawn()
            .unwrap();
        let mut seen = false;
        for _ in 0..20_000 {
            seen = halves() > 0;
            if seen || child.try_wait().unwrap().is_some() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        assert!(seen, "it ended before it could be killed");
        child.start_kill().unwrap();
        child.wait().await.unwrap();
        assert_eq!(halves(), 1, "one that was killed earlier is swept");
        let named: Vec<_> = lying(&to).into_iter().filter(|name| name.ends_with(".backup")).collect();
        assert_eq!(named, [name(&good)], "the good one stays, and no other has a name");
    }
    tokio::time::sleep(Duration::from_millis(1_100)).await;
    let next = taken(&back_up(&house, &["--fast"]).await);
    assert_eq!(all_whole(&house).await, [name(&good), name(&next)]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_several_at_once_each_is_whole_or_says_that_another_is_under_way() {
    let house = filed(200).await;
    folder(&house);
    let all: Vec<Told> =
        futures_util::future::join_all((0..4).map(|_| back_up(&house, &["--keep", "0"]))).await;
    let done: Vec<_> = all.iter().filter(|told| told.code == Some(0)).collect();
    for told in all.iter().filter(|told| told.code != Some(0)) {
        assert!(
            told.err.contains("another back-up into") || told.err.contains("is there already"),
            "{told:?}"
        );
    }
    assert!(!done.is_empty(), "{all:?}");
    let names = all_whole(&house).await;
    assert!(!names.is_empty() && names.len() <= done.len(), "{names:?}: {all:?}");
    assert!(names.iter().all(|name| name.ends_with(".backup")), "{names:?}");
}

#[tokio::test]
async fn a_clock_that_is_wrong_costs_no_good_one() {
    let house = filed(5).await;
    let first = take_at(&house, "2026-06-01T03:00:00Z", 30).await;
    // Set back: the one of before is from a day to come, and stays.
    let back = take_at(&house, "2020-01-01T03:00:00Z", 30).await;
    assert_eq!(all_whole(&house).await, [name(&back.path), name(&first.path)]);
    // Right again: what has the wrong date goes by it, the others stay.
    let second = take_at(&house, "2026-06-02T03:00:00Z", 30).await;
    assert_eq!(second.removed, [back.path]);
    // Two hundred years ahead, all are old: the latest stays beside the new one.
    let ahead = take_at(&house, "2226-06-02T03:00:00Z", 30).await;
    assert_eq!(ahead.removed, [first.path]);
    assert_eq!(all_whole(&house).await, [name(&second.path), name(&ahead.path)]);
    // Not asked to remove any, it removes none.
    let clock = Clock::standing_at(Instant::parse("2326-06-02T03:00:00Z").unwrap());
    let kept = take(&house.path, &folder(&house), None, Pace::Alone, &clock).await.unwrap();
    assert!(kept.removed.is_empty());
    assert_eq!(all_whole(&house).await.len(), 3);
}

/// The tail cut off, or an earlier day restored: what only an old back-up has is not pruned away day by day.
#[tokio::test]
async fn what_the_new_one_has_not_is_not_removed() {
    let house = filed(5).await;
    let shared = take_at(&house, "2026-06-01T03:00:00Z", 30).await;
    file_more(&house, 100..103).await;
    let lost = take_at(&house, "2026-06-02T03:00:00Z", 30).await;
    file_more(&house, 103..105).await;
    let later = take_at(&house, "2026-06-03T03:00:00Z", 30).await;
    let broken = folder(&house).join(name(&shared.path).replace("2026-06-01", "2019-06-01"));
    std::fs::write(&broken, &std::fs::read(&lost.path).unwrap()[..9_000]).unwrap();

    assert_eq!(restore(&shared.path, &house.path, &["--replace"]).await.code, Some(0));
    file_more(&house, 200..230).await;
    let now = take_at(&house, "2026-09-01T03:00:00Z", 30).await;
    assert!(now.end.size > later.end.size, "more pages, and yet not those");
    assert_eq!(now.removed, std::slice::from_ref(&shared.path));
    let left = lying(&folder(&house));
    assert_eq!(left, [name(&broken), name(&lost.path), name(&later.path), name(&now.path)]);
    let said = now.says.join("\n");
    for path in [&lost.path, &later.path] {
        assert!(said.contains(&format!("{} has pages that this book has not", name(path))), "{said}");
    }
    assert!(said.contains(&format!("{} cannot be read as a back-up", name(&broken))), "{said}");
    // The next day the latest is one of this book: only what is old is told of again.
    let next = take_at(&house, "2026-09-02T03:00:00Z", 365).await;
    assert_eq!((next.removed.len(), next.says.len()), (0, 1), "{:?}", next.says);
    assert!(next.says[0].starts_with(&name(&broken)), "{:?}", next.says);
}

#[cfg(target_os = "linux")]
#[tokio::test]
async fn a_folder_that_cannot_be_written_to_is_said() {
    let house = filed(3).await;
    // Not even the machine's master writes there.
    let told = run(&["backup", "--db", text(&house.path), "--to", "/proc"]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(told.err.contains("the folder /proc cannot be written to"), "{told:?}");
    let path = taken(&back_up(&house, &[]).await);
    let told = restore(&path, Path::new("/proc/there.db"), &[]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(
        told.err.contains("could not be copied to beside /proc/there.db")
            && told.err.contains("Nothing was changed"),
        "{told:?}"
    );
    // Something that is no file in the book's place is not moved away.
    let odd = house.dir.path().join("odd.db");
    std::fs::create_dir(&odd).unwrap();
    let told = restore(&path, &odd, &["--replace"]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(told.err.contains("cannot be opened or written to") && odd.is_dir(), "{told:?}");
}

/// As the program of before the last table beside the book would have left it: the same seal, other tables.
#[tokio::test]
async fn a_back_up_of_an_older_program_is_brought_up_to_this_one() {
    let house = filed(8).await;
    let path = taken(&back_up(&house, &[]).await);
    let label = check::check(&path).await.unwrap();
    let mut db = raw(&path).await;
    sqlx::raw_sql("DROP TABLE backup_told; DELETE FROM _sqlx_migrations WHERE version = 12;")
        .execute(&mut db)
        .await
        .unwrap();
    let sealed = seal::seal(&mut db, label.end, label.taken_at).await.unwrap();
    sqlx::query("UPDATE backup_label SET seal = ?").bind(&sealed).execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    assert_ne!(sealed, label.seal);
    let there = house.dir.path().join("there.db");
    let told = restore(&path, &there, &[]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert_eq!(digests(&there).await, digests(&house.path).await);
    assert_eq!(blobs(&there).await, blobs(&house.path).await);
}

#[tokio::test]
async fn a_book_newer_than_the_program_is_not_touched_not_even_copied() {
    let house = filed(2).await;
    let mut db = house.raw().await;
    // It lacks one that this program has, and has one that this program does not know.
    sqlx::raw_sql(
        "DELETE FROM _sqlx_migrations WHERE version = 12;
         INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
         VALUES (9999, '', 1, x'00', 1);",
    )
    .execute(&mut db)
    .await
    .unwrap();
    db.close().await.unwrap();
    let before = digests(&house.path).await;
    for args in [vec!["rebuild"], vec!["serve", "--listen", "127.0.0.1:0"]] {
        let told = run(&[&args[..], &["--db", text(&house.path)]].concat()).await;
        assert_eq!(told.code, Some(2), "{told:?}");
        assert!(told.err.contains("was written by a newer breakerbook than this one"), "{told:?}");
    }
    let told = back_up(&house, &[]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(told.err.contains("has the tables of another version of breakerbook"), "{told:?}");
    assert_eq!(digests(&house.path).await, before);
    assert!(!lying(house.dir.path()).iter().any(|name| name.contains("before-migration")));
}
