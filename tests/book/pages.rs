//! The database itself refuses to change, remove or overwrite a page, whoever opens it and however it is asked.
use sqlx::{AssertSqlSafe, Connection};

use crate::house::House;

/// Each alone would change the book if it were carried out.
const ATTEMPTS: &[&str] = &[
    "UPDATE page SET blob = '{}' WHERE seq = 1",
    "UPDATE page SET leaf = zeroblob(32)",
    "UPDATE page SET seq = seq + 1000 WHERE seq = 1",
    "UPDATE OR REPLACE page SET seq = 2 WHERE seq = 1",
    "UPDATE OR IGNORE page SET blob = '{}' WHERE seq = 1",
    "DELETE FROM page WHERE seq = 1",
    "DELETE FROM page",
    "INSERT OR REPLACE INTO page (seq, blob, leaf) VALUES (1, '{}', zeroblob(32))",
    "REPLACE INTO page (seq, blob, leaf) SELECT seq, '{}', leaf FROM page",
    "INSERT INTO page (seq, blob, leaf) VALUES (1, '{}', zeroblob(32)) ON CONFLICT (seq) DO UPDATE SET blob = excluded.blob",
    // Neither before the first page nor past a gap.
    "INSERT INTO page (seq, blob, leaf) VALUES (-1, '{}', zeroblob(32))",
    "INSERT INTO page (seq, blob, leaf) VALUES (1000, '{}', zeroblob(32))",
];

#[tokio::test]
async fn a_page_is_never_changed_removed_or_overwritten() {
    let house = House::new().await;
    let mut db = house.raw().await;
    let all = "SELECT group_concat(seq || blob || hex(leaf), ';') FROM (SELECT * FROM page ORDER BY seq)";
    let before: String = sqlx::query_scalar(all).fetch_one(&mut db).await.unwrap();
    for recursive in ["OFF", "ON"] {
        sqlx::raw_sql(AssertSqlSafe(format!("PRAGMA recursive_triggers = {recursive}")))
            .execute(&mut db)
            .await
            .unwrap();
        for attempt in ATTEMPTS {
            let outcome = sqlx::raw_sql(AssertSqlSafe(*attempt)).execute(&mut db).await;
            let after: String = sqlx::query_scalar(all).fetch_one(&mut db).await.unwrap();
            assert!(after == before, "{attempt} changed the book (recursive_triggers {recursive})");
            let why = outcome.expect_err(attempt).to_string();
            assert!(why.contains("a page of the book"), "{attempt}: {why}");
        }
    }
    db.close().await.unwrap();
    house.is_clean().await;
}
