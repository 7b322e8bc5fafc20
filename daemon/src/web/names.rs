//! Under which names the dashboard answers, and which pages' forms it takes for its own. Owns both lists; knows no session.
//!
//! A page of another site can ask under a name of its own that its name server makes lead here (rebinding), so a name that
//! nobody configured is not answered. An address in figures is no such name.

use super::Site;
use super::came::{host_of, is_forwarded, is_in_figures, is_local, name_of};
use crate::access::WebAddress;
use crate::links::{LINK_PATH, is_loopback};
use axum::http::HeaderMap;
use axum::http::header::ORIGIN;

/// The names.
#[derive(Clone, Debug)]
pub(super) struct Names {
    /// What the links in messages lead to.
    link: Option<WebAddress>,
    /// Further ones; none of them counts while nobody can sign in.
    own: Vec<WebAddress>,
    signs_in: bool,
}

impl Names {
    pub(super) fn of(site: &Site) -> Self {
        let link = site.links.as_ref().and_then(|links| WebAddress::parse(links.base()));
        let access = site.gate.access();
        Self { link, own: access.addresses.clone(), signs_in: access.opens() }
    }

    /// What the links' name opens for anybody.
    pub(super) fn is_of_link(path: &str) -> bool {
        path.starts_with(LINK_PATH) || path == "/style.css"
    }

    /// Whether a request is answered at all. Without a sign-in, one of this machine is for all pages, and one under the
    /// links' name, or that a proxy passed on, for those of links.
    pub(super) fn answer(&self, headers: &HeaderMap, path: &str) -> bool {
        if self.signs_in {
            let host = host_of(headers);
            let is_ours = |host: &str| is_loopback(name_of(host)) || is_in_figures(host) || self.has(host);
            return host.is_some_and(is_ours);
        }
        let comes_in = is_forwarded(headers) || self.is_links(headers);
        is_local(headers) || comes_in && self.link.is_some() && Self::is_of_link(path)
    }

    fn has(&self, host: &str) -> bool {
        self.own.iter().chain(&self.link).any(|address| address.host().eq_ignore_ascii_case(host))
    }

    /// Whether a request is made under the links' name.
    pub(super) fn is_links(&self, headers: &HeaderMap) -> bool {
        let name = self.link.as_ref().zip(host_of(headers));
        name.is_some_and(|(link, host)| host.eq_ignore_ascii_case(link.host()))
    }

    /// Whether what acts comes from one of our own pages, as far as the browser says: a command-line client names no
    /// origin, and needs the token all the same. A name may be another program's too, on another port, so the whole origin
    /// has to be ours, whatever a proxy has made of the `Host`.
    pub(super) fn is_own(&self, headers: &HeaderMap, path: &str) -> bool {
        // Fetch Metadata: "none" is what a person typed.
        let site = headers.get("sec-fetch-site").map(|site| matches!(site.as_bytes(), b"same-origin" | b"none"));
        site.unwrap_or(true)
            && headers
                .get(ORIGIN)
                .is_none_or(|origin| origin.to_str().is_ok_and(|origin| self.is_origin(origin, headers, path)))
    }

