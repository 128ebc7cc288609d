//! Whether a request that changes something came from one of our own pages. There are no form tokens: a
//! SameSite=Lax cookie and what the browser says about where the request came from do the same.
use axum::http::{HeaderMap, header};

/// `Sec-Fetch-Site` decides where there is one; an older browser's `Origin` must name the host that was asked.
/// Neither: not a browser's own form, and refused.
pub fn is_our_own(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    match (text("sec-fetch-site"), text("origin")) {
        (Some(site), _) => matches!(site, "same-origin" | "none"),
        (None, Some(origin)) => {
            let host = text(header::HOST.as_str());
            let named = origin.strip_prefix("https://").or_else(|| origin.strip_prefix("http://"));
            host.is_some() && named == host
        }
        (None, None) => false,
    }
}

/// Nothing says where it came from: a program's request, or a very old browser's.
pub fn is_unsaid(headers: &HeaderMap) -> bool {
    !headers.contains_key("sec-fetch-site") && !headers.contains_key(header::ORIGIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_pages_may_change_anything() {
        for (given, want) in [
            (&[("sec-fetch-site", "same-origin")][..], true),
            (&[("sec-fetch-site", "none")], true),
            (
                &[("sec-fetch-site", "same-site"), ("origin", "http://book.test"), ("host", "book.test")],
                false,
            ),
            (&[("sec-fetch-site", "cross-site")], false),
            (&[("origin", "http://book.test"), ("host", "book.test")], true),
            (&[("origin", "https://book.test:8080"), ("host", "book.test:8080")], true),
            (&[("origin", "http://evil.test"), ("host", "book.test")], false),
            (&[("origin", "null"), ("host", "book.test")], false),
            (&[("host", "book.test")], false),
        ] {
            let headers = given.iter().map(|(n, v)| (n.parse().unwrap(), v.parse().unwrap())).collect();
            assert_eq!(is_our_own(&headers), want, "{given:?}");
        }
    }
}
