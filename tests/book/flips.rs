//! Flipped bits and bytes anywhere in the file: named, or harmless, and never a panic.
use breakerbook::desk::{
    rebuild,
    verify::{self, Verdict},
};
use rand::{RngExt, SeedableRng, rngs::StdRng};
use sqlx::{AssertSqlSafe, Connection};

use crate::{house::House, process::run, tampered::full};

fn how_many(default: usize) -> usize {
    std::env::var("FLIPS").ok().and_then(|n| n.parse().ok()).unwrap_or(default)
}

/// The places of a piece of text in the file.
fn places(file: &[u8], piece: &[u8]) -> Vec<usize> {
    file.windows(piece.len()).enumerate().filter(|(_, w)| *w == piece).map(|(at, _)| at).collect()
}

async fn blobs(house: &House) -> Vec<(i64, String)> {
    let mut db = house.raw().await;
    let blobs = sqlx::query_as("SELECT seq, blob FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap();
    db.close().await.unwrap();
    blobs
}

/// For every page: bytes of its blob are looked for in the file itself and flipped there.
#[tokio::test]
async fn a_flipped_byte_of_any_page_is_named() {
    let house = full().await;
    let bytes = std::fs::read(&house.path).unwrap();
    let mut rng = StdRng::seed_from_u64(1);
    let mut named = 0;
    for (seq, blob) in blobs(&house).await {
        for round in 0..3 {
            let blob = blob.as_bytes();
            // The heading has the page's own number and stands nowhere else; further on there may be twins.
            let from = if round == 0 { 0 } else { rng.random_range(0..blob.len() - 40) };
            let piece = &blob[from..from + 40];
            // Where a page was moved within the file, bytes of it may lie about unused: all of them are flipped.
            let all = places(&bytes, piece);
            let (byte, bit) =
                (rng.random_range(0..40), if round == 0 { 0x80 } else { 1 << rng.random_range(0..8) });
            let mut flipped = bytes.clone();
            all.iter().for_each(|at| flipped[at + byte] ^= bit);
            std::fs::write(&house.path, &flipped).unwrap();
            // A piece may lie across the edge of the file's own pages.
            if !all.is_empty() {
                named += 1;
                let flaws = house.flaws().await;
                assert!(
                    flaws.iter().any(|f| f.starts_with(&format!("page {seq}:"))),
                    "page {seq}, byte {byte}: {flaws:?}"
                );
            }
        }
    }
    assert!(named > 40, "{named}");
}

/// Through SQL, so that it is surely this byte: every kind of damage to every page.
#[tokio::test]
async fn any_bit_of_a_page_is_named_by_its_number() {
    let original = full().await;
    let bytes = std::fs::read(&original.path).unwrap();
    let mut rng = StdRng::seed_from_u64(2);
    for (seq, blob) in blobs(&original).await {
        let house = House::bare();
        std::fs::write(&house.path, &bytes).unwrap();
        let mut damaged = blob.into_bytes();
        let at = rng.random_range(0..damaged.len());
        damaged[at] ^= 1 << rng.random_range(0..8);
        let mut db = house.raw().await;
        sqlx::raw_sql("PRAGMA writable_schema = ON; DROP TRIGGER page_is_never_updated")
            .execute(&mut db)
            .await
            .unwrap();
        sqlx::query("UPDATE page SET blob = CAST(? AS TEXT) WHERE seq = ?")
            .bind(damaged)
            .bind(seq)
            .execute(&mut db)
            .await
            .unwrap();
        db.close().await.unwrap();
        let flaws = house.flaws().await;
        assert!(
            flaws.contains(&format!("page {seq}: its bytes are not the ones that were filed")),
            "{seq} {at}: {flaws:?}"
        );
    }
}

/// Everything that can be read, as one text; `None` if the file cannot be read at all.
async fn everything(house: &House) -> Option<String> {
    let mut db = sqlx::SqliteConnection::connect_with(
        &sqlx::sqlite::SqliteConnectOptions::new().filename(&house.path),
    )
    .await
    .ok()?;
    let mut all = String::new();
    for table in rebuild::tables().chain(["page"]) {
        all += &verify::digest(&mut db, table).await.ok()?;
    }
    db.close().await.ok()?;
    Some(all)
}

#[derive(Default, Debug)]
struct Tally {
    clean: usize,
    flawed: usize,
    unreadable: usize,
}

#[tokio::test]
async fn any_flip_is_harmless_or_told() {
    let house = full().await;
    let bytes = std::fs::read(&house.path).unwrap();
    let right = everything(&house).await.unwrap();
    let mut rng = StdRng::seed_from_u64(3);
    let mut tally = Tally::default();
    for n in 0..how_many(250) {
        let mut flipped = bytes.clone();
        // A third of them where SQLite keeps its own accounts: the header and the first bytes of pages.
        let at = match n % 3 {
            0 => rng.random_range(0..bytes.len()),
            1 => rng.random_range(0..bytes.len() / 4096) * 4096 + rng.random_range(0..64),
            _ => rng.random_range(0..4096),
        };
        if n % 2 == 0 {
            flipped[at] ^= 1 << rng.random_range(0..8)
        } else {
            flipped[at] = rng.random()
        }
        if flipped[at] == bytes[at] {
            continue;
        }
        let house = House::bare();
        std::fs::write(&house.path, &flipped).unwrap();
        let verdict =
            tokio::time::timeout(std::time::Duration::from_secs(30), verify::verify(&house.path)).await;
        match verdict.unwrap_or_else(|_| panic!("byte {at}: verifying hangs")) {
            Ok(Verdict::Clean { .. }) => {
                tally.clean += 1;
                assert_eq!(
                    everything(&house).await.as_ref(),
                    Some(&right),
                    "byte {at} ({} to {}): called clean",
                    bytes[at],
                    flipped[at]
                );
            }
            Ok(Verdict::Flawed(flaws)) => {
                tally.flawed += 1;
                assert!(flaws.iter().all(|f| f.len() > 10), "byte {at}: {flaws:?}");
            }
            Err(why) => {
                tally.unreadable += 1;
                assert!(why.to_string().len() > 20, "byte {at}: {why}");
            }
        }
    }
    println!("{tally:?}");
    assert!(tally.clean > 0 && tally.flawed > 0, "{tally:?}");
}

/// Opening a damaged file for serving, rebuilding it and asking it: a sentence or an answer, never a panic.
#[tokio::test]
async fn a_damaged_file_never_makes_the_desk_panic() {
    let house = full().await;
    let bytes = std::fs::read(&house.path).unwrap();
    let mut rng = StdRng::seed_from_u64(4);
    for n in 0..how_many(60) {
        let mut flipped = bytes.clone();
        for _ in 0..1 + n % 20 {
            let at = rng.random_range(0..bytes.len());
            flipped[at] = rng.random();
        }
        let house = House::bare();
        std::fs::write(&house.path, &flipped).unwrap();
        calmly(look_everywhere(house), &format!("flip {n}")).await;
    }
}

async fn calmly(looking: impl Future<Output = ()>, what: &str) {
    use futures_util::FutureExt;
    let looked = std::panic::AssertUnwindSafe(looking).catch_unwind().await;
    assert!(looked.is_ok(), "{what}: it panicked");
}

async fn look_everywhere(house: House) {
    use breakerbook::desk::{Desk, history};
    let Ok(desk) = Desk::open(&house.path, house.options()).await else { return };
    if let Ok(mut db) = desk.read().await {
        drop(history::whole(&mut db, &desk.world()).await);
    }
    // The writer catches a panic of its own and says so; nothing else may follow from it.
    let filed = desk
        .act(
            crate::house::read(&desk, &crate::house::trip(500, 7), "ann", breakerbook::book::Channel::Token)
                .unwrap(),
        )
        .await;
    if let Err(breakerbook::desk::Refused::Trouble(breakerbook::desk::Trouble::Fault(why))) = filed {
        assert!(!why.contains("panic"), "{why}");
    }
}

/// Tables, columns, and a value of another type in SQL.
const OF_A_WRONG_TYPE: &[(&str, &str, &str)] = &[
    ("head", "size", "'x'"),
    ("head", "frontier", "'x'"),
    ("head", "world_seq", "x'00'"),
    ("head", "root", "1"),
    ("person", "card", "x'ff'"),
    ("authorisation", "card", "7"),
    ("class_schedule", "schedule", "1.5"),
    ("unit_card", "card", "x'ff'"),
    ("class_figures", "figures", "x'ff'"),
    ("unit_history", "days", "'x'"),
    ("unit_history", "holds", "x'ff'"),
    ("unit_history", "unit", "x'ff'"),
    ("dossier_part", "facts", "'x'"),
    ("dossier_outline", "packed", "'x'"),
    ("dossier_end", "packed", "'x'"),
    ("dossier_end", "facts", "'x'"),
    ("dossier", "reckoned", "'x'"),
    ("dossier", "subject", "x'ff'"),
    ("dossier", "findings", "'x'"),
    ("dossier", "unit", "x'ff'"),
    ("report", "id", "x'ff'"),
    ("report", "author", "x'ff'"),
    ("report", "root", "CAST(x'ff' AS TEXT)"),
    ("report", "sha256", "x'ff'"),
    ("report", "recorded_at", "'x'"),
    ("report", "started", "'x'"),
    ("report", "position", "CAST(x'ff' AS TEXT)"),
    ("report", "occasion", "x'ff'"),
    ("entry", "detail", "x'ff'"),
    ("entry", "author", "CAST(x'ff' AS TEXT)"),
    ("entry", "place_in", "'x'"),
    ("entry", "channel", "x'ff'"),
    ("entry", "at", "'x'"),
    ("bypass", "data", "x'ff'"),
    ("finding", "data", "x'ff'"),
    ("repair", "data", "CAST(x'ff' AS TEXT)"),
];

/// The type of a cell is not what its column says: only a flipped byte does that, the tables being strict.
#[tokio::test]
async fn cells_of_a_wrong_type_are_sentences_not_panics() {
    for (table, column, value) in OF_A_WRONG_TYPE {
        let house = full().await;
        let mut db = house.raw().await;
        // What STRICT forbids, a flipped byte does: the same table without it.
        let sql: String = sqlx::query_scalar("SELECT sql FROM sqlite_schema WHERE name = ?")
            .bind(table)
            .fetch_one(&mut db)
            .await
            .unwrap();
        let loose = sql
            .replace(" STRICT", "")
            .replace(" TEXT", "")
            .replace(" INTEGER NOT NULL", "")
            .replace(" BLOB", "");
        let loose = loose.replace("INTEGER PRIMARY KEY CHECK (one = 1)", "INTEGER PRIMARY KEY");
        sqlx::raw_sql(AssertSqlSafe(format!("ALTER TABLE {table} RENAME TO old_{table}")))
            .execute(&mut db)
            .await
            .unwrap();
        sqlx::raw_sql(AssertSqlSafe(loose)).execute(&mut db).await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(format!("INSERT INTO {table} SELECT * FROM old_{table}; DROP TABLE old_{table}; UPDATE OR IGNORE {table} SET {column} = {value}")))
            .execute(&mut db).await.unwrap_or_else(|why| panic!("{table}.{column}: {why}"));
        db.close().await.unwrap();
        let flaws = house.flaws().await;
        assert!(flaws.iter().any(|f| f.starts_with(&format!("{table}:"))), "{table}.{column}: {flaws:?}");
        calmly(look_everywhere(house), &format!("{table}.{column}")).await;
    }
}

