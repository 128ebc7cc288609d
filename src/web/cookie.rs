//! The session's cookie, and one by which a browser is known again. Over TLS they are `__Host-` and Secure; on a loopback over http browsers would drop that, so
//! there they have plain names.
use axum::http::{HeaderMap, HeaderValue, header};

use super::Settings;
use crate::people::session::Token;

fn name(settings: Settings) -> &'static str {
    if settings.tls { "__Host-breakerbook" } else { "breakerbook" }
}

/// The browser's own, whoever signs in in it.
fn browser_name(settings: Settings) -> &'static str {
    if settings.tls { "__Host-breakerbook-browser" } else { "breakerbook-browser" }
}

pub fn token(headers: &HeaderMap, settings: Settings) -> Option<Token> {
    read(headers, name(settings))
}

pub fn browser(headers: &HeaderMap, settings: Settings) -> Option<Token> {
    read(headers, browser_name(settings))
}

fn read(headers: &HeaderMap, name: &str) -> Option<Token> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(|(n, _)| *n == name).find_map(|(_, value)| Token::parse(value))
}

/// Outlives the session by a day: a form sent after its end must still be known for whose it is.
pub fn set(token: &Token, settings: Settings) -> HeaderValue {
    line(name(settings), &token.reveal(), 48 * 3600, settings)
}

/// For as long as a browser is known.
pub fn set_browser(token: &Token, settings: Settings) -> HeaderValue {
    line(browser_name(settings), &token.reveal(), 180 * 24 * 3600, settings)
}

pub fn clear(settings: Settings) -> HeaderValue {
    line(name(settings), "", 0, settings)
}

fn line(name: &str, value: &str, max_age_s: u32, settings: Settings) -> HeaderValue {
    let secure = if settings.tls { "; Secure" } else { "" };
    let text = format!("{name}={value}; Path=/; Max-Age={max_age_s}; HttpOnly; SameSite=Lax{secure}");
    HeaderValue::try_from(text).unwrap_or(HeaderValue::from_static("breakerbook=; Path=/; Max-Age=0"))
}
