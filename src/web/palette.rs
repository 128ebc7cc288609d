//! Day or night: chosen by a button in the foot of every page, kept in a cookie, for whoever holds the device.
use axum::{
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Redirect, Response},
};
use serde::Deserialize;

use super::{Answer, Door, Route, Typed, frame::Palette, paths};

pub fn routes() -> Vec<Route> {
    vec![Route::post(paths::Palette::PATTERN, Door::Open, choose)]
}

#[derive(Deserialize)]
struct Choice {
    #[serde(default)]
    palette: String,
    #[serde(default)]
    back: String,
}

async fn choose(Typed(choice): Typed<Choice>) -> Answer {
    let palette = Palette::parse(&choice.palette).unwrap_or(Palette::Auto);
    let cookie = format!("palette={palette}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Lax");
    let mut response: Response = Redirect::to(own_path(&choice.back)).into_response();
    if let Ok(cookie) = HeaderValue::try_from(cookie) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    Ok(response)
}

pub fn chosen(headers: &HeaderMap) -> Palette {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs
        .find(|(name, _)| *name == "palette")
        .and_then(|(_, value)| Palette::parse(value))
        .unwrap_or(Palette::Auto)
}

/// Only a path of this site: nobody is sent elsewhere by a link that somebody made up.
pub fn own_path(path: &str) -> &str {
    let sane = path.starts_with('/')
        && !path.starts_with("//")
        && !path.contains(|c: char| c == '\\' || c.is_control() || !c.is_ascii());
    if sane { path } else { paths::Home::PATTERN }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_elsewhere() {
        for good in ["/", "/units/QHB-412", "/triage?unit=QHB%20412&page=2"] {
            assert_eq!(own_path(good), good);
        }
        for bad in ["", "//evil.test", "https://evil.test", "/\\evil.test", "/a\nb", "units"] {
            assert_eq!(own_path(bad), "/", "{bad}");
        }
    }
}
