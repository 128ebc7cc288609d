//! Back-ups by the real program: taken while it files, damaged in every way, and restored.
use std::{
    path::{Path, PathBuf},
    time::Duration,
};

use breakerbook::{
    book::Channel,
    desk::{backup::check, rebuild, verify::digest},
};
use rand::{RngExt, SeedableRng, rngs::StdRng};
use sqlx::Connection;

use crate::{
    house::{House, closed, file, raw, trip},
    killed::Client,
    process::{Told, program, run, serve},
};

pub async fn blobs(path: &Path) -> Vec<String> {
    let mut db = raw(path).await;
    let all = sqlx::query_scalar("SELECT blob FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap();
    db.close().await.unwrap();
    all
}

/// Every table of a book but sessions and what is told of back-ups, each as one digest.
pub async fn digests(path: &Path) -> Vec<(String, String)> {
    let mut db = raw(path).await;
    let names: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
            AND name NOT IN ('session', 'backup_told', '_sqlx_migrations') ORDER BY name",
    )
    .fetch_all(&mut db)
    .await
    .unwrap();
    assert!(rebuild::tables().all(|table| names.iter().any(|name| name == table)), "{names:?}");
    let mut all = Vec::new();
    for name in names {
        let digest = digest(&mut db, &name).await.unwrap();
        all.push((name, digest));
    }
    db.close().await.unwrap();
    all
}

/// A folder for back-ups beside the book, and what lies in it under a back-up's name.
pub fn folder(house: &House) -> PathBuf {
    let folder = house.dir.path().join("kept");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

pub fn lying(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != ".breakerbook-backups.lock")
        .collect();
    names.sort();
    names
}

pub async fn back_up(house: &House, more: &[&str]) -> Told {
    let to = folder(house);
    let mut args = vec!["backup", "--db", house.path.to_str().unwrap(), "--to", to.to_str().unwrap()];
    args.extend(more);
    run(&args).await
}

/// The back-up's path, from what the program printed.
#[track_caller]
pub fn taken(told: &Told) -> PathBuf {
    assert_eq!(told.code, Some(0), "{told:?}");
    PathBuf::from(told.last_line().strip_prefix("backed up ").unwrap_or_else(|| panic!("{told:?}")))
}

pub async fn restore(from: &Path, to: &Path, more: &[&str]) -> Told {
    let mut args = vec!["restore", "--from", from.to_str().unwrap(), "--db", to.to_str().unwrap()];
    args.extend(more);
    run(&args).await
}

