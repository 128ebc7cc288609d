//! The demo's book, filled once by the real program; every run starts from a copy of it.
use std::{
    path::{Path, PathBuf},
    process::Command,
};

use breakerbook::base::SignIn;

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_breakerbook");

pub struct DemoBook {
    dir: tempfile::TempDir,
    filled: PathBuf,
    /// Who files: a crew's name with a token.
    pub filers: Vec<(SignIn, String)>,
}

impl DemoBook {
    /// Fills the book and makes a token for each of `filers` crews.
    pub fn fill(filers: usize) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let filled = dir.path().join("filled.db");
        run(&["demo", "--fill-only", "--db", filled.to_str().unwrap()]);
        let crews = super::reports::crews();
        let token = |crew: &SignIn| {
            run(&["token", "--db", filled.to_str().unwrap(), "--for", crew.as_str()]).trim().to_owned()
        };
        let filers = crews.iter().cycle().take(filers).map(|crew| (crew.clone(), token(crew))).collect();
        Self { dir, filled, filers }
    }

    /// A fresh copy; nobody has the filled one open, so its log may be copied beside it.
    pub fn copy(&self, name: &str) -> PathBuf {
        let to = self.dir.path().join(name);
        for end in ["", "-wal"] {
            let (from, to) = (with(&self.filled, end), with(&to, end));
            let _ = std::fs::remove_file(&to);
            if from.exists() {
                std::fs::copy(from, to).unwrap();
            }
        }
        let _ = std::fs::remove_file(with(&to, "-shm"));
        to
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
}

fn with(path: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}{end}", path.display()))
}

/// Runs the program to its end; what it said is handed back.
pub fn run(args: &[&str]) -> String {
    let output = Command::new(PROGRAM).args(args).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{args:?}: {said}{}", String::from_utf8_lossy(&output.stderr));
    said
}
