//! Bringing the file's tables up to this program: only the book and what is outside it ever need that.
use std::path::Path;

use sqlx::{
    Connection, SqliteConnection,
    migrate::{MigrateError, Migrator},
};

use super::open::OpenError;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// Applies what is missing. A file that holds something is copied beside itself first.
pub async fn migrate(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    refuse_newer(db, path).await?;
    let applied = applied(db).await?;
    let missing = MIGRATIONS.iter().map(|m| m.version).find(|version| !applied.contains(version));
    if let (Some(version), false) = (missing, applied.is_empty()) {
        snapshot(db, path, version).await?;
    }
    bring_up(db, path).await
}

/// The same where it is a copy already.
pub async fn bring_up(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    refuse_newer(db, path).await?;
    MIGRATIONS.run(&mut *db).await.map_err(|why| match why {
        MigrateError::VersionMissing(_) => {
            OpenError::NewerThanProgram(path.display().to_string())
        }
        MigrateError::VersionMismatch(_) => OpenError::NotABook(
            "its tables were laid by another build of this program, and it was left untouched: open it with that one".to_owned(),
        ),
        // The disk's fault, or the file's: whoever asked tells which.
        MigrateError::Execute(why) | MigrateError::ExecuteMigration(why, _) => OpenError::Database(why),
        other => OpenError::NotABook(other.to_string()),
    })
}

/// The file has tables that this program does not know.
pub async fn is_newer(db: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    Ok(applied(db).await?.iter().any(|version| !MIGRATIONS.version_exists(*version)))
}

async fn refuse_newer(db: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let newer = is_newer(db).await?;
    if newer { Err(OpenError::NewerThanProgram(path.display().to_string())) } else { Ok(()) }
}

/// None in a file that was just made. What cannot be read is not taken for none: a book would go without its copy.
async fn applied(db: &mut SqliteConnection) -> Result<Vec<i64>, sqlx::Error> {
    let kept = "SELECT count(*) > 0 FROM sqlite_schema WHERE name = '_sqlx_migrations'";
    if !sqlx::query_scalar::<_, bool>(kept).fetch_one(&mut *db).await? {
        return Ok(Vec::new());
    }
    sqlx::query_scalar("SELECT version FROM _sqlx_migrations").fetch_all(db).await
}

/// The book as it is before its tables change: nobody is served yet, so one statement may take its time. It has its name
/// only when it is whole and on the disk; one that is there from an earlier try is left alone.
async fn snapshot(db: &mut SqliteConnection, path: &Path, migration: i64) -> Result<(), OpenError> {
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
    // An empty file is what it may write into; this one nobody else can read.
    super::open::private(to).map_err(|why| failed(why.to_string()))?;
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