/// Some reports, and somebody who is signed in.
pub async fn filed(reports: u64) -> House {
    let house = House::new().await;
    let desk = house.desk().await;
    let numbers: Vec<u64> = (0..reports).collect();
    for some in numbers.chunks(64) {
        let all = some.iter().map(async |n| {
            file(&desk, &trip(*n, *n as u32 * 9), "ann", Channel::Token).await.unwrap();
        });
        futures_util::future::join_all(all).await;
    }
    desk.close().await;
    let mut db = house.raw().await;
    sqlx::raw_sql(
        "INSERT INTO session (token_hash, sign_in, created_at, seen_at) VALUES (x'01', 'ann', 1, 1)",
    )
    .execute(&mut db)
    .await
    .unwrap();
    db.close().await.unwrap();
    closed(&house.path).await;
    house
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_back_up_taken_while_it_files_comes_back_page_for_page() {
    // More than one portion of pages.
    let house = filed(1_100).await;
    let token =
        run(&["token", "--db", house.path.to_str().unwrap(), "--for", "ann"]).await.out.trim().to_owned();
    let mut server = serve(&house.path).await;
    let filing: Vec<_> = (1..=4_u64)
        .map(|c| {
            let (address, token) = (server.address.clone(), token.clone());
            tokio::spawn(async move {
                let mut client = Client::to(&address, &token).await;
                let mut answers = 0;
                for n in c * 1_000_000.. {
                    match client.file(&trip(n, (n % 600) as u32)).await {
                        Some((201, _)) => answers += 1,
                        Some((503, _)) => tokio::time::sleep(Duration::from_millis(20)).await,
                        Some(other) => panic!("{other:?}"),
                        None => break,
                    }
                }
                answers
            })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(200)).await;
    let before = blobs(&house.path).await.len();
    let first = taken(&back_up(&house, &[]).await);
    let after = blobs(&house.path).await.len();
    server.child.start_kill().unwrap();
    server.child.wait().await.unwrap();
    let mut answers = 0;
    for client in filing {
        answers += client.await.unwrap();
    }
    let all = blobs(&house.path).await;
    let kept = blobs(&first).await;
    assert!(before <= kept.len() && kept.len() <= after, "{before} {} {after}", kept.len());
    assert!(answers > 0 && before < after, "nobody filed meanwhile");
    assert_eq!(kept[..], all[..kept.len()]);

    let there = house.dir.path().join("first.db");
    let told = restore(&first, &there, &[]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.last_line().contains(&format!(": {} pages, root ", kept.len())), "{told:?}");
    assert_eq!(blobs(&there).await, kept);
    let verified = run(&["verify", "--db", there.to_str().unwrap()]).await;
    assert_eq!(verified.code, Some(0), "{verified:?}");
}

#[tokio::test]
async fn restored_it_is_the_same_book_in_every_table_and_nobody_is_signed_in() {
    let house = filed(40).await;
    let told = back_up(&house, &[]).await;
    let path = taken(&told);
    assert!(told.out.contains("checked: "), "{told:?}");
    assert_eq!(lying(&folder(&house)).len(), 1, "no half, no log: {:?}", lying(&folder(&house)));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(&path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "hashes of passwords are for the owner alone");
    }
    let bytes = std::fs::read(&path).unwrap();
    let there = house.dir.path().join("there.db");
    assert_eq!(restore(&path, &there, &[]).await.code, Some(0));
    assert_eq!(digests(&there).await, digests(&house.path).await);
    assert_eq!(std::fs::read(&path).unwrap(), bytes, "restoring does not touch the back-up");
    let mut db = raw(&there).await;
    let sessions: i64 = sqlx::query_scalar("SELECT count(*) FROM session").fetch_one(&mut db).await.unwrap();
    let told: String = sqlx::query_scalar("SELECT file FROM backup_told WHERE what = 'restored'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert_eq!((sessions, told.as_str()), (0, path.to_str().unwrap()));
    db.close().await.unwrap();
    // The served file tells of it, and goes on.
    let mut db = house.raw().await;
    let good: String = sqlx::query_scalar("SELECT file FROM backup_told WHERE what = 'good'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert_eq!(good, path.to_str().unwrap());
    let verified = run(&["verify", "--db", there.to_str().unwrap()]).await;
    assert_eq!(verified.code, Some(0), "{verified:?}");
}

#[tokio::test]
async fn a_back_up_cut_or_flipped_anywhere_is_refused_or_says_the_same() {
    let house = filed(60).await;
    let path = taken(&back_up(&house, &[]).await);
    let whole = check::check(&path).await.unwrap();
    let bytes = std::fs::read(&path).unwrap();
    let bad = house.dir.path().join("bad.backup");
    let mut rng = StdRng::seed_from_u64(11);
    for n in 0..25 {
        let at = if n < 5 { bytes.len() - 4096 * (n + 1) } else { rng.random_range(0..bytes.len()) };
        std::fs::write(&bad, &bytes[..at]).unwrap();
        let why = check::check(&bad).await.expect_err("a back-up that was cut");
        assert!(why.0.contains("is not a whole back-up and was not used"), "{at}: {why}");
    }
    let mut refused = 0;
    for _ in 0..250 {
        let (mut flipped, at) = (bytes.clone(), rng.random_range(0..bytes.len()));
        flipped[at] ^= 1 << rng.random_range(0..8);
        std::fs::write(&bad, &flipped).unwrap();
        match check::check(&bad).await {
            Err(_) => refused += 1,
            // A byte that nobody reads: room between rows, a counter.
            Ok(label) => {
                assert_eq!(label, whole, "byte {at}");
                assert_eq!(blobs(&bad).await, blobs(&path).await, "byte {at}");
            }
        }
    }
    assert!(refused > 50, "only {refused} of 250 flips were found");
    // Where a page of the book lies, each is.
    for blob in blobs(&path).await.iter().step_by(5) {
        let (start, mut flipped) = (&blob.as_bytes()[..100], bytes.clone());
        let (within, bit) = (rng.random_range(0..100), rng.random_range(0..7));
        // Also where the file still has it from before its tree was balanced: nobody reads that.
        for at in (0..bytes.len() - 100).filter(|at| &bytes[*at..at + 100] == start) {
            flipped[at + within] ^= 1 << bit;
        }
        assert!(flipped != bytes);
        std::fs::write(&bad, &flipped).unwrap();
        check::check(&bad).await.expect_err("a byte of a page");
    }
}

#[tokio::test]
async fn what_is_no_whole_back_up_is_not_restored_and_nothing_is_changed() {
    let house = filed(10).await;
    let path = taken(&back_up(&house, &[]).await);
    let before = house.bytes().await;
    let cut = house.file("cut.backup", &std::fs::read(&path).unwrap()[..60_000]);
    // Somebody with a tool of their own: a password that they know, and a page with its hash.
    let forge = |name: &str, sql: &'static str| {
        let to = house.file(name, std::fs::read(&path).unwrap());
        async move {
            let mut db = raw(&to).await;
            sqlx::raw_sql(sql).execute(&mut db).await.unwrap();
            db.close().await.unwrap();
            to
        }
    };
    let secret = forge("a.backup", "INSERT INTO password VALUES ('ann', 'x', 1, 0)").await;
    let page = forge(
        "b.backup",
        "DROP TRIGGER page_is_never_deleted; DELETE FROM page WHERE seq = (SELECT max(seq) FROM page)",
    )
    .await;
    let newer = forge("c.backup", "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (9999, '', 1, x'00', 1)").await;
    let empty = house.file("empty.backup", "");
    for (from, says) in [
        (&cut, "is not a whole back-up and was not used"),
        (&secret, "what stands beside the pages is not what was copied"),
        (&page, "its pages make"),
        (&newer, "was written by a newer breakerbook than this one"),
        (&empty, "is not a whole back-up and was not used"),
        (&house.path, "says nothing of itself as a back-up does"),
        (&house.dir.path().join("none"), "there is no back-up at"),
    ] {
        let there = house.dir.path().join("there.db");
        let told = restore(from, &there, &[]).await;
        assert_eq!(told.code, Some(1), "{told:?}");
        assert!(told.err.contains(says), "{says}: {told:?}");
        assert!(!there.exists());
        let told = restore(from, &house.path, &["--replace"]).await;
        assert_eq!(told.code, Some(1), "{told:?}");
        assert!(house.bytes().await == before, "{says}: the book is not as it was");
    }
    let left: Vec<_> = lying(house.dir.path()).into_iter().filter(|n| n.contains("restoring")).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[tokio::test]
async fn a_book_is_replaced_only_when_asked_and_never_while_it_is_open() {
    let house = filed(10).await;
    let path = taken(&back_up(&house, &[]).await);
    let told = restore(&path, &house.path, &[]).await;
    assert_eq!(told.code, Some(1));
    assert!(told.err.contains("is already there and stays as it is"), "{told:?}");

    let mut server = serve(&house.path).await;
    let told = restore(&path, &house.path, &["--replace"]).await;
    assert_eq!(told.code, Some(1));
    assert!(told.err.contains("is open in another program, which may be a server: stop that"), "{told:?}");
    let token =
        run(&["token", "--db", house.path.to_str().unwrap(), "--for", "ann"]).await.out.trim().to_owned();
    let mut client = Client::to(&server.address, &token).await;
    assert_eq!(client.file(&trip(7_000, 5)).await.unwrap().0, 201, "the server goes on");
    server.child.start_kill().unwrap();
    server.child.wait().await.unwrap();

    // Killed: its log lies there, and what is in it is kept with the rest.
    let more = blobs(&house.path).await;
    let told = restore(&path, &house.path, &["--replace"]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let kept = PathBuf::from(told.out.lines().next().unwrap().strip_prefix("kept ").unwrap());
    assert_eq!(blobs(&kept).await, more);
    let now = blobs(&house.path).await;
    assert_eq!(now[..], more[..now.len()]);
    assert!(now.len() < more.len());
    house.is_clean().await;
}

/// A log without its book, and a file that is no book any more: neither may get into what is restored.
#[tokio::test]
async fn what_is_left_of_a_broken_book_is_kept_apart() {
    let house = filed(10).await;
    let path = taken(&back_up(&house, &[]).await);
    let pages = blobs(&path).await;
    let desk = house.desk().await;
    file(&desk, &trip(500, 3), "ann", Channel::Token).await.unwrap();
    let log = std::fs::read(format!("{}-wal", house.path.display())).unwrap();
    assert!(!log.is_empty());
    desk.close().await;
    closed(&house.path).await;
    for main in [None, Some("not a book at all, but long enough to be looked at".repeat(100))] {
        let there = house.dir.path().join(if main.is_some() { "broken.db" } else { "gone.db" });
        if let Some(text) = &main {
            std::fs::write(&there, text).unwrap();
        }
        std::fs::write(format!("{}-wal", there.display()), &log).unwrap();
        let told = restore(&path, &there, if main.is_some() { &["--replace"] } else { &[] }).await;
        assert_eq!(told.code, Some(0), "{told:?}");
        assert_eq!(blobs(&there).await, pages);
        let kept = told.out.lines().next().unwrap().strip_prefix("kept ").unwrap().to_owned();
        assert_eq!(std::fs::read(&kept).ok(), main.map(String::into_bytes), "{kept}");
        assert_eq!(std::fs::read(format!("{kept}-wal")).unwrap(), log);
    }
}

#[tokio::test]
async fn only_what_is_older_and_this_books_own_is_pruned_and_only_after_a_good_one() {
    let house = filed(5).await;
    let path = taken(&back_up(&house, &["--keep", "30"]).await);
    let name = path.file_name().unwrap().to_str().unwrap().to_owned();
    let (prefix, end) = (&name[..name.find(".20").unwrap() + 1], ".backup");
    let mut others = vec![
        format!("{prefix}2021-01-01T030000Z{end}"),
        format!("{prefix}2099-01-01T030000Z{end}"),
        format!("book.00000000.2021-01-01T030000Z{end}"),
        format!("{prefix}2021-01-01{end}"),
        "2021 letters.txt".to_owned(),
        name,
    ];
    let all_but_itself = others.iter().filter(|other| !path.ends_with(other));
    all_but_itself.for_each(|other| drop(std::fs::copy(&path, folder(&house).join(other))));
    others.sort();

    // A book with a page changed: the copy is found out, and the old ones stay.
    let mut db = house.raw().await;
    sqlx::raw_sql("DROP TRIGGER page_is_never_updated; UPDATE page SET blob = replace(blob, 'ann', 'ben') WHERE seq = 9")
        .execute(&mut db)
        .await
        .unwrap();
    let told = back_up(&house, &["--keep", "1"]).await;
    assert_eq!(told.code, Some(1), "{told:?}");
    assert!(told.err.contains("page 9: its bytes are not the ones that were filed"), "{told:?}");
    assert_eq!(lying(&folder(&house)), others);
    let says: String = sqlx::query_scalar("SELECT says FROM backup_told WHERE what = 'failed'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert!(says.contains("`breakerbook verify --db "), "{says}");
    sqlx::raw_sql("UPDATE page SET blob = replace(blob, 'ben', 'ann') WHERE seq = 9")
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();

    tokio::time::sleep(Duration::from_millis(1_100)).await;
    let newest = taken(&back_up(&house, &["--keep", "0"]).await);
    let left = lying(&folder(&house));
    let newest = newest.file_name().unwrap().to_str().unwrap().to_owned();
    // Gone: the old one and the first, which was a moment older. The changed book's name has its first page's print.
    let mut wanted: Vec<String> = others
        .into_iter()
        .filter(|n| !n.contains("2021-01-01T030000Z") || n.starts_with("book.00000000."))
        .collect();
    wanted.retain(|n| *n != path.file_name().unwrap().to_str().unwrap());
    wanted.push(newest);
    wanted.sort();
    assert_eq!(left, wanted);
}

/// A limit on the size of a file is as near to a full disk as a test comes without being the machine's master.
#[cfg(unix)]
#[tokio::test]
async fn without_room_it_says_so_and_leaves_no_half() {
    let house = filed(60).await;
    let path = taken(&back_up(&house, &[]).await);
    let to = folder(&house);
    std::fs::write(to.join(".breakerbook-0000.half"), "left by one that was killed").unwrap();
    let there = house.dir.path().join("there.db");
    let limited = |args: Vec<String>| {
        let mut shell = tokio::process::Command::new("sh");
        shell.args(["-c", "trap '' XFSZ; ulimit -f 160; exec \"$0\" \"$@\""]);
        shell.arg(program().as_std().get_program()).args(args);
        async move { shell.output().await.unwrap() }
    };
    let text = |path: &Path| path.display().to_string();
    let told =
        limited(vec!["backup".into(), "--db".into(), text(&house.path), "--to".into(), text(&to)]).await;
    let err = String::from_utf8(told.stderr).unwrap();
    assert_eq!(told.status.code(), Some(1), "{err}");
    assert!(err.contains("there is no room in") && err.contains("earlier ones are as they were"), "{err}");
    assert_eq!(lying(&to), [path.file_name().unwrap().to_str().unwrap()]);

    let told =
        limited(vec!["restore".into(), "--from".into(), text(&path), "--db".into(), text(&there)]).await;
    let err = String::from_utf8(told.stderr).unwrap();
    assert_eq!(told.status.code(), Some(1), "{err}");
    assert!(err.contains("there is no room beside") && err.contains("Nothing was changed"), "{err}");
    let left: Vec<_> = lying(house.dir.path()).into_iter().filter(|n| n.contains("there.db")).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[tokio::test]
async fn a_folder_that_is_not_there_or_taken_is_said() {
    let house = filed(1).await;
    let db = house.path.to_str().unwrap();
    let nowhere = house.dir.path().join("nowhere");
    let told = run(&["backup", "--db", db, "--to", nowhere.to_str().unwrap()]).await;
    assert_eq!(told.code, Some(1));
    assert!(told.err.contains("there is no folder") && !nowhere.exists(), "{told:?}");
    let lock = std::fs::File::create(folder(&house).join(".breakerbook-backups.lock")).unwrap();
    lock.lock().unwrap();
    let told = back_up(&house, &[]).await;
    assert_eq!(told.code, Some(1));
    assert!(
        told.err.contains("another back-up into") && told.err.contains("wait until it has ended"),
        "{told:?}"
    );
    drop(lock);
    taken(&back_up(&house, &[]).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_takes_the_daily_one_by_itself() {
    let house = filed(5).await;
    let to = folder(&house);
    let mut server = program()
        .args(["serve", "--listen", "127.0.0.1:0", "--db", house.path.to_str().unwrap()])
        .args(["--backup-to", to.to_str().unwrap(), "--backup-at", "03:00", "--keep", "7"])
        .spawn()
        .unwrap();
    let mut db = house.raw().await;
    let good = "SELECT file FROM backup_told WHERE what = 'good'";
    let mut file = None;
    for _ in 0..600 {
        file = sqlx::query_scalar::<_, String>(good).fetch_optional(&mut db).await.unwrap();
        if file.is_some() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    server.start_kill().unwrap();
    server.wait().await.unwrap();
    let file = PathBuf::from(file.expect("no back-up within half a minute"));
    assert_eq!(blobs(&file).await, blobs(&house.path).await);
    let name = file.file_name().unwrap().to_str().unwrap().to_owned();
    assert_eq!(
        lying(&to),
        [name.clone(), format!("{name}.key")],
        "the key that the server signs with goes along"
    );
}

/// As an earlier program left it: without the last of the tables beside the book.
#[tokio::test]
async fn tables_are_changed_only_after_the_book_was_copied() {
    let house = filed(5).await;
    let mut db = house.raw().await;
    sqlx::raw_sql("DROP TABLE backup_told; DELETE FROM _sqlx_migrations WHERE version = 12;")
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();
    let before = digests(&house.path).await;
    // No copy, no change: here a folder stands where it would be written.
    let copy = house.dir.path().join("book.db.before-migration-12");
    let half = house.dir.path().join("book.db.before-migration-12.half");
    std::fs::create_dir(&half).unwrap();
    let told = run(&["rebuild", "--db", house.path.to_str().unwrap()]).await;
    assert_eq!(told.code, Some(2), "{told:?}");
    assert!(
        told.err.contains("the copy of it that comes first") && told.err.contains("left untouched"),
        "{told:?}"
    );
    assert_eq!(digests(&house.path).await, before);
    std::fs::remove_dir(&half).unwrap();

    // What an earlier try left stays.
    std::fs::write(&copy, "of an earlier try").unwrap();
    let desk = house.desk().await;
    file(&desk, &trip(900, 3), "ann", Channel::Token).await.unwrap();
    desk.close().await;
    assert_eq!(std::fs::read(&copy).unwrap(), b"of an earlier try");
    let second = PathBuf::from(format!("{}-2", copy.display()));
    assert_eq!(digests(&second).await, before);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&second).unwrap().permissions().mode() & 0o777, 0o600);
    }
    house.is_clean().await;
}
