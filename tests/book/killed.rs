//! The server is killed while many file, and the log is cut anywhere: what was answered is in the book, and what is
//! left is a book.
use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
    sync::{Arc, Mutex},
    time::Duration,
};

use breakerbook::desk::verify::{self, Verdict};
use http_body_util::{BodyExt, Full};
use hyper::{Request, body::Bytes, client::conn::http1};
use hyper_util::rt::TokioIo;
use rand::{RngExt, SeedableRng, rngs::StdRng};
use serde_json::Value;
use tokio::net::TcpStream;

use crate::{
    house::{House, raw, trip},
    process::{run, serve},
};

/// A program that files by token over one connection.
pub struct Client {
    sender: http1::SendRequest<Full<Bytes>>,
    address: String,
    token: String,
}

impl Client {
    pub async fn to(address: &str, token: &str) -> Self {
        Self::try_to(address, token).await.unwrap()
    }

    pub async fn try_to(address: &str, token: &str) -> Option<Self> {
        let stream = TcpStream::connect(address).await.ok()?;
        let (sender, connection) = http1::handshake(TokioIo::new(stream)).await.ok()?;
        tokio::spawn(connection);
        Some(Self { sender, address: address.to_owned(), token: token.to_owned() })
    }

    /// Status and body; `None` when the server is gone before it answered.
    pub async fn file(&mut self, report: &Value) -> Option<(u16, Value)> {
        self.sender.ready().await.ok()?;
        let request = Request::post("/api/v1/reports")
            .header("host", &self.address)
            .header("authorization", format!("Bearer {}", self.token))
            .header("content-type", "application/json")
            .body(Full::new(Bytes::from(report.to_string())))
            .unwrap();
        let response = self.sender.send_request(request).await.ok()?;
        let status = response.status().as_u16();
        let body = response.into_body().collect().await.ok()?.to_bytes();
        Some((status, serde_json::from_slice(&body).ok()?))
    }
}

async fn root_of(path: &Path) -> (u64, String) {
    match verify::verify(path).await.unwrap() {
        Verdict::Clean { size, root, .. } => (size, root.to_string()),
        Verdict::Flawed(flaws) => panic!("{}: {flaws:#?}", path.display()),
    }
}

type Answered = Arc<Mutex<Vec<(u64, Value)>>>;

/// Files one report after another until the server is gone; keeps every answer.
async fn file_until_gone(address: String, token: String, from: u64, answered: Answered) {
    let Some(mut client) = Client::try_to(&address, &token).await else { return };
    for n in from.. {
        match client.file(&trip(n, (n * 7 % 600) as u32)).await {
            Some((201, receipt)) => answered.lock().unwrap().push((n, receipt)),
            Some((503, _)) => tokio::time::sleep(Duration::from_millis(20)).await,
            Some(other) => panic!("{other:?}"),
            None => return,
        }
    }
}

const CLIENTS: u64 = 32;

fn kills() -> u64 {
    asked("KILLS")
}

/// So many rounds, twenty if nothing else is asked for.
fn asked(name: &str) -> u64 {
    std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(20)
}

/// Everything that was answered, against what the book holds.
async fn everything_answered_is_there(path: &Path, answered: &Answered) -> usize {
    let mut db = raw(path).await;
    let rows: Vec<(String, i64, String, String)> =
        sqlx::query_as("SELECT id, seq, sha256, root FROM report").fetch_all(&mut db).await.unwrap();
    let kept: BTreeMap<String, (i64, String, String)> =
        rows.into_iter().map(|(id, seq, sha, root)| (id, (seq, sha, root))).collect();
    let answered = answered.lock().unwrap();
    for (n, receipt) in answered.iter() {
        let id = receipt["report"].as_str().unwrap();
        let (seq, sha, root) =
            kept.get(id).unwrap_or_else(|| panic!("report {n} was answered and is not in the book"));
        assert_eq!(receipt["receipt"].as_i64(), Some(*seq), "{n}");
        assert_eq!(
            (receipt["content_sha256"].as_str(), receipt["root"].as_str()),
            (Some(&**sha), Some(&**root)),
            "{n}"
        );
    }
    answered.len()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_answered_before_a_kill_is_in_the_book() {
    let house = House::new().await;
    let token =
        run(&["token", "--db", house.path.to_str().unwrap(), "--for", "ann"]).await.out.trim().to_owned();
    let answered = Answered::default();
    let mut rng = StdRng::seed_from_u64(6);
    let mut size_before = 0;
    for round in 0..kills() {
        let mut server = serve(&house.path).await;
        let clients: Vec<_> = (0..CLIENTS)
            .map(|c| {
                let from = round * 1_000_000_000 + c * 10_000_000;
                tokio::spawn(file_until_gone(server.address.clone(), token.clone(), from, answered.clone()))
            })
            .collect();
        tokio::time::sleep(Duration::from_millis(rng.random_range(20..250))).await;
        server.child.start_kill().unwrap();
        server.child.wait().await.unwrap();
        for client in clients {
            client.await.unwrap();
        }
        // Verified with the log as the kill left it.
        let (size, _) = root_of(&house.path).await;
        assert!(size >= size_before, "round {round}");
        size_before = size;
        everything_answered_is_there(&house.path, &answered).await;
    }
    let answers = everything_answered_is_there(&house.path, &answered).await;
    println!("{answers} reports answered before {} kills, {size_before} pages", kills());
    assert!(answers > 50, "{answers}");
}

/// Copies what a killed server left, and cuts the copy's log.
fn cut(from: &Path, to: &Path, log: &[u8], at: usize) {
    std::fs::copy(from, to).unwrap();
    std::fs::write(with(to, "-wal"), &log[..at]).unwrap();
    let _ = std::fs::remove_file(with(to, "-shm"));
}

fn with(path: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}{end}", path.display()))
}

