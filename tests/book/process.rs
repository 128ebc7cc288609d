//! The real program, run as people run it.
use std::{path::Path, process::Stdio};

use tokio::{
    io::{AsyncBufReadExt, BufReader},
    process::{Child, Command},
};

pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_breakerbook"));
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).kill_on_drop(true);
    command
}

#[derive(Debug)]
pub struct Told {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Told {
    pub fn last_line(&self) -> &str {
        self.out.lines().last().unwrap_or("")
    }
}

pub async fn run(args: &[&str]) -> Told {
    let told = program().args(args).output().await.unwrap();
    Told {
        code: told.status.code(),
        out: String::from_utf8(told.stdout).unwrap(),
        err: String::from_utf8(told.stderr).unwrap(),
    }
}

/// A server of the real program, and where it listens.
pub struct Server {
    pub child: Child,
    pub address: String,
    /// Where its figures are, if it was asked for them.
    pub figures: String,
}

impl Server {
    /// As a machine that is shut down does it.
    pub async fn told_to_stop(&self) {
        let id = self.child.id().unwrap().to_string();
        assert!(Command::new("kill").args(["-TERM", &id]).status().await.unwrap().success());
    }
}

pub async fn serve(db: &Path) -> Server {
    listening(serving(db, &[]).stderr(Stdio::inherit())).await
}

/// One with options of its own, and everything it logs in a file.
pub async fn serve_with(db: &Path, options: &[&str], log: &Path) -> Server {
    let mut command = serving(db, options);
    command.env("BREAKERBOOK_LOG", "debug").stderr(std::fs::File::create(log).unwrap());
    listening(&mut command).await
}

fn serving(db: &Path, options: &[&str]) -> Command {
    let mut command = program();
    command.args(["serve", "--listen", "127.0.0.1:0", "--db"]).arg(db).args(options);
    command
}

async fn listening(command: &mut Command) -> Server {
    let mut child = command.spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut figures = String::new();
    loop {
        let line = lines.next_line().await.unwrap().expect("the server ended before it listened");
        if let Some(url) = line.strip_prefix("metrics http://") {
            figures = url.strip_suffix("/metrics").unwrap().to_owned();
        }
        if let Some(url) = line.strip_prefix("listening http://") {
            return Server { child, address: url.to_owned(), figures };
        }
    }
}

/// What was said to this program of the system, which has to succeed.
pub async fn done(command: &mut Command) -> String {
    let done = command
        .output()
        .await
        .unwrap_or_else(|why| panic!("{command:?}: {why}. `bash tests/all` installs it."));
    let (out, err) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    assert!(done.status.success(), "{command:?}\n{out}\n{err}");
    out.into_owned()
}
