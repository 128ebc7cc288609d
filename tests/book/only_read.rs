//! A book where nothing can be written: it says so, and is read all the same.
use std::{
    os::unix::fs::PermissionsExt as _,
    path::{Path, PathBuf},
    process::Command,
};

use breakerbook::book::Channel;

use crate::{
    house::{House, file, trip},
    process::Told,
};

/// Somebody without any right: the machine's master may write everywhere.
const NOBODY: u32 = 65_534;

/// The program, run as somebody who may not write in that folder.
fn without_rights(program: &Path, args: &[&str]) -> Told {
    let mut command = Command::new(program);
    // What this very process could do there is what the program could.
    let folder = program.with_file_name("railway");
    if std::fs::write(folder.join("probe"), "").is_ok() {
        std::os::unix::process::CommandExt::uid(&mut command, NOBODY);
    }
    let told = command.args(args).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Told { code: told.status.code(), out: text(told.stdout), err: text(told.stderr) }
}

fn rights(path: &Path, mode: u32) {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

/// A book of one report, its log not folded in, in a folder that only its owner may write in; and the program beside it.
async fn locked_away(house: &House) -> (PathBuf, PathBuf) {
    let desk = house.desk().await;
    file(&desk, &trip(1, 5), "ann", Channel::Token).await.unwrap();
    let (root, log) = (house.dir.path(), format!("{}-wal", house.path.display()));
    let folder = root.join("railway");
    std::fs::create_dir(&folder).unwrap();
    let book = folder.join("book.db");
    std::fs::copy(&house.path, &book).unwrap();
    std::fs::copy(&log, folder.join("book.db-wal")).unwrap();
    assert!(std::fs::metadata(&log).unwrap().len() > 0, "the report is in the log");
    desk.close().await;
    let program = root.join("program");
    std::fs::copy(env!("CARGO_BIN_EXE_breakerbook"), &program).unwrap();
    for (path, mode) in
        [(root, 0o755), (&program, 0o755), (&book, 0o444), (&folder.join("book.db-wal"), 0o444)]
    {
        rights(path, mode);
    }
    rights(&folder, 0o555);
    (program, book)
}

#[tokio::test]
async fn a_book_that_can_only_be_read_says_so_and_is_read() {
    let house = House::new().await;
    let (program, book) = locked_away(&house).await;
    let before = std::fs::read(&book).unwrap();
    let at = book.to_str().unwrap();
    for args in
        [&["serve", "--listen", "127.0.0.1:0", "--db", at][..], &["token", "--for", "ann", "--db", at]]
    {
        let told = without_rights(&program, args);
        assert_eq!(told.code, Some(2), "{told:?}");
        assert!(told.err.contains("can only be read: nothing can be written down in it."), "{told:?}");
        assert!(told.err.contains("Make the place writable"), "{told:?}");
    }
    let told = without_rights(&program, &["verify", "--db", at]);
    assert!(told.code == Some(0) && told.out.starts_with("clean: "), "{told:?}");
    assert!(told.err.contains("a copy of it is read"), "{told:?}");
    let told = without_rights(&program, &["entries", "--format", "csv", "--db", at]);
    assert!(
        told.code == Some(0) && told.out.contains("breaker_trip"),
        "what the log holds is read: {told:?}"
    );
    assert!(std::fs::read(&book).unwrap() == before, "the file is as it was");
    rights(book.parent().unwrap(), 0o755);
    assert!(!book.with_file_name("book.db-shm").exists());
}
