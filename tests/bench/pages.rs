//! How long Handover, Triage, Unit and Class take beside an empty page of the same web server, one signed-in browser each.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot go on has nothing to say")]
mod common;

use std::net::SocketAddr;

use axum::{Router, routing::get};
use breakerbook::{
    base::UnitName,
    cli::demo,
    web::paths::{Class, Handover, SignIn, Triage, Unit},
};
use common::{
    book::DemoBook,
    client, median, only_looking, percentile,
    server::Serving,
    table::{Table, note},
};

const REQUESTS: usize = 5_000;
/// The pages take turns, so that whatever else the machine does meets them alike.
const ROUNDS: usize = 10;

struct Page {
    name: &'static str,
    address: SocketAddr,
    path: String,
    cookie: String,
    bytes: usize,
    waits: Vec<f64>,
}

fn main() {
    if only_looking() {
        return;
    }
    note("filling the demo's book");
    let book = DemoBook::fill(0);
    let serving = Serving::start(&book.copy("pages.db"));
    let mut pages = [
        Page::new("an empty page", empty_page(), "/".to_owned(), String::new()),
        Page::new(
            "Handover",
            serving.address,
            Handover(UnitName::from("QHB 401")).to_string(),
            signed_in(&serving, "crew"),
        ),
        Page::new("Triage", serving.address, Triage.to_string(), signed_in(&serving, "shop")),
        Page::new(
            "Unit",
            serving.address,
            Unit(UnitName::from("QHB 401")).to_string(),
            signed_in(&serving, "shop"),
        ),
        Page::new("Class", serving.address, Class("QA6".into()).to_string(), signed_in(&serving, "shop")),
    ];
    for round in 0..ROUNDS {
        note(&format!("round {}", round + 1));
        for page in &mut pages {
            let outcome = client::get_many(page.address, &page.path, &page.cookie, REQUESTS / ROUNDS);
            page.waits.extend(outcome.waits);
            page.bytes = outcome.bytes / outcome.sent;
        }
    }
    report(&pages);
}

impl Page {
    fn new(name: &'static str, address: SocketAddr, path: String, cookie: String) -> Self {
        Self { name, address, path, cookie, bytes: 0, waits: Vec::new() }
    }
}

/// Nothing but the web server itself, on threads of this process.
fn empty_page() -> SocketAddr {
    let (told, address) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async move {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
            told.send(listener.local_addr().unwrap()).unwrap();
            axum::serve(listener, Router::new().route("/", get(|| async { "" }))).await.unwrap();
        });
    });
    address.recv().unwrap()
}

/// The cookie of somebody who signed in through the page.
fn signed_in(serving: &Serving, role: &str) -> String {
    let (_, name, password) = demo::SIGN_INS.iter().find(|(of, ..)| *of == role).unwrap();
    let form = format!("sign_in={name}&password={}", password.replace(' ', "+"));
    client::cookie_of(serving.address, &SignIn.to_string(), &form)
}

fn report(pages: &[Page]) {
    let mut table = Table::new("Pages, 5,000 warm requests each over one connection, gzip");
    let empty = median(&pages[0].waits);
    for page in pages {
        let (middle, late) = (median(&page.waits), percentile(&page.waits, 0.99));
        table.figure(
            &format!("{}: median, 99 in 100, size", page.name),
            format!("{:.2} ms, {:.2} ms, {} B", middle * 1e3, late * 1e3, page.bytes),
        );
        if middle > empty {
            table.figure("  times the empty page, median", format!("{:.1}", middle / empty));
        }
    }
    table.print();
}
