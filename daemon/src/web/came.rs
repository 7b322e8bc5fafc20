//! How a request came: from which address, through a proxy or not. Owns what is believed of it.

use crate::links::is_loopback;
use axum::http::header::{FORWARDED, HOST, ORIGIN, VIA};
use axum::http::{HeaderMap, HeaderName};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// The other end of the connection. Set by whoever accepts it, never by what is sent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peer(pub(super) SocketAddr);

impl Peer {
    /// Whether it is on this machine.
    pub(super) fn is_loopback(self) -> bool {
        self.0.ip().to_canonical().is_loopback()
    }
}

const FORWARDED_FOR: &str = "x-forwarded-for";
const FORWARDED_PROTO: &str = "x-forwarded-proto";

/// The name that is asked for; one that is told twice is none (RFC 9112, section 3.2).
pub(super) fn host_of(headers: &HeaderMap) -> Option<&str> {
    let mut told = headers.get_all(HOST).iter();
    let host = told.next()?.to_str().ok();
    host.filter(|_| told.next().is_none())
}

/// A `Host` without its port.
pub(super) fn name_of(host: &str) -> &str {
    match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
        Some(_) | None => host,
    }
}

/// Whether a proxy has passed the request on and says so (RFC 7239, RFC 9110, and what was in use before them).
pub(super) fn is_forwarded(headers: &HeaderMap) -> bool {
    let tells = |name: &HeaderName| name.as_str().starts_with("x-forwarded-") || name == "x-real-ip";
    headers.contains_key(FORWARDED) || headers.contains_key(VIA) || headers.keys().any(tells)
}

/// Whether a request asks for a name of this machine, and no proxy says that it has passed it on.
pub(super) fn is_local(headers: &HeaderMap) -> bool {
    let host = host_of(headers).filter(|_| !is_forwarded(headers));
    host.is_some_and(|host| is_loopback(name_of(host)))
}

/// Whether a host is an address in figures: nobody's name server can make that lead here.
pub(super) fn is_in_figures(host: &str) -> bool {
    let name = name_of(host);
    let v6 = name.strip_prefix('[').and_then(|name| name.strip_suffix(']'));
    v6.map_or_else(|| name.parse::<Ipv4Addr>().is_ok(), |v6| v6.parse::<std::net::Ipv6Addr>().is_ok())
}

/// Whether the browser speaks TLS, to whatever stands before the dashboard. Who claims it falsely harms himself alone.
pub(super) fn is_https(headers: &HeaderMap) -> bool {
    let says = |name: &str| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    says(ORIGIN.as_str()).starts_with("https://") || says(FORWARDED_PROTO).eq_ignore_ascii_case("https")
}

/// Whose tries these are. What a proxy on this machine was the last to write is its client; all else that headers say of
/// it could be the client's own words.
pub(super) fn address(peer: Option<Peer>, headers: &HeaderMap) -> IpAddr {
    let Some(peer) = peer else { return Ipv4Addr::UNSPECIFIED.into() };
    let last = headers.get_all(FORWARDED_FOR).iter().next_back().and_then(|value| value.to_str().ok());
    let last = last.and_then(|list| list.rsplit(',').next()).and_then(|address| address.trim().parse().ok());
    last.filter(|_| peer.is_loopback()).unwrap_or_else(|| peer.0.ip())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn headers(fields: &[(&str, &str)]) -> HeaderMap {
        fields
            .iter()
            .map(|(name, value)| (HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap()))
            .collect()
    }

    #[test]
    fn only_loopback_names_that_no_proxy_passed_on_are_local() {
        for host in ["localhost:7870", "127.0.0.1:7870", "[::1]:7870", "localhost"] {
            assert!(is_local(&headers(&[("host", host)])), "{host}");
            assert!(!is_local(&headers(&[("host", host), ("via", "1.1 bench")])), "{host}");
        }
        for host in ["printer.example:7870", "192.168.1.4:7870", "localhost.example", "127.0.0.1.example:80", ""] {
            assert!(!is_local(&headers(&[("host", host)])), "{host}");
        }
    }

    #[test]
    fn a_name_that_looks_like_figures_is_none() {
        for host in ["192.0.2.7:7870", "192.0.2.7", "[fd00::2]:7870", "[fd00::2]"] {
            assert!(is_in_figures(host), "{host}");
        }
        for host in ["192.0.2.7.example", "192.0.2", "0x7f000001", "bench.example:7870", "[bench]", "fd00::2", ""] {
            assert!(!is_in_figures(host), "{host}");
        }
    }

    #[test]
    fn tries_are_the_peer_s_unless_a_proxy_on_this_machine_was_the_last_to_say_whose() {
        let listed = headers(&[("x-forwarded-for", "198.51.100.1, 192.0.2.9")]);
        let peer = |text: &str| Some(Peer(text.parse().unwrap()));
        let of = |peer, headers: &HeaderMap| address(peer, headers).to_string();
        assert_eq!(of(peer("127.0.0.1:9"), &listed), "192.0.2.9");
        assert_eq!(of(peer("[::ffff:127.0.0.1]:9"), &listed), "192.0.2.9");
        assert_eq!(of(peer("192.0.2.4:9"), &listed), "192.0.2.4");
        assert_eq!(of(peer("127.0.0.1:9"), &headers(&[("x-forwarded-for", "unknown")])), "127.0.0.1");
    }
}
