//! The log of a server at its most talkative: a JSON object a line, the number of the request in each, and no secret.
use std::collections::BTreeSet;

use http_body_util::{BodyExt, Full};
use hyper::{Request, Response, body::Bytes, client::conn::http1};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use tokio::net::TcpStream;

use crate::{
    house::{House, trip},
    killed::Client,
    process::{Server, run, serve_with},
};

/// One request on a connection of its own.
pub async fn asked(address: &str, request: Request<Full<Bytes>>) -> Response<Bytes> {
    let stream = TcpStream::connect(address).await.unwrap();
    let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await.unwrap();
    tokio::spawn(connection);
    let (head, body) = sender.send_request(request).await.unwrap().into_parts();
    Response::from_parts(head, body.collect().await.unwrap().to_bytes())
}

pub fn post(path: &str, cookie: &str, form: &str) -> Request<Full<Bytes>> {
    Request::post(path)
        .header("host", "book.test")
        .header("sec-fetch-site", "same-origin")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("cookie", cookie)
        .body(Full::new(Bytes::from(form.to_owned())))
        .unwrap()
}

fn get(path: &str, cookie: &str) -> Request<Full<Bytes>> {
    Request::get(path).header("host", "book.test").header("cookie", cookie).body(Full::default()).unwrap()
}

const NOTE: &str = "Smelled of burnt sugar behind panel nine";
const WRONG: &str = "not-the-password-of-ann";
const CHOSEN: &str = "seven lamps behind the shed";

/// Signs in, changes the password, searches, files; everything that came of it which nobody else may read.
async fn a_day(server: &Server, token: &str, first: &str) -> (Vec<String>, Vec<String>) {
    let at = &server.address;
    asked(at, post("/sign-in", "", &format!("sign_in=ann&password={WRONG}"))).await;
    let answer =
        asked(at, post("/sign-in", "", &format!("sign_in=ann&password={}", first.replace(' ', "+")))).await;
    assert_eq!(answer.status(), 303);
    let set = answer.headers()["set-cookie"].to_str().unwrap();
    let cookie = set.split(';').next().unwrap().to_owned();
    let words = CHOSEN.replace(' ', "+");
    let form = format!("password={}&new_password={words}&again={words}", first.replace(' ', "+"));
    let changed = asked(at, post("/password", &cookie, &form)).await;
    let newer = changed.headers().get("set-cookie").map(|set| set.to_str().unwrap().to_owned());
    asked(at, get("/units?q=searched-for-this", &cookie)).await;
    let refused = asked(at, get("/bypasses", &cookie)).await;
    assert!(matches!(refused.status().as_u16(), 303 | 403), "{}", refused.status());
    let mut report = trip(1, 5);
    report["entries"][0]["note"] = NOTE.into();
    let mut client = Client::to(at, token).await;
    assert_eq!(client.file(&report).await.unwrap().0, 201);
    let value = |set: &str| set.split(';').next().unwrap().split_once('=').unwrap().1.to_owned();
    let mut secrets = vec![value(&cookie), token.to_owned(), first.to_owned(), first.replace(' ', "+")];
    secrets.extend([NOTE, WRONG, CHOSEN, &words, "searched-for-this", "Bearer"].map(str::to_owned));
    secrets.extend(newer.as_deref().map(value));
    let numbers =
        [&answer, &changed, &refused].map(|a| a.headers()["x-request-id"].to_str().unwrap().to_owned());
    (secrets, numbers.to_vec())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_names_every_request_and_tells_no_secret() {
    let house = House::new().await;
    let db = house.path.to_str().unwrap();
    let token = run(&["token", "--db", db, "--for", "ann"]).await.out.trim().to_owned();
    let told = run(&["password", "--db", db, "--for", "ann"]).await.out;
    let first = told.lines().last().unwrap().trim().to_owned();
    let log = house.dir.path().join("log");
    let mut server = serve_with(&house.path, &[], &log).await;
    let (secrets, numbers) = a_day(&server, &token, &first).await;
    server.told_to_stop().await;
    server.child.wait().await.unwrap();
    let log = std::fs::read_to_string(&log).unwrap();
    for secret in secrets.iter().filter(|secret| secret.len() > 3) {
        assert!(!log.contains(secret.as_str()), "{secret:?} is in the log:\n{log}");
    }
    let lines: Vec<Value> = log.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let of = |line: &Value| line["span"]["number"].as_str().map(str::to_owned);
    let told: BTreeSet<String> =
        lines.iter().filter(|line| line["fields"]["message"] == "answered").filter_map(of).collect();
    for number in &numbers {
        assert!(told.contains(number), "{number} in {told:?}");
    }
    assert!(told.len() > 5, "{told:?}");
    let refused = lines.iter().find(|line| line["span"]["number"] == numbers[2].as_str()).unwrap();
    assert_eq!(
        (&refused["span"]["path"], &refused["span"]["client"]),
        (&"/bypasses".into(), &"127.0.0.1".into())
    );
}
