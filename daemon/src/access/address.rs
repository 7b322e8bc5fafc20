//! An address that the dashboard is reached under by a name. Owns how it stands in a request's headers.

/// Scheme, name and port, as a browser's address line has them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebAddress {
    host: String,
    origin: String,
}

impl WebAddress {
    /// Reads one such as `https://bench.example:8443`; a path, which `Host` and `Origin` do not have, is passed over.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let url = reqwest::Url::parse(text).ok().filter(|url| matches!(url.scheme(), "http" | "https"))?;
        let port = url.port().map_or_else(String::new, |port| format!(":{port}"));
        Some(Self { host: format!("{}{port}", url.host_str()?), origin: url.origin().ascii_serialization() })
    }

    /// As `Host` has it: with a port where it is not the scheme's own.
    #[must_use]
    pub fn host(&self) -> &str {
        &self.host
    }

    /// As `Origin` has it.
    #[must_use]
    pub fn origin(&self) -> &str {
        &self.origin
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn an_address_stands_in_headers_as_browsers_write_it() {
        for (text, host, origin) in [
            ("https://Bench.example/dwell/", "bench.example", "https://bench.example"),
            ("https://bench.example:443", "bench.example", "https://bench.example"),
            ("http://bench.example:7870", "bench.example:7870", "http://bench.example:7870"),
            ("http://[fd00::2]:80", "[fd00::2]", "http://[fd00::2]"),
        ] {
            let address = WebAddress::parse(text).unwrap();
            assert_eq!((address.host(), address.origin()), (host, origin));
        }
        for text in ["bench.example:7870", "ftp://bench.example", "https://", "/alarms"] {
            assert_eq!(WebAddress::parse(text), None, "{text}");
        }
    }
}
