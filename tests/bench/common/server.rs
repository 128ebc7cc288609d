//! A server to measure: the real program in a process of its own, or its desk and site on threads of this one.
use std::{
    io::{BufRead as _, BufReader},
    net::SocketAddr,
    path::Path,
    process::{Child, Command, Stdio},
    time::Duration,
};

use breakerbook::{
    cli::site,
    db::WriterOptions,
    desk::{Desk, DeskOptions},
    web::{App, Settings},
};

use super::book::PROGRAM;

pub struct Serving {
    child: Child,
    pub address: SocketAddr,
}

impl Serving {
    pub fn start(db: &Path) -> Self {
        let mut child = Command::new(PROGRAM)
            .args(["serve", "--db", db.to_str().unwrap(), "--listen", "127.0.0.1:0"])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("listening http://").unwrap().parse().unwrap();
        Self { child, address }
    }

    /// Processor time it has used, in seconds.
    pub fn cpu(&self) -> f64 {
        ticks(&self.child.id().to_string(), 14) / 100.0
    }
}

/// Processor time that this process has used.
pub fn own_cpu() -> f64 {
    ticks("self", 14) / 100.0
}

/// Processor time of the programs that this process started and that have ended.
pub fn ended_cpu() -> f64 {
    ticks("self", 16) / 100.0
}

/// User and system time, a field of /proc/PID/stat and the one after it, in hundredths of a second.
fn ticks(process: &str, field: usize) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    let after_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    after_name.split_whitespace().skip(field - 3).take(2).filter_map(|n| n.parse::<f64>().ok()).sum()
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Serves from this process, with time added to each commit. Ends with the process.
pub fn in_this_process(db: &Path, slower_by: Duration) -> SocketAddr {
    let (told, address) = std::sync::mpsc::channel();
    let db = db.to_owned();
    std::thread::spawn(move || {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async move {
            let options = DeskOptions { writer: WriterOptions { slower_by }, ..DeskOptions::default() };
            let app = App::new(Desk::open(&db, options).await.unwrap(), Settings::default());
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
            told.send(listener.local_addr().unwrap()).unwrap();
            axum::serve(listener, site::site(&app)).await.unwrap();
        });
    });
    address.recv().unwrap()
}
