//! Bringing the file's tables up to this program: only the book and what is outside it ever need that.
use std::path::Path;

use sqlx::{
    Connection, SqliteConnection,
    migrate::{Migrate, MigrateError, Migrator},
};

use super::open::OpenError;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// Applies what is missing. A file that holds something is copied beside itself first.
pub async fn migrate(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let applied = applied(db).await;
    if applied > 0 && applied < MIGRATIONS.iter().count() {
        snapshot(db, path, applied + 1).await?;
    }
    bring_up(db, path).await
}

/// The same where it is a copy already.
pub async fn bring_up(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    if is_newer(db).await {
        return Err(OpenError::NewerThanProgram(path.display().to_string()));
    }
    MIGRATIONS.run(&mut *db).await.map_err(|why| match why {
        MigrateError::VersionMissing(_) => {
            OpenError::NewerThanProgram(path.display().to_string())
        }
        MigrateError::VersionMismatch(_) => OpenError::NotABook(
            "its tables were laid by another build of this program, and it was left untouched: open it with that one".to_owned(),
        ),
        other => OpenError::NotABook(other.to_string()),
    })
}

/// The file has tables that this program does not know.
pub async fn is_newer(db: &mut SqliteConnection) -> bool {
    applied(db).await > MIGRATIONS.iter().count()
}

async fn applied(db: &mut SqliteConnection) -> usize {
    db.list_applied_migrations("_sqlx_migrations").await.map(|list| list.len()).unwrap_or(0)
}

/// The book as it is before its tables change: nobody is served yet, so one statement may take its time. It has its name
/// only when it is whole and on the disk; one that is there from an earlier try is left alone.
async fn snapshot(db: &mut SqliteConnection, path: &Path, migration: usize) -> Result<(), OpenError> {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let named = |end: &str| path.with_file_name(format!("{name}.before-migration-{migration}{end}"));
    let half = named(".half");
    let _ = std::fs::remove_file(&half);
    let outcome = async {
        copy_whole(db, &half).await?;
        let to = std::iter::once(named("")).chain((2..1_000).map(|n| named(&format!("-{n}"))));
        let free = to.into_iter().find(|to| !to.exists());
        let free =
            free.ok_or_else(|| OpenError::NotCopied(path.display().to_string(), "no name is free".into()))?;
        std::fs::rename(&half, free)
            .map_err(|why| OpenError::NotCopied(path.display().to_string(), why.to_string()))
    };
    let outcome = outcome.await;
    if outcome.is_err() {
        let _ = std::fs::remove_file(&half);
    }
    outcome
}

/// `cp` of a database with a log tears; this does not.
async fn copy_whole(db: &mut SqliteConnection, to: &Path) -> Result<(), OpenError> {
    let failed = |why: String| OpenError::NotCopied(to.display().to_string(), why);
    let copy = sqlx::query("VACUUM INTO ?").bind(to.display().to_string()).execute(db).await;
    copy.map_err(|why| failed(why.to_string()))?;
    let mut copy = super::open::untouched(to).await?;
    let says: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check(1)").fetch_all(&mut copy).await?;
    copy.close().await?;
    if says != ["ok"] {
        return Err(failed(says.join("; ")));
    }
    std::fs::File::open(to).and_then(|file| file.sync_all()).map_err(|why| failed(why.to_string()))
}
