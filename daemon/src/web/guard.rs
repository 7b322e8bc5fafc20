//! Who may ask the dashboard for what. Owns the checks that stand before every route; knows no page.
//!
//! The dashboard listens on loopback and has no sign-in. What must be kept out are pages of other sites that a
//! browser on this machine has open: they could ask under a name of their own that resolves here (so the `Host` is
//! checked), or post a form here (so a post carries a token that only our pages show, and no foreign `Origin`).
//!
//! The address of the links in messages is a further name, and opens their pages alone: all the rest has no sign-in. The
//! same holds of whatever a proxy passes on, as its headers tell, since some put a name of this machine into `Host`.

use super::Site;
use super::answer::page;
use super::attempts::Attempt;
use crate::links::{LINK_PATH, Links, is_loopback};
use axum::extract::{Request, State};
use axum::http::header::{
    CONTENT_SECURITY_POLICY, FORWARDED, HOST, ORIGIN, REFERRER_POLICY, VIA, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use dwell_dashboards::render_link_message;
use rand::distr::{Alphanumeric, SampleString};
use std::sync::Arc;

/// No script, style or image from elsewhere, and no inline ones.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The letters of a form token: 32 of 62 kinds are 190 bits.
const TOKEN_LETTERS: usize = 32;

/// A new form token.
pub(super) fn new_token() -> String {
    Alphanumeric.sample_string(&mut rand::rng(), TOKEN_LETTERS)
}

/// The further name that the pages of links are asked under.
#[derive(Clone, Debug)]
pub(super) struct Names {
    link: Option<Arc<LinkName>>,
}

#[derive(Debug)]
struct LinkName {
    /// As `Host` has it: with a port where it is not the scheme's own.
    host: String,
    /// As `Origin` has it.
    origin: String,
}

impl Names {
    pub(super) fn of(links: Option<&Links>) -> Self {
        let url = links.and_then(|links| reqwest::Url::parse(links.base()).ok());
        let name = url.and_then(|url| {
            let port = url.port().map_or_else(String::new, |port| format!(":{port}"));
            let host = format!("{}{port}", url.host_str()?);
            Some(Arc::new(LinkName { origin: url.origin().ascii_serialization(), host }))
        });
        Self { link: name }
    }

    /// The further name, where the request asks for what that name opens.
    fn of_link(&self, path: &str) -> Option<&LinkName> {
        let opens = path.starts_with(LINK_PATH) || path == "/style.css";
        self.link.as_deref().filter(|_| opens)
    }

    /// Whether a request may go on: one of this machine for all pages, any other for those of links.
    fn may(&self, headers: &HeaderMap, path: &str) -> bool {
        let comes_in = is_forwarded(headers) || self.is_asked(headers);
        is_local(headers) || comes_in && self.of_link(path).is_some()
    }

    /// Whether a form comes from one of our own pages. A link's has the address that the link leads to as its origin,
    /// whatever a proxy has made of the `Host`.
    fn is_own(&self, headers: &HeaderMap, path: &str) -> bool {
        let is_link = self.of_link(path).is_some_and(|name| is_origin(headers, &name.origin));
        is_link || is_local(headers) && is_own_origin(headers)
    }

    /// Whether a request is made under the further name.
    fn is_asked(&self, headers: &HeaderMap) -> bool {
        let name = self.link.as_deref().zip(host_of(headers));
        name.is_some_and(|(name, host)| host.eq_ignore_ascii_case(&name.host))
    }
}

/// Lets a request through only if it speaks to this machine, or opens a link under the links' own name or through a
/// proxy; counts foreign forms, and adds the headers that every answer carries.
pub(super) async fn check(State((names, site)): State<(Names, Arc<Site>)>, request: Request, next: Next) -> Response {
    let (headers, path) = (request.headers(), request.uri().path());
    if !names.may(headers, path) {
        return if is_forwarded(headers) || names.is_asked(headers) { nothing_else() } else { elsewhere() };
    }
    if request.method() == Method::POST && !names.is_own(headers, path) {
        site.turned_away(Attempt::ForeignForm);
        return (StatusCode::FORBIDDEN, "this form was sent by another site\n").into_response();
    }
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    response
}

fn elsewhere() -> Response {
    (StatusCode::MISDIRECTED_REQUEST, "this dashboard answers on loopback names only\n").into_response()
}

/// Said to a person who followed a link and went on from there.
fn nothing_else() -> Response {
    let text = "Under this name, or through a proxy, only the links in messages open. The dashboard has no sign-in, so the \
                rest of it answers on its own machine alone.";
    (StatusCode::MISDIRECTED_REQUEST, page(render_link_message("Not from here", text))).into_response()
}

fn host_of(headers: &HeaderMap) -> Option<&str> {
    headers.get(HOST)?.to_str().ok()
}

/// Whether a proxy has passed the request on and says so (RFC 7239, RFC 9110, and what was in use before them).
fn is_forwarded(headers: &HeaderMap) -> bool {
    let tells = |name: &HeaderName| name.as_str().starts_with("x-forwarded-") || name == "x-real-ip";
    headers.contains_key(FORWARDED) || headers.contains_key(VIA) || headers.keys().any(tells)
}

/// Whether a request asks for a name of this machine, and no proxy says that it has passed it on.
fn is_local(headers: &HeaderMap) -> bool {
    let Some(host) = host_of(headers).filter(|_| !is_forwarded(headers)) else { return false };
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
        Some(_) | None => host,
    };
    is_loopback(name)
}

