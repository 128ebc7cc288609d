//! What a request says of the browser it came from, in a few words, for its person to know it by.
use std::net::SocketAddr;

use axum::{
    extract::{ConnectInfo, FromRequestParts},
    http::{HeaderMap, header, request::Parts},
};

use super::{App, Settings, cookie};
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
        let peer =
            head.extensions.get::<ConnectInfo<SocketAddr>>().map(|ConnectInfo(peer)| peer.ip().to_string());
        let address = forwarded(&head.headers, app.settings()).or(peer).unwrap_or_default();
        let words = session::Seen { agent: agent.map(in_words).unwrap_or_default(), address };
        Ok(Self { words, browser: cookie::browser(&head.headers, app.settings()) })
    }
}

/// Whom the proxy in front saw: the last of the list, since whoever asks may have written the others.
fn forwarded(headers: &HeaderMap, settings: Settings) -> Option<String> {
    let line = headers.get_all("x-forwarded-for").iter().next_back().filter(|_| settings.tls)?;
    let last = line.to_str().ok()?.rsplit(',').next()?.trim();
    last.parse::<std::net::IpAddr>().ok().map(|ip| ip.to_string())
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
    use axum::http::HeaderValue;

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

    #[test]
    fn only_a_proxy_is_believed_and_only_its_own_word() {
        let mut headers = HeaderMap::new();
        headers.append("x-forwarded-for", HeaderValue::from_static("10.0.0.1, 192.0.2.7"));
        assert_eq!(forwarded(&headers, Settings { tls: true }).as_deref(), Some("192.0.2.7"));
        assert_eq!(forwarded(&headers, Settings { tls: false }), None);
        headers.append("x-forwarded-for", HeaderValue::from_static("<script>"));
        assert_eq!(forwarded(&headers, Settings { tls: true }), None);
    }
}
