//! What every answer carries, and what is stopped at the door.
use axum::{body::Body, http::Request};
use breakerbook::web::paths;

use crate::{harness::App, html};

#[tokio::test]
async fn every_answer_carries_the_strict_headers() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let asset = breakerbook::web::assets::url("book.css");
    for path in ["/sign-in", "/", "/password", "/nowhere", asset.as_str()] {
        let page = ann.get(path).await;
        let policy = page.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none';"), "{path}: {policy}");
        for never in ["unsafe", "*", "data:", "http"] {
            assert!(!policy.contains(never), "{path}: {policy}");
        }
        for must in ["base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'", "script-src 'self'"] {
            assert!(policy.contains(must), "{path}: {policy}");
        }
        assert_eq!(page.header("x-content-type-options"), "nosniff");
        assert_eq!(page.header("referrer-policy"), "same-origin");
        assert_eq!(page.header("strict-transport-security"), "", "only over TLS");
        let cache = if path == asset { "public, max-age=31536000, immutable" } else { "no-store" };
        assert_eq!(page.header("cache-control"), cache, "{path}");
    }
}

#[tokio::test]
async fn a_change_from_elsewhere_is_refused_and_nothing_is_done() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "https://evil.test"),
        ("x-nothing", "at all"),
    ] {
        let request = ann.request("POST", paths::SignOut).header(name, value).body(Body::empty()).unwrap();
        ann.send(request).await.is(403).says("was not sent from a page of this book");
    }
    ann.get("/").await.goes_to(paths::Units);
    let request =
        ann.request("POST", paths::SignOut).header("origin", "http://book.test").body(Body::empty()).unwrap();
    ann.send(request).await.goes_to(paths::SignIn);
}

#[tokio::test]
async fn what_is_not_there_or_not_readable_gets_a_sentence() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get("/nowhere").await.is(404).says("There is no such page.").says("To the first page");
    assert!(
        ann.get("/nowhere").await.body.contains("Sign out"),
        "they are still signed in, and the page shows it"
    );
    ann.post("/kept", &[]).await.is(405).says("can only be read");
    // What stays in the address bar when a form came back.
    ann.get("/triage/looked").await.is(405).says("Go back to that page, and send it from there");
    let own = |body: Vec<u8>, kind: &str| {
        let request = ann
            .request("POST", paths::Password)
            .header("sec-fetch-site", "same-origin")
            .header("content-type", kind.to_owned());
        request.body(Body::from(body)).unwrap()
    };
    let form = "application/x-www-form-urlencoded";
    ann.send(own(vec![b'a'; 3 * 1024 * 1024], form)).await.is(413).says("More than 2 MB");
    ann.send(own(b"{}".to_vec(), "application/json")).await.is(400).says("could not be read");
    ann.send(own(b"password=%FF&new_password=x".to_vec(), form)).await.is(422);
}

#[tokio::test]
async fn files_are_compressed_once_and_their_names_change_with_their_content() {
    let app = App::start().await;
    for name in breakerbook::web::assets::names() {
        let url = breakerbook::web::assets::url(name);
        let plain = app.anon().get(&url).await.is(200);
        assert!(!plain.body.is_empty(), "{name}");
        let request =
            Request::builder().uri(&url).header("accept-encoding", "gzip").body(Body::empty()).unwrap();
        let packed = app.bare(request).await;
        assert_eq!(packed.header("content-encoding"), "gzip", "{name}");
        assert_eq!(packed.header("vary"), "accept-encoding");
    }
}

/// Templates are read from the disk, so that none can be forgotten.
#[test]
fn no_template_runs_anything_inline_or_asks_another_origin() {
    let mut seen = 0;
    let mut dirs = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/templates"))];
    while let Some(dir) = dirs.pop() {
        for entry in std::fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                dirs.push(path);
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            seen += 1;
            for tag in html::tags(&without_askama(&text)) {
                let inline = tag.attributes.iter().find(|(n, _)| n == "style" || n.starts_with("on"));
                assert!(inline.is_none(), "{path:?}: {inline:?}");
                assert!(
                    tag.name != "style" && (tag.name != "script" || tag.has("src")),
                    "{path:?}: inline {}",
                    tag.name
                );
            }
            for elsewhere in ["http://", "https://", "\"//", "javascript:", "data:"] {
                assert!(!text.contains(elsewhere), "{path:?} has {elsewhere}");
            }
        }
    }
    assert!(seen >= 4, "templates were found");
}

/// What askama fills in or leaves out becomes an `x`.
fn without_askama(text: &str) -> String {
    let mut out = text.to_owned();
    for (open, close) in [("{#", "#}"), ("{{", "}}"), ("{%", "%}")] {
        while let Some(from) = out.find(open) {
            let to = out[from..].find(close).map_or(out.len(), |n| from + n + 2);
            out.replace_range(from..to, "x");
        }
    }
    out
}

/// A hint that is only seen beside its field is not read out with it.
#[tokio::test]
async fn each_hint_and_each_problem_is_tied_to_its_field() {
    let app = App::start().await;
    let (ada, sue) = (app.user("ada").await, app.user("sue").await);
    let mut hints = 0;
    for (who, path) in [
        (&ada, "/fleet/new"),
        (&ada, "/fleet/schedule"),
        (&ada, "/tokens"),
        (&ada, "/notices/mine"),
        (&ada, "/notices/webhooks"),
        (&ada, "/people/new"),
        (&sue, "/authorisations/new"),
    ] {
        let page = who.get(path).await.is(200);
        let sent = page.again(path).await.send().await;
        for body in [&page.body, &sent.body] {
            hints += tied(path, body);
        }
    }
    assert!(hints > 20, "{hints}");
}

/// How many sentences stand beside the fields of a page, each of which some field names.
fn tied(path: &str, body: &str) -> usize {
    let tags = crate::html::tags(body);
    let named: Vec<&str> =
        tags.iter().filter_map(|tag| tag.get("aria-describedby")).flat_map(|ids| ids.split(' ')).collect();
    let beside = |class: &Option<&str>| matches!(class, Some("hint" | "says"));
    let sentences: Vec<_> = tags.iter().filter(|tag| tag.name == "p" && beside(&tag.get("class"))).collect();
    for tag in &sentences {
        let id = tag.get("id").unwrap_or_default();
        let same = tags.iter().filter(|other| other.get("id") == Some(id)).count();
        assert!(named.contains(&id) && same == 1, "{path}: {:?} ({id:?}) belongs to no field", tag.text);
    }
    for id in named {
        assert!(tags.iter().any(|tag| tag.get("id") == Some(id)), "{path}: nothing is called {id:?}");
    }
    sentences.len()
}