/// The same through the real program: exit codes, and a sentence for people.
#[tokio::test]
async fn the_program_says_so_and_exits_with_one() {
    let house = full().await;
    let clean = run(&["verify", "--db", house.path.to_str().unwrap()]).await;
    assert_eq!(clean.code, Some(0), "{clean:?}");
    assert!(clean.out.starts_with("clean: ") && clean.out.contains(" root "), "{clean:?}");
    let bytes = std::fs::read(&house.path).unwrap();
    let heading = places(&bytes, br#"{"v":1,"seq":12,"#)[0];
    let mut rng = StdRng::seed_from_u64(5);
    for n in 0..12 {
        let at = if n == 0 { heading + 8 } else { rng.random_range(0..bytes.len()) };
        let mut flipped = bytes.clone();
        flipped[at] ^= 1 << rng.random_range(0..8);
        std::fs::write(&house.path, &flipped).unwrap();
        let told = run(&["verify", "--db", house.path.to_str().unwrap()]).await;
        assert!(!told.err.contains("panicked"), "byte {at}: {told:?}");
        match told.code {
            Some(0) => assert!(n > 0 && told.out.starts_with("clean: "), "byte {at}: {told:?}"),
            Some(1 | 2) => assert!(told.err.starts_with("breakerbook: "), "byte {at}: {told:?}"),
            _ => panic!("byte {at}: {told:?}"),
        }
        if n == 0 {
            assert_eq!(told.code, Some(1), "{told:?}");
            assert!(told.out.contains("page 12: its bytes"), "{told:?}");
        }
    }
}
