//! How much a page weighs on the wire: at most 40 kB with everything it needs, 15 kB once that is there.
use std::io::Write as _;

use breakerbook::web::{assets, paths};
use flate2::{Compression, write::GzEncoder};
use serde_json::json;

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
    let file = |name| packed_at(Compression::best(), &std::fs::read(format!("static/{name}")).unwrap());
    let assets: usize = assets::names().map(file).sum();
    let sue = app.user("sue").await;
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
    let page = sue.get(paths::Triage).await.says("1 to 100 of 300");
    sue.get(page.link_to("/triage?page=")).await.is(200).says("101 to 200 of 300");
}

#[tokio::test]
async fn pages_leave_compressed() {
    let app = App::start().await;
    let request = app.anon().request("GET", paths::SignIn).header("accept-encoding", "gzip, br");
    let page = app.bare(request.body(axum::body::Body::empty()).unwrap()).await;
    assert_eq!(page.header("content-encoding"), "gzip");
}
