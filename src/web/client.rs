//! Where a request came from: the other end of the connection or, where that is a proxy of ours, whom the proxy names.
use std::net::{IpAddr, SocketAddr};

use axum::http::HeaderMap;

/// The other end of the connection; put there by `listening`.
#[derive(Clone, Copy, Debug)]
pub struct Peer(pub SocketAddr);

/// Only `X-Forwarded-For` is read, and only from a proxy that was named at the start: each proxy adds whom it heard from at
/// its right end, so what a client wrote there itself stands to the left of that and is never reached. `Forwarded` is not
/// read: a proxy that does not know it passes a client's own through.
pub fn of(peer: IpAddr, headers: &HeaderMap, proxies: &[IpAddr]) -> IpAddr {
    let mut known = peer.to_canonical();
    let lines = headers.get_all("x-forwarded-for").iter();
    let named: Vec<&str> = lines.flat_map(|line| line.to_str().unwrap_or("").split(',')).collect();
    for name in named.iter().rev() {
        if !proxies.contains(&known) {
            break;
        }
        let Ok(heard_from) = name.trim().parse::<IpAddr>() else { break };
        known = heard_from.to_canonical();
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_named_proxies_are_believed_and_only_their_own_word() {
        let proxies = ["10.0.0.1".parse().unwrap(), "10.0.0.2".parse().unwrap()];
        for (peer, lines, want) in [
            ("10.0.0.1", &["203.0.113.9"][..], "203.0.113.9"),
            ("10.0.0.1", &["198.51.100.1, 203.0.113.9"], "203.0.113.9"),
            ("10.0.0.1", &["198.51.100.1", "203.0.113.9"], "203.0.113.9"),
            ("10.0.0.1", &["203.0.113.9, 10.0.0.2"], "203.0.113.9"),
            ("10.0.0.1", &["10.0.0.2"], "10.0.0.2"),
            ("10.0.0.1", &["203.0.113.9, nonsense"], "10.0.0.1"),
            ("10.0.0.1", &[], "10.0.0.1"),
            ("192.0.2.7", &["203.0.113.9"], "192.0.2.7"),
            ("::ffff:10.0.0.1", &["2001:db8::1"], "2001:db8::1"),
        ] {
            let mut headers = HeaderMap::new();
            for line in lines {
                headers.append("x-forwarded-for", line.parse().unwrap());
            }
            let of = of(peer.parse().unwrap(), &headers, &proxies);
            assert_eq!(of, want.parse::<IpAddr>().unwrap(), "{peer} {lines:?}");
        }
    }
}
