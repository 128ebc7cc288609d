//! Clients that only send and count: each a keep-alive HTTP/1.1 connection, all on one thread.
use std::{
    net::SocketAddr,
    time::{Duration, Instant as Moment},
};

use bytes::Bytes;
use http_body_util::{BodyExt as _, Full};
use hyper::{Request, client::conn::http1};
use hyper_util::rt::TokioIo;

/// What one client sends, one after the other.
pub struct Client {
    pub token: String,
    pub bodies: Vec<String>,
}

pub struct Outcome {
    pub took: Duration,
    pub sent: usize,
    /// How long each request waited for its answer.
    pub waits: Vec<f64>,
    /// In all the answers' bodies, as they came over the wire.
    pub bytes: usize,
}

impl Outcome {
    pub fn per_second(&self) -> f64 {
        self.sent as f64 / self.took.as_secs_f64()
    }
}

/// Every client files all of its reports; each must be taken as new.
pub fn file_all(address: SocketAddr, clients: Vec<Client>) -> Outcome {
    let ready = clients.into_iter().map(|client| {
        let request = move |body: String| {
            Request::post("/api/v1/reports")
                .header("host", "book")
                .header("authorization", format!("Bearer {}", client.token))
                .header("content-type", "application/json")
                .body(Full::new(Bytes::from(body)))
                .unwrap()
        };
        client.bodies.into_iter().map(request).collect()
    });
    send_all(address, ready.collect(), 201)
}

/// The same page over one connection; the first tenth is not counted.
pub fn get_many(address: SocketAddr, path: &str, cookie: &str, times: usize) -> Outcome {
    let request = || {
        let request = Request::get(path).header("host", "book").header("cookie", cookie);
        request.header("accept-encoding", "gzip").body(Full::new(Bytes::new())).unwrap()
    };
    send_all(address, vec![(0..times / 10).map(|_| request()).collect()], 200);
    send_all(address, vec![(0..times).map(|_| request()).collect()], 200)
}

/// Sends a form as a browser does and hands back the cookie that came with the answer.
pub fn cookie_of(address: SocketAddr, path: &str, form: &str) -> String {
    let request = Request::post(path)
        .header("host", "book")
        .header("sec-fetch-site", "same-origin")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Full::new(Bytes::from(form.to_owned())))
        .unwrap();
    local(async move {
        let mut sender = connect(address).await;
        let response = sender.send_request(request).await.unwrap();
        let cookie = response.headers().get("set-cookie").unwrap().to_str().unwrap();
        cookie.split(';').next().unwrap().to_owned()
    })
}

type Requests = Vec<Request<Full<Bytes>>>;
type Sender = http1::SendRequest<Full<Bytes>>;

/// One thread, and little of it: the server shares the machine with its clients.
fn local<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    tokio::task::LocalSet::new().block_on(&runtime, work)
}

async fn connect(address: SocketAddr) -> Sender {
    let stream = tokio::net::TcpStream::connect(address).await.unwrap();
    stream.set_nodelay(true).unwrap();
    let (sender, connection) = http1::handshake(TokioIo::new(stream)).await.unwrap();
    tokio::task::spawn_local(connection);
    sender
}

fn send_all(address: SocketAddr, clients: Vec<Requests>, wanted: u16) -> Outcome {
    let sent = clients.iter().map(Vec::len).sum();
    local(async move {
        let mut connected = Vec::new();
        for requests in clients {
            connected.push((connect(address).await, requests));
        }
        let began = Moment::now();
        let task = |(sender, requests)| tokio::task::spawn_local(send(sender, requests, wanted));
        let tasks: Vec<_> = connected.into_iter().map(task).collect();
        let mut outcome = Outcome { took: Duration::ZERO, sent, waits: Vec::new(), bytes: 0 };
        for task in tasks {
            let (waits, bytes) = task.await.unwrap();
            outcome.waits.extend(waits);
            outcome.bytes += bytes;
        }
        outcome.took = began.elapsed();
        outcome
    })
}

async fn send(mut sender: Sender, requests: Requests, wanted: u16) -> (Vec<f64>, usize) {
    let (mut waits, mut bytes) = (Vec::with_capacity(requests.len()), 0);
    for request in requests {
        let began = Moment::now();
        sender.ready().await.unwrap();
        let response = sender.send_request(request).await.unwrap();
        let status = response.status().as_u16();
        let body = response.into_body().collect().await.unwrap().to_bytes();
        waits.push(began.elapsed().as_secs_f64());
        bytes += body.len();
        assert_eq!(status, wanted, "{}", String::from_utf8_lossy(&body));
    }
    (waits, bytes)
}
