//! How much a page weighs on the wire: at most 40 kB with everything it needs, 15 kB once that is there. All scripts
//! together are at most 40 kB before they are compressed.
use std::io::Write as _;

use breakerbook::web::{assets, paths};
use flate2::{Compression, write::GzEncoder};
use serde_json::json;
use sha2::{Digest, Sha256};

use crate::harness::{App, entry_id, report};

fn packed(bytes: &[u8]) -> usize {
    packed_at(Compression::fast(), bytes)
}

fn packed_at(level: Compression, bytes: &[u8]) -> usize {
    let mut packer = GzEncoder::new(Vec::new(), level);
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap().len()
}

#[tokio::test]
async fn pages_are_light_also_with_hundreds_of_lines() {
    let app = App::start().await;
    for n in 0..300_u32 {
        let (unit, minute) = (["QHB 412", "QHB 413", "QHB 431"][n as usize % 3], n % 60);
        let at = format!("2026-03-03T0{}:{minute:02}:00-06:00", n / 60);
        let defect = json!({"id": entry_id(n), "kind": "defect", "at": at, "system": "cab_signal", "may_go_on": "restricted",
            "text": format!("No aspect at MP {n}, twice, and a long story about it that somebody typed at the end of a long night"),
            "restriction": "trail only until looked at"});
        app.file("ann", &report(n, unit, "ann", vec![defect])).await;
    }
    // Files are compressed once, as small as they get: see web::assets. All of them count, also those that only the page
    // without network asks for.
    let sue = app.user("sue").await;
    let mut assets = 0;
    for name in assets::names() {
        let file = sue.get(assets::url(name)).await.is(200);
        assets += packed_at(Compression::best(), file.body.as_bytes());
    }
    for path in [
        paths::SignIn.to_string(),
        paths::Triage.to_string(),
        paths::Bypasses.to_string(),
        paths::Units.to_string(),
    ] {
        let page = sue.get(&path).await.is(200);
        let weight = packed(page.body.as_bytes());
        assert!(weight <= 15_000, "{path} weighs {weight}");
        assert!(weight + assets <= 40_000, "{path} weighs {weight} and its files {assets}");
    }
    let page = sue.get(paths::Triage).await.says("1 to 30 of 300");
    sue.get(page.link_to("/triage?page=")).await.is(200).says("31 to 60 of 300");
}

/// 67 kB as they are written; `src/build.rs` makes them small. What is held here is what a browser gets.
#[tokio::test]
async fn all_scripts_together_are_at_most_40_kb_before_compression() {
    let app = App::start().await;
    let names = || assets::names().filter(|name| name.ends_with(".js"));
    let written = std::fs::read_dir("static").unwrap().map(|file| file.unwrap().path());
    let written = written.filter(|path| path.extension().is_some_and(|ending| ending == "js")).count();
    assert_eq!(
        names().count() + 1,
        written,
        "each script of static/ is served, the worker by a handler of its own"
    );
    let mut sizes = Vec::new();
    for url in names().map(assets::url).chain(["/worker.js".to_owned()]) {
        let script = app.anon().get(&url).await.is(200);
        assert!(script.header("content-type").starts_with("text/javascript"), "{url} is no script");
        sizes.push((script.body.len(), url));
    }
    let all: usize = sizes.iter().map(|(size, _)| size).sum();
    assert!(all <= 40_000, "all scripts together are {all} bytes, of 40,000 that they may be: {sizes:#?}");
}

/// An address names its content, so it has to be reckoned from what is served.
#[tokio::test]
async fn what_is_served_has_the_name_of_its_content() {
    let app = App::start().await;
    let mut scripts = Sha256::new();
    for name in assets::names() {
        let url = assets::url(name);
        let body = app.anon().get(&url).await.is(200).body;
        if name.ends_with(".js") {
            scripts.update(&body);
        } else {
            assert!(
                url.contains(&hex::encode(&Sha256::digest(&body)[..6])),
                "{url} is not the name of its content"
            );
        }
    }
    let hash = hex::encode(&scripts.finalize()[..6]);
    for name in assets::names().filter(|name| name.ends_with(".js")) {
        assert_eq!(assets::url(name), format!("/static/{hash}/{name}"));
    }
}

#[tokio::test]
async fn pages_leave_compressed() {
    let app = App::start().await;
    let request = app.anon().request("GET", paths::SignIn).header("accept-encoding", "gzip, br");
    let page = app.bare(request.body(axum::body::Body::empty()).unwrap()).await;
    assert_eq!(page.header("content-encoding"), "gzip");
}