fn is_own_origin(headers: &HeaderMap) -> bool {
    host_of(headers).is_some_and(|host| is_origin(headers, &format!("http://{host}")))
}

/// A browser names the origin of a form; a command-line client does not, and needs the token all the same.
fn is_origin(headers: &HeaderMap, own: &str) -> bool {
    headers.get(ORIGIN).is_none_or(|origin| origin.to_str().is_ok_and(|origin| origin == own))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn headers(host: &str, origin: Option<&str>) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(HOST, host.parse().unwrap());
        if let Some(origin) = origin {
            headers.insert(ORIGIN, origin.parse().unwrap());
        }
        headers
    }

    #[test]
    fn only_loopback_names_are_answered() {
        for host in ["localhost:7870", "127.0.0.1:7870", "[::1]:7870", "localhost"] {
            assert!(is_local(&headers(host, None)), "{host}");
        }
        for host in ["printer.example:7870", "192.168.1.4:7870", "localhost.example", "127.0.0.1.example:80", ""] {
            assert!(!is_local(&headers(host, None)), "{host}");
        }
    }

    #[test]
    fn a_form_from_another_site_is_turned_away() {
        assert!(is_own_origin(&headers("localhost:7870", Some("http://localhost:7870"))));
        assert!(is_own_origin(&headers("localhost:7870", None)));
        assert!(!is_own_origin(&headers("localhost:7870", Some("http://elsewhere.example"))));
        assert!(!is_own_origin(&headers("localhost:7870", Some("null"))));
    }

    #[test]
    fn the_links_name_opens_the_links_pages_and_their_style_alone() {
        let links = Links::new("https://Bench.example:8443/", crate::links::LinkKey::new(&[7; 32], "one".to_owned()));
        let names = Names::of(Some(&links));
        let may = |host: &str, path: &str| names.may(&headers(host, None), path);
        for path in ["/alarms/link/a.b", "/style.css"] {
            assert!(may("bench.example:8443", path) && may("BENCH.example:8443", path), "{path}");
            assert!(!may("bench.example", path) && !may("other.example:8443", path), "{path}");
            assert!(!Names::of(None).may(&headers("bench.example:8443", None), path));
        }
        for path in ["/", "/alarms", "/alarms/4/acknowledge", "/alarms/link", "/prints", "/live", "/x/alarms/link/a.b"]
        {
            assert!(!may("bench.example:8443", path), "{path}");
        }
        // A proxy may have put a name of this machine into it.
        for host in ["bench.example:8443", "127.0.0.1:7870"] {
            let is_own = |origin| names.is_own(&headers(host, origin), "/alarms/link/a.b");
            assert!(is_own(Some("https://bench.example:8443")) && is_own(None));
            assert!(!is_own(Some("http://bench.example:8443")) && !is_own(Some("https://elsewhere.example")));
            let elsewhere = headers(host, Some("https://bench.example:8443"));
            assert!(!names.is_own(&elsewhere, "/alarms/4/acknowledge"));
        }
    }

    #[test]
    fn what_a_proxy_has_passed_on_is_not_local_whatever_its_host() {
        let links = Links::new("https://bench.example", crate::links::LinkKey::new(&[7; 32], "one".to_owned()));
        let (with, without) = (Names::of(Some(&links)), Names::of(None));
        for (name, value) in [
            ("forwarded", "for=192.0.2.4"),
            ("x-forwarded-for", "192.0.2.4"),
            ("X-Forwarded-Host", "bench.example"),
            ("x-forwarded-proto", ""),
            ("x-real-ip", "192.0.2.4"),
            ("via", "1.1 bench"),
        ] {
            let mut passed = headers("127.0.0.1:7870", None);
            assert!(with.may(&passed, "/") && without.may(&passed, "/alarms"));
            passed.insert(HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap());
            for path in ["/", "/alarms", "/live", "/alarms/4/acknowledge", "/prints/1/outcome"] {
                assert!(!with.may(&passed, path) && !without.may(&passed, path), "{name} {path}");
            }
            for path in ["/alarms/link/a.b", "/style.css"] {
                assert!(with.may(&passed, path) && !without.may(&passed, path), "{name} {path}");
            }
        }
    }
}
