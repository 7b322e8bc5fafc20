//! Who may ask the dashboard for what. Owns the checks that stand before every route; knows no page.
//!
//! The dashboard listens on loopback and has no sign-in. What must be kept out are pages of other sites that a
//! browser on this machine has open: they could ask under a name of their own that resolves here (so the `Host` is
//! checked), or post a form here (so a post carries a token that only our pages show, and no foreign `Origin`).

use super::Site;
use super::attempts::Attempt;
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, HOST, ORIGIN, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
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

/// Lets a request through only if it speaks to this machine, counts foreign forms, and adds the headers that every answer
/// carries.
pub(super) async fn check(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    if !is_local(headers) {
        return (StatusCode::MISDIRECTED_REQUEST, "this dashboard answers on loopback names only\n").into_response();
    }
    if request.method() == Method::POST && !is_own_origin(headers) {
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

fn host_of(headers: &HeaderMap) -> Option<&str> {
    headers.get(HOST)?.to_str().ok()
}

fn is_local(headers: &HeaderMap) -> bool {
    let Some(host) = host_of(headers) else { return false };
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
        Some(_) | None => host,
    };
    name == "localhost" || name == "[::1]" || name.parse::<std::net::Ipv4Addr>().is_ok_and(|ip| ip.is_loopback())
}

/// A browser names the origin of a form; a command-line client does not, and needs the token all the same.
fn is_own_origin(headers: &HeaderMap) -> bool {
    let Some(origin) = headers.get(ORIGIN) else { return true };
    let own = host_of(headers).map(|host| format!("http://{host}"));
    origin.to_str().ok().map(str::to_owned) == own
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
}
