//! Bringing the file's tables up to this program: only the book and what is outside it ever need that.
use std::path::{Path, PathBuf};

use sqlx::{
    SqliteConnection,
    migrate::{Migrate, MigrateError, Migrator},
};

use super::open::OpenError;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// Applies what is missing. A file that holds something is copied beside itself first.
pub async fn migrate(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let applied = applied(db).await;
    if applied > MIGRATIONS.iter().count() {
        return Err(OpenError::NewerThanProgram(path.display().to_string()));
    }
    if applied > 0 && applied < MIGRATIONS.iter().count() {
        snapshot(db, &beside(path, applied)).await?;
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

async fn applied(db: &mut SqliteConnection) -> usize {
    db.list_applied_migrations("_sqlx_migrations").await.map(|list| list.len()).unwrap_or(0)
}

fn beside(path: &Path, applied: usize) -> PathBuf {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    path.with_file_name(format!("{name}.before-migration-{}", applied + 1))
}

/// A consistent copy while others read and write: `cp` of a WAL database tears.
pub async fn snapshot(db: &mut SqliteConnection, to: &Path) -> Result<(), OpenError> {
    sqlx::query("VACUUM INTO ?").bind(to.display().to_string()).execute(db).await?;
    Ok(())
}
