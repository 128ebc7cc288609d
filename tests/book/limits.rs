//! What one connection may take of a server, tried on the real program with bytes of our own; and how a server ends.
use std::time::{Duration, Instant};

use breakerbook::desk::verify::{self, Verdict};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
};

use crate::{
    house::{House, raw, trip},
    killed::Client,
    process::{Server, run, serve_with},
};

async fn token(house: &House) -> String {
    run(&["token", "--db", house.path.to_str().unwrap(), "--for", "ann"]).await.out.trim().to_owned()
}

async fn limited(house: &House, options: &[&str]) -> Server {
    serve_with(&house.path, options, &house.dir.path().join("log")).await
}

/// Everything that comes until the other side closes, and how long that took.
async fn all(stream: &mut TcpStream) -> (String, Duration) {
    let (begun, mut answer) = (Instant::now(), Vec::new());
    let read = tokio::time::timeout(Duration::from_secs(8), stream.read_to_end(&mut answer)).await;
    // Closed with bytes of ours unread is a reset: what came before it counts.
    let _ = read.expect("the server keeps the connection");
    (String::from_utf8_lossy(&answer).into_owned(), begun.elapsed())
}

async fn said(address: &str, bytes: &[u8]) -> (String, Duration) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    let _ = stream.write_all(bytes).await;
    all(&mut stream).await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn slow_and_large_requests_are_ended() {
    let house = House::new().await;
    let token = token(&house).await;
    let server = limited(&house, &["--head-seconds", "1", "--request-seconds", "1"]).await;
    let address = server.address.as_str();
    let head = format!("POST /api/v1/reports HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n");
    let slow_body = format!("{head}content-length: 100\r\n\r\n{{");
    let large_body = format!("{head}connection: close\r\ncontent-length: 2000001\r\n\r\n");
    let large_head = format!("GET /health HTTP/1.1\r\nhost: x\r\nx-filler: {}\r\n\r\n", "a".repeat(40_000));
    let many = format!("GET /health HTTP/1.1\r\nhost: x\r\n{}\r\n", "x-filler: a\r\n".repeat(150));
    let long_path = format!("GET /{} HTTP/1.1\r\nhost: x\r\n\r\n", "a".repeat(40_000));
    let (slow_head, idle, slow_body, large_body, large_head, many, long_path) = tokio::join!(
        said(address, b"GET /health HTTP/1.1\r\nhost: x\r\n"),
        said(address, b"GET /health HTTP/1.1\r\nhost: x\r\n\r\n"),
        said(address, slow_body.as_bytes()),
        said(address, large_body.as_bytes()),
        said(address, large_head.as_bytes()),
        said(address, many.as_bytes()),
        said(address, long_path.as_bytes()),
    );
    let long = |span: Duration| span > Duration::from_millis(900);
    assert!(slow_head.0.is_empty() && long(slow_head.1), "{slow_head:?}");
    assert!(
        idle.0.starts_with("HTTP/1.1 200 ") && long(idle.1),
        "an idle connection is ended, too: {idle:?}"
    );
    let slow = &slow_body.0;
    assert!(slow.starts_with("HTTP/1.1 503 ") || slow.starts_with("HTTP/1.1 400 "), "{slow}");
    assert!(slow.contains("problems") && slow.contains("says") && long(slow_body.1), "{slow}");
    assert!(
        large_body.0.starts_with("HTTP/1.1 413 ") && large_body.0.contains("More than 2 MB"),
        "{large_body:?}"
    );
    assert!(large_head.0.starts_with("HTTP/1.1 431 "), "{large_head:?}");
    assert!(many.0.starts_with("HTTP/1.1 431 "), "{many:?}");
    assert!(
        long_path.0.starts_with("HTTP/1.1 414 ") || long_path.0.starts_with("HTTP/1.1 431 "),
        "{long_path:?}"
    );
    // And it still serves.
    let mut client = Client::to(address, &token).await;
    assert_eq!(client.file(&trip(1, 5)).await.unwrap().0, 201);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn there_are_only_so_many_connections_and_their_places_come_free() {
    let house = House::new().await;
    let token = token(&house).await;
    let server = limited(&house, &["--head-seconds", "1", "--connections", "4"]).await;
    let mut held = Vec::new();
    for _ in 0..4 {
        let mut stream = TcpStream::connect(&server.address).await.unwrap();
        stream.write_all(b"GET /health HTTP/1.1\r\n").await.unwrap();
        held.push(stream);
    }
    tokio::time::sleep(Duration::from_millis(200)).await;
    let mut one_more = TcpStream::connect(&server.address).await.unwrap();
    let (answer, _) = all(&mut one_more).await;
    assert!(answer.starts_with("HTTP/1.1 503 "), "{answer}");
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    assert!(
        head.contains(&format!("Content-Length: {}", body.len())) && body.ends_with("come again shortly."),
        "{answer}"
    );
    // Those who only sit there are sent away, and whoever comes then is served.
    for stream in &mut held {
        all(stream).await;
    }
    let mut client = Client::to(&server.address, &token).await;
    assert_eq!(client.file(&trip(1, 5)).await.unwrap().0, 201);
}

/// Told to stop under load: what was begun is answered, what was answered is there, the file is one file again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_told_to_stop_ends_what_was_begun() {
    let house = House::new().await;
    let token = token(&house).await;
    let mut server = limited(&house, &[]).await;
    let mut begun = TcpStream::connect(&server.address).await.unwrap();
    let body = trip(999, 7).to_string();
    let (first, rest) = body.split_at(40);
    let head = format!(
        "POST /api/v1/reports HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\ncontent-length: {}\r\n\r\n{first}",
        body.len()
    );
    begun.write_all(head.as_bytes()).await.unwrap();
    let clients: Vec<_> = (0..8)
        .map(|c| tokio::spawn(file_until_refused(server.address.clone(), token.clone(), c * 10_000)))
        .collect();
    tokio::time::sleep(Duration::from_millis(500)).await;
    server.told_to_stop().await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert!(TcpStream::connect(&server.address).await.is_err(), "nobody new is let in");
    begun.write_all(rest.as_bytes()).await.unwrap();
    let (answer, _) = all(&mut begun).await;
    assert!(answer.starts_with("HTTP/1.1 201 "), "what was begun is answered: {answer}");
    let mut filed = 1;
    for client in clients {
        filed += client.await.unwrap();
    }
    let ended = tokio::time::timeout(Duration::from_secs(10), server.child.wait()).await;
    assert_eq!(ended.expect("it did not end").unwrap().code(), Some(0));
    assert!(filed > 8, "{filed}");
    let log = std::path::PathBuf::from(format!("{}-wal", house.path.display()));
    assert!(!log.exists(), "the log is folded in");
    assert!(matches!(verify::verify(&house.path).await.unwrap(), Verdict::Clean { .. }));
    let reports: i64 = sqlx::query_scalar("SELECT count(*) FROM report")
        .fetch_one(&mut raw(&house.path).await)
        .await
        .unwrap();
    assert!(reports >= filed, "{filed} were answered, {reports} are there");
    // A second run takes the same, once.
    let server = limited(&house, &[]).await;
    let mut client = Client::to(&server.address, &token).await;
    assert_eq!(client.file(&trip(999, 7)).await.unwrap().0, 200);
}

/// How many were answered until the connection was closed.
async fn file_until_refused(address: String, token: String, from: u64) -> i64 {
    let mut client = Client::to(&address, &token).await;
    for n in 0.. {
        match client.file(&trip(from + n, u32::try_from(n % 600).unwrap())).await {
            Some((201, _)) => {}
            Some(other) => panic!("{other:?}"),
            None => return i64::try_from(n).unwrap(),
        }
    }
    0
}
