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

    /// Processor time it has used, in seconds: user and system, fields 14 and 15 of /proc/PID/stat.
    pub fn cpu(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap_or_default();
        let after_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
        let ticks =
            after_name.split_whitespace().skip(11).take(2).filter_map(|n| n.parse::<f64>().ok()).sum::<f64>();
        ticks / 100.0
    }
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
