//! The one cookie. Over TLS it is `__Host-` and Secure; on a loopback over http browsers would drop that, so
//! there it has a plain name.
use axum::http::{HeaderMap, HeaderValue, header};

use super::Settings;
use crate::people::session::Token;

fn name(settings: Settings) -> &'static str {
    if settings.tls { "__Host-breakerbook" } else { "breakerbook" }
}

pub fn token(headers: &HeaderMap, settings: Settings) -> Option<Token> {
    let name = name(settings);
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(|(n, _)| *n == name).find_map(|(_, value)| Token::parse(value))
}

/// Outlives the session by a day: a form sent after its end must still be known for whose it is.
pub fn set(token: &Token, settings: Settings) -> HeaderValue {
    line(&token.reveal(), 48 * 3600, settings)
}

pub fn clear(settings: Settings) -> HeaderValue {
    line("", 0, settings)
}

fn line(value: &str, max_age_s: u32, settings: Settings) -> HeaderValue {
    let secure = if settings.tls { "; Secure" } else { "" };
    let name = name(settings);
    let text = format!("{name}={value}; Path=/; Max-Age={max_age_s}; HttpOnly; SameSite=Lax{secure}");
    HeaderValue::try_from(text).unwrap_or(HeaderValue::from_static("breakerbook=; Path=/; Max-Age=0"))
}
