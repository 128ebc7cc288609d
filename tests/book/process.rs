//! The real program, run as people run it.
use std::process::Stdio;

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
}

pub async fn serve(db: &std::path::Path) -> Server {
    let mut child = program()
        .args(["serve", "--listen", "127.0.0.1:0", "--db"])
        .arg(db)
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    loop {
        let line = lines.next_line().await.unwrap().expect("the server ended before it listened");
        if let Some(url) = line.strip_prefix("listening http://") {
            return Server { child, address: url.to_owned() };
        }
    }
}