async fn blobs(path: &Path) -> Vec<String> {
    let mut db = raw(path).await;
    sqlx::query_scalar("SELECT blob FROM page ORDER BY seq").fetch_all(&mut db).await.unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_log_cut_anywhere_leaves_a_prefix_that_is_clean() {
    let house = House::new().await;
    let token =
        run(&["token", "--db", house.path.to_str().unwrap(), "--for", "ann"]).await.out.trim().to_owned();
    let mut server = serve(&house.path).await;
    let answered = Answered::default();
    let clients: Vec<_> = (0..8)
        .map(|c| {
            tokio::spawn(file_until_gone(
                server.address.clone(),
                token.clone(),
                c * 10_000_000,
                answered.clone(),
            ))
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(600)).await;
    server.child.start_kill().unwrap();
    server.child.wait().await.unwrap();
    for client in clients {
        client.await.unwrap();
    }
    let log = std::fs::read(with(&house.path, "-wal")).unwrap();
    // Kept apart: whoever opens it next folds the log in.
    let kept = house.dir.path().join("kept.db");
    std::fs::copy(&house.path, &kept).unwrap();
    let whole = house.dir.path().join("whole.db");
    cut(&kept, &whole, &log, log.len());
    let all = blobs(&whole).await;
    assert!(all.len() > 30, "{}", all.len());

    let mut rng = StdRng::seed_from_u64(7);
    let mut sizes = Vec::new();
    for n in 0..asked("CUTS") {
        let at = rng.random_range(0..log.len());
        let copy = house.dir.path().join(format!("cut-{n}.db"));
        cut(&kept, &copy, &log, at);
        let (size, _) = root_of(&copy).await;
        let left = blobs(&copy).await;
        assert_eq!(left.len() as u64, size);
        assert_eq!(left[..], all[..left.len()], "cut at {at} of {}", log.len());
        sizes.push(size);
        // And it is a book that goes on.
        let other =
            House { path: copy.clone(), clock: house.clock.clone(), dir: tempfile::tempdir().unwrap() };
        let desk = other.desk().await;
        let filed =
            crate::house::file(&desk, &trip(999_999_999, 9), "ann", breakerbook::book::Channel::Token)
                .await
                .unwrap();
        assert_eq!(filed.receipt, size);
        drop(desk);
        root_of(&copy).await;
        std::fs::remove_file(&copy).unwrap();
    }
    sizes.sort_unstable();
    sizes.dedup();
    assert!(sizes.len() > 3, "the cuts fell between few commits: {sizes:?}");
}

/// A log with flipped bytes: what is left is a prefix all the same, or said not to be.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_log_leaves_a_prefix_too() {
    let house = House::new().await;
    let desk = house.desk().await;
    for n in 0..12 {
        crate::house::file(&desk, &trip(n, n as u32 * 9), "ann", breakerbook::book::Channel::Token)
            .await
            .unwrap();
    }
    let log = std::fs::read(with(&house.path, "-wal")).unwrap();
    let kept = house.dir.path().join("kept.db");
    std::fs::copy(&house.path, &kept).unwrap();
    let all = blobs(&house.path).await;
    let mut rng = StdRng::seed_from_u64(8);
    for n in 0..20 {
        let mut flipped = log.clone();
        let at = rng.random_range(0..log.len());
        flipped[at] ^= 1 << rng.random_range(0..8);
        let copy = house.dir.path().join(format!("flip-{n}.db"));
        cut(&kept, &copy, &flipped, flipped.len());
        let (size, _) = root_of(&copy).await;
        assert_eq!(blobs(&copy).await[..], all[..usize::try_from(size).unwrap()], "byte {at}");
    }
}
