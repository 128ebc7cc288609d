//! The files of `static/`: in the program, the scripts made small (`src/build.rs`), named by their content, compressed
//! once. A name never changes its content, so browsers may keep them for ever.
use std::{collections::BTreeMap, io::Write as _, sync::LazyLock};

use axum::{
    Router,
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
    routing::get,
};
use flate2::{Compression, write::GzEncoder};
use sha2::{Digest, Sha256};

use super::App;

macro_rules! files {
    ($($name:literal)*) => { &[$(($name, include_bytes!(concat!(env!("OUT_DIR"), "/static/", $name)).as_slice())),*] };
}

/// The worker has a handler of its own (`pages::crew::offline`), which writes a line above it.
pub const WORKER: &str = include_str!(concat!(env!("OUT_DIR"), "/static/worker.js"));

/// A new file of `static/` is named here.
const FILES: &[(&str, &[u8])] = files!["answers.js" "book.css" "book.js" "contract.js" "icon.svg" "keep.js" "online.js" "print.css" "sending.js" "shell.js"];

pub struct Asset {
    url: String,
    kind: &'static str,
    plain: &'static [u8],
    gzip: Vec<u8>,
}

static ASSETS: LazyLock<BTreeMap<&'static str, Asset>> =
    LazyLock::new(|| FILES.iter().map(|(name, bytes)| (*name, prepare(name, bytes))).collect());

static SCRIPTS: LazyLock<String> = LazyLock::new(|| {
    let mut all = Sha256::new();
    FILES.iter().filter(|(name, _)| name.ends_with(".js")).for_each(|(_, bytes)| all.update(bytes));
    hex::encode(&all.finalize()[..6])
});

fn prepare(name: &'static str, plain: &'static [u8]) -> Asset {
    let hash = hex::encode(&Sha256::digest(plain)[..6]);
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    // Scripts name each other by their bare names, so they lie together under one hash of them all.
    let url = match ending {
        "js" => format!("/static/{}/{name}", *SCRIPTS),
        _ => format!("/static/{stem}.{hash}.{ending}"),
    };
    let mut packer = GzEncoder::new(Vec::new(), Compression::best());
    let gzip = packer.write_all(plain).and_then(|()| packer.finish()).unwrap_or_default();
    Asset { url, kind: kind_of(ending), plain, gzip }
}

fn kind_of(ending: &str) -> &'static str {
    match ending {
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "webmanifest" => "application/manifest+json",
        "png" => "image/png",
        _ => "application/octet-stream",
    }
}

/// Where a file of `static/` is served; its bare name if there is none, which a test would notice.
pub fn url(name: &str) -> String {
    ASSETS.get(name).map_or_else(|| format!("/static/{name}"), |asset| asset.url.clone())
}

/// Every name, for tests.
pub fn names() -> impl Iterator<Item = &'static str> {
    FILES.iter().map(|(name, _)| *name)
}

pub(super) fn serve(mut router: Router<App>) -> Router<App> {
    for asset in ASSETS.values() {
        router =
            router.route(&asset.url, get(move |headers: HeaderMap| async move { answer(asset, &headers) }));
    }
    router
}

fn answer(asset: &'static Asset, headers: &HeaderMap) -> Response {
    let accepted = headers.get(header::ACCEPT_ENCODING).and_then(|v| v.to_str().ok()).unwrap_or("");
    let fixed = [
        (header::CONTENT_TYPE, HeaderValue::from_static(asset.kind)),
        (header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=31536000, immutable")),
        (header::VARY, HeaderValue::from_static("accept-encoding")),
    ];
    if accepted.contains("gzip") && !asset.gzip.is_empty() {
        let packed = [(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"))];
        (fixed, packed, asset.gzip.as_slice()).into_response()
    } else {
        (fixed, asset.plain).into_response()
    }
}
