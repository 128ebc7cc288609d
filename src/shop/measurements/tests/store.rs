//! What the vectors about records try on a book's file.
use crate::desk::Desk;

/// Tries to change the file behind everybody's back.
pub async fn run_sql(path: &std::path::Path, sql: &'static str) -> Result<(), String> {
    let mut db = crate::db::open::writer(path, &Default::default()).await.unwrap();
    sqlx::query(sql).execute(&mut db).await.map(drop).map_err(|e| e.to_string())
}

pub async fn reports(desk: &Desk) -> i64 {
    let mut db = desk.read().await.unwrap();
    sqlx::query_scalar("SELECT count(*) FROM report").fetch_one(&mut *db).await.unwrap()
}

/// Every page's bytes.
pub async fn pages(desk: &Desk) -> String {
    let mut db = desk.read().await.unwrap();
    let sql = "SELECT group_concat(blob, char(10)) FROM page";
    sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap()
}
