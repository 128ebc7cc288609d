//! The real program with a book of its own: the demo, filled once for all tests, or an empty book.
use std::{
    io::{BufRead, BufReader},
    path::{Path, PathBuf},
    process::{Child, Command, Output, Stdio},
    sync::OnceLock,
    time::Duration,
};

use breakerbook::{
    base::Clock,
    cli::site,
    desk::{Desk, DeskOptions},
    web,
};

const PROGRAM: &str = env!("CARGO_BIN_EXE_breakerbook");

pub struct House {
    pub url: String,
    book: PathBuf,
    /// None where this very process serves it.
    process: Option<Child>,
    _dir: tempfile::TempDir,
}

impl House {
    /// A copy of the demo's year, served.
    pub fn demo() -> Self {
        Self::demo_with(&[])
    }

    /// The same after some imports, each a kind and the file's text.
    pub fn demo_with(imports: &[(&str, &str)]) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let book = copy_of_the_year(dir.path());
        for (what, text) in imports {
            let file = dir.path().join(format!("{what}.txt"));
            std::fs::write(&file, text).unwrap();
            let imported = Command::new(PROGRAM)
                .args(["import", what])
                .arg(&file)
                .arg("--db")
                .arg(&book)
                .output()
                .unwrap();
            assert!(imported.status.success(), "{imported:?}");
        }
        let (process, url) = serve(&["demo", "--db"], &book);
        Self { url, book, process: Some(process), _dir: dir }
    }

    /// A copy of the demo's year, served by this very process: its clock stands until the test moves it.
    pub async fn with_a_clock() -> (Self, Desk) {
        let dir = tempfile::tempdir().unwrap();
        let book = copy_of_the_year(dir.path());
        let clock = Clock::standing_at(Clock::machine().now());
        let desk = Desk::open(&book, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap();
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let service = site::site(&web::App::new(desk.clone(), web::Settings::default()));
        tokio::spawn(async move { axum::serve(listener, service).await.unwrap() });
        (Self { url, book, process: None, _dir: dir }, desk)
    }

    /// A book just begun, nothing imported, and the one-time password of its administrator `ada`.
    pub fn empty() -> (Self, String) {
        let dir = tempfile::tempdir().unwrap();
        let book = dir.path().join("book.db");
        let begun = Command::new(PROGRAM)
            .args(["init", "--railway", "Quarry & Harbor", "--mark", "QHB", "--zone", "America/Chicago"])
            .args(["--admin", "ada", "--db"])
            .arg(&book)
            .output()
            .unwrap();
        let said = String::from_utf8(begun.stdout).unwrap();
        assert!(begun.status.success(), "{said} {}", String::from_utf8_lossy(&begun.stderr));
        let (process, url) = serve(&["serve", "--db"], &book);
        (Self { url, book, process: Some(process), _dir: dir }, said)
    }

    /// The book's file.
    pub fn path(&self) -> &Path {
        &self.book
    }

    /// What a command of the program says about this book.
    pub fn ask(&self, command: &[&str]) -> Output {
        Command::new(PROGRAM).args(command).arg("--db").arg(&self.book).output().unwrap()
    }

    /// `findings`, `bypasses` or `entries`, as a program reads them.
    pub fn rows(&self, command: &str) -> Vec<serde_json::Value> {
        let answer = self.ask(&[command, "--format", "json"]);
        let text = String::from_utf8(answer.stdout).unwrap();
        let read: serde_json::Value =
            serde_json::from_str(&text).unwrap_or_else(|why| panic!("{why}: {text}"));
        match read {
            serde_json::Value::Array(rows) => rows,
            mut other => match other[command].take() {
                serde_json::Value::Array(rows) => rows,
                _ => panic!("{command} answers {text}"),
            },
        }
    }

    #[track_caller]
    pub fn verifies(&self) {
        let answer = self.ask(&["verify"]);
        assert!(answer.status.success(), "{answer:?}");
    }
}

impl Drop for House {
    fn drop(&mut self) {
        if let Some(process) = &mut self.process {
            let _ = process.kill();
            let _ = process.wait();
        }
    }
}

fn copy_of_the_year(dir: &Path) -> PathBuf {
    let book = dir.join("book.db");
    for end in ["", "-wal"] {
        let from = format!("{}{end}", year().display());
        if Path::new(&from).exists() {
            std::fs::copy(from, format!("{}{end}", book.display())).unwrap();
        }
    }
    book
}

/// The demo's book at rest, so that its files may be copied. One that this very program filled within the last
/// hours is used again: filling takes longer than any journey.
fn year() -> &'static Path {
    static YEAR: OnceLock<PathBuf> = OnceLock::new();
    YEAR.get_or_init(|| {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser-year.db");
        if is_fresh(&path) {
            return path;
        }
        let begun = path.with_extension(format!("{}.db", std::process::id()));
        let filled =
            Command::new(PROGRAM).args(["demo", "--fill-only", "--db"]).arg(&begun).output().unwrap();
        assert!(filled.status.success(), "{}", String::from_utf8_lossy(&filled.stderr));
        for end in ["-wal", "-shm", ""] {
            let (from, to) = (format!("{}{end}", begun.display()), format!("{}{end}", path.display()));
            let _ = std::fs::remove_file(&to);
            let _ = std::fs::rename(from, to);
        }
        path
    })
}

fn is_fresh(book: &Path) -> bool {
    let changed = |path: &Path| std::fs::metadata(path).and_then(|m| m.modified()).ok();
    let Some(filled) = changed(book) else { return false };
    let young = filled.elapsed().is_ok_and(|age| age < Duration::from_secs(3 * 3600));
    young && changed(Path::new(PROGRAM)).is_some_and(|built| built < filled)
}

fn serve(command: &[&str], book: &Path) -> (Child, String) {
    let mut process = Command::new(PROGRAM)
        .args(command)
        .arg(book)
        .args(["--listen", "127.0.0.1:0"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(process.stdout.take().unwrap()).lines().map_while(Result::ok);
    let url = lines.find_map(|line| line.strip_prefix("listening ").map(str::to_owned));
    std::thread::spawn(move || lines.for_each(drop));
    (process, url.expect("the program says where it listens"))
}
