//! What a request says of the browser it came from, in a few words, for its person to know it by.
use axum::{
    extract::FromRequestParts,
    http::{header, request::Parts},
};

use super::{
    App,
    client::{self, Peer},
    cookie,
};
use crate::people::session::{self, Token};

/// Handlers that sign somebody in take it as an argument.
#[derive(Debug)]
pub struct Seen {
    pub words: session::Seen,
    /// Its own secret, if somebody signed in in it before.
    pub browser: Option<Token>,
}

impl FromRequestParts<App> for Seen {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(head: &mut Parts, app: &App) -> Result<Self, Self::Rejection> {
        let agent = head.headers.get(header::USER_AGENT).and_then(|value| value.to_str().ok());
        let peer = head.extensions.get::<Peer>().map(|Peer(peer)| peer.ip());
        let address = peer.map(|peer| client::of(peer, &head.headers, app.proxies()).to_string());
        let words = session::Seen {
            agent: agent.map(in_words).unwrap_or_default(),
            address: address.unwrap_or_default(),
        };
        Ok(Self { words, browser: cookie::browser(&head.headers, app.settings()) })
    }
}

/// The first that fits: browsers name those that they descend from as well.
const BROWSERS: &[(&str, &str)] = &[
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
];
const SYSTEMS: &[(&str, &str)] = &[
    ("Android", "Android"),
    ("iPhone", "an iPhone"),
    ("iPad", "an iPad"),
    ("Windows", "Windows"),
    ("Mac OS", "macOS"),
    ("Linux", "Linux"),
];

fn in_words(agent: &str) -> String {
    let named = |list: &[(&str, &'static str)]| {
        list.iter().find(|(mark, _)| agent.contains(mark)).map(|(_, words)| *words)
    };
    match (named(BROWSERS), named(SYSTEMS)) {
        (Some(browser), Some(system)) => format!("{browser} on {system}"),
        (Some(only), None) | (None, Some(only)) => only.to_owned(),
        // Its own first word: a program of somebody's.
        (None, None) => agent.split(['/', ' ']).next().unwrap_or_default().chars().take(40).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn browsers_are_told_in_words() {
        for (agent, words) in [
            ("Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0", "Firefox on Linux"),
            (
                "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/129.0 Mobile Safari/537.36",
                "Chrome on Android",
            ),
            (
                "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/129.0 Safari/537.36 Edg/129.0",
                "Edge on Windows",
            ),
            (
                "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1.15 Version/17.5 Safari/604.1",
                "Safari on an iPhone",
            ),
            ("curl/8.9", "curl"),
            ("", ""),
        ] {
            assert_eq!(in_words(agent), words);
        }
    }
}