    fn is_origin(&self, origin: &str, headers: &HeaderMap, path: &str) -> bool {
        let links = self.link.as_ref().filter(|_| self.signs_in || Self::is_of_link(path));
        let own = self.own.iter().filter(|_| self.signs_in);
        if own.chain(links).any(|address| address.origin() == origin) {
            return true;
        }
        // Of a name only what was configured is known to be ours; addresses in figures carry their scheme themselves.
        let host = host_of(headers).filter(|host| is_loopback(name_of(host)) || self.signs_in && is_in_figures(host));
        host.is_some_and(|host| {
            let is_tls = || self.signs_in && is_forwarded(headers) && origin == format!("https://{host}");
            origin == format!("http://{host}") && (self.signs_in || is_local(headers)) || is_tls()
        })
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn names(own: &[&str], link: Option<&str>, signs_in: bool) -> Names {
        let parse = |text: &str| WebAddress::parse(text).unwrap();
        Names { link: link.map(parse), own: own.iter().map(|text| parse(text)).collect(), signs_in }
    }

    fn headers(fields: &[(&'static str, &str)]) -> HeaderMap {
        fields
            .iter()
            .map(|(name, value)| ((*name).parse::<axum::http::HeaderName>().unwrap(), value.parse().unwrap()))
            .collect()
    }

    #[test]
    fn without_a_sign_in_the_links_name_opens_the_links_pages_and_their_style_alone() {
        let names = names(&[], Some("https://Bench.example:8443/"), false);
        let may = |host: &str, path: &str| names.answer(&headers(&[("host", host)]), path);
        for path in ["/alarms/link/a.b", "/style.css"] {
            assert!(may("bench.example:8443", path) && may("BENCH.example:8443", path), "{path}");
            assert!(!may("bench.example", path) && !may("other.example:8443", path), "{path}");
        }
        for path in ["/", "/alarms", "/alarms/4/acknowledge", "/alarms/link", "/prints", "/live", "/x/alarms/link/a.b"]
        {
            assert!(!may("bench.example:8443", path), "{path}");
        }
        // A proxy may have put a name of this machine into it.
        for host in ["bench.example:8443", "127.0.0.1:7870"] {
            let is_own = |origin: &str, path| names.is_own(&headers(&[("host", host), ("origin", origin)]), path);
            let link = "/alarms/link/a.b";
            assert!(is_own("https://bench.example:8443", link) && !is_own("https://bench.example:8443", "/alarms/4/x"));
            assert!(!is_own("http://bench.example:8443", link) && !is_own("https://elsewhere.example", link));
        }
    }

    #[test]
    fn without_a_sign_in_what_a_proxy_has_passed_on_is_not_local_whatever_its_host() {
        let (with, without) = (names(&[], Some("https://bench.example"), false), names(&[], None, false));
        for (name, value) in [
            ("forwarded", "for=192.0.2.4"),
            ("x-forwarded-for", "192.0.2.4"),
            ("x-forwarded-host", "bench.example"),
            ("x-forwarded-proto", ""),
            ("x-real-ip", "192.0.2.4"),
            ("via", "1.1 bench"),
        ] {
            let host = ("host", "127.0.0.1:7870");
            assert!(with.answer(&headers(&[host]), "/") && without.answer(&headers(&[host]), "/alarms"));
            let passed = headers(&[host, (name, value)]);
            for path in ["/", "/alarms", "/live", "/alarms/4/acknowledge", "/prints/1/outcome"] {
                assert!(!with.answer(&passed, path) && !without.answer(&passed, path), "{name} {path}");
            }
            for path in ["/alarms/link/a.b", "/style.css"] {
                assert!(with.answer(&passed, path) && !without.answer(&passed, path), "{name} {path}");
            }
        }
    }

    #[test]
    fn with_a_sign_in_a_name_that_nobody_configured_is_not_answered() {
        let names = names(&["http://gull.example:7870"], Some("https://bench.example"), true);
        for host in
            ["gull.example:7870", "GULL.example:7870", "bench.example", "192.0.2.2:7870", "[fd00::2]:7870", "localhost"]
        {
            assert!(names.answer(&headers(&[("host", host)]), "/"), "{host}");
        }
        for host in ["gull.example", "elsewhere.example:7870", "192.0.2.2.example", "gull.example:7870.example", ""] {
            assert!(!names.answer(&headers(&[("host", host)]), "/"), "{host}");
        }
        assert!(!names.answer(&HeaderMap::new(), "/"));
    }

    #[test]
    fn a_form_is_ours_only_from_the_whole_origin() {
        let signed = names(&["http://gull.example:7870"], Some("https://bench.example"), true);
        let plain = names(&[], None, false);
        let is_own =
            |names: &Names, fields: &[(&'static str, &str)]| names.is_own(&headers(fields), "/prints/1/outcome");
        for (host, origin, ours) in [
            ("gull.example:7870", "http://gull.example:7870", true),
            ("gull.example:7870", "http://gull.example:8080", false),
            ("gull.example:7870", "https://gull.example:7870", false),
            ("127.0.0.1:7870", "https://bench.example", true),
            ("192.0.2.2:7870", "http://192.0.2.2:7870", true),
            ("192.0.2.2:7870", "http://192.0.2.2", false),
            ("localhost:7870", "http://localhost:7870", true),
            ("localhost:7870", "null", false),
        ] {
            assert_eq!(is_own(&signed, &[("host", host), ("origin", origin)]), ours, "{host} {origin}");
        }
        assert!(is_own(&plain, &[("host", "localhost:7870"), ("origin", "http://localhost:7870")]));
        assert!(is_own(&plain, &[("host", "localhost:7870")]));
        for origin in ["http://elsewhere.example", "null", "https://localhost:7870", "http://192.0.2.2:7870"] {
            assert!(!is_own(&plain, &[("host", "localhost:7870"), ("origin", origin)]), "{origin}");
        }
        for (site, ours) in [("same-origin", true), ("none", true), ("same-site", false), ("cross-site", false)] {
            assert_eq!(is_own(&plain, &[("host", "localhost:7870"), ("sec-fetch-site", site)]), ours, "{site}");
        }
        let tls = |forwarded: &'static str| {
            is_own(&signed, &[("host", "192.0.2.2"), ("origin", "https://192.0.2.2"), (forwarded, "https")])
        };
        assert!(tls("x-forwarded-proto") && !tls("accept"));
    }
}
