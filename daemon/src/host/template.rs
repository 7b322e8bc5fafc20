//! Where the host keeps its jobs' files: an address with a place for the job's name. Of RFC 6570 it has the simple and
//! the reserved expansion of one variable, `name`, and nothing else. Owns that a name leads to no other host.

use super::address::{Address, AddressFault};
use std::fmt;

/// An address with one `{name}` or `{+name}`.
#[derive(Clone, PartialEq, Eq)]
pub struct AddressTemplate {
    before: String,
    after: String,
    /// `{+name}`: what has a meaning in an address keeps it.
    is_reserved: bool,
    origin: String,
}

/// Why a text is no such address.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TemplateFault {
    /// It names the job nowhere, twice, or asks for something else.
    #[error("has {0}, needs to have {{name}} or {{+name}} once and no other braces")]
    Expression(String),
    /// The name would choose the host.
    #[error("has the name in its host or port, where it would choose whom to ask")]
    Host,
    /// It is no address with a name in it.
    #[error(transparent)]
    Address(#[from] AddressFault),
}

impl AddressTemplate {
    /// Reads a template.
    ///
    /// # Errors
    /// When it is none, or is no address with any name in it.
    pub fn parse(text: &str) -> Result<Self, TemplateFault> {
        let found = [("{name}", false), ("{+name}", true)];
        let places: Vec<(&str, &str, bool)> = found
            .into_iter()
            .filter_map(|(place, is_reserved)| {
                text.split_once(place).map(|(before, after)| (before, after, is_reserved))
            })
            .collect();
        let has_brace = |part: &str| part.contains(['{', '}']);
        let (before, after, is_reserved) = match places.as_slice() {
            [(before, after, is_reserved)] if !has_brace(before) && !has_brace(after) => {
                (*before, *after, *is_reserved)
            }
            [] if !has_brace(text) => return Err(TemplateFault::Expression("no braces".to_owned())),
            _ => return Err(TemplateFault::Expression("other or more braces".to_owned())),
        };
        let with = |name: &str| Address::parse(&format!("{before}{name}{after}"));
        let origin = with("a")?.origin();
        // A name that would change the host if it stood there.
        let is_safe = ["b", "1"].iter().all(|name| with(name).is_ok_and(|other| other.origin() == origin));
        if !is_safe || !before.split_once("://").is_some_and(|(_, rest)| rest.contains(['/', '?'])) {
            return Err(TemplateFault::Host);
        }
        Ok(Self { before: before.to_owned(), after: after.to_owned(), is_reserved, origin })
    }

    /// The address of that job's file; `None` if the name makes none on the same host.
    #[must_use]
    pub fn address(&self, name: &str) -> Option<Address> {
        let text = format!("{}{}{}", self.before, expanded(name, self.is_reserved), self.after);
        Address::parse(&text).ok().filter(|address| address.origin() == self.origin)
    }
}

/// RFC 6570, sections 3.2.1 to 3.2.3: what is not unreserved (or reserved, if that is allowed) is percent-encoded, byte by
/// byte of UTF-8. A percent-encoded byte of the name stays one in the reserved expansion.
fn expanded(name: &str, is_reserved: bool) -> String {
    const UNRESERVED: &[u8] = b"-._~";
    const RESERVED: &[u8] = b":/?#[]@!$&'()*+,;=";
    let bytes = name.as_bytes();
    let mut text = String::with_capacity(bytes.len());
    for (idx, byte) in bytes.iter().enumerate() {
        let is_plain = byte.is_ascii_alphanumeric() || UNRESERVED.contains(byte);
        let is_triplet = || {
            let digits = bytes.get(idx + 1..idx + 3);
            *byte == b'%' && digits.is_some_and(|digits| digits.iter().all(u8::is_ascii_hexdigit))
        };
        if is_plain || is_reserved && (RESERVED.contains(byte) || is_triplet()) {
            text.push(char::from(*byte));
        } else {
            text.push('%');
            text.extend(
                [byte >> 4, byte & 15]
                    .map(|digit| char::from_digit(u32::from(digit), 16).unwrap_or('0'))
                    .map(|digit| digit.to_ascii_uppercase()),
            );
        }
    }
    text
}

impl fmt::Debug for AddressTemplate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // What comes after the host may hold a key.
        write!(f, "{}/••••", self.origin)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// The values of RFC 6570, section 3.2: `hello` is "Hello World!", `path` is "/foo/bar", `half` is "50%".
    #[test]
    fn names_are_expanded_as_rfc_6570_has_it() {
        for (name, simple, reserved) in [
            ("Hello World!", "Hello%20World%21", "Hello%20World!"),
            ("/foo/bar", "%2Ffoo%2Fbar", "/foo/bar"),
            ("50%", "50%25", "50%25"),
            ("50%20", "50%2520", "50%20"),
            ("größe", "gr%C3%B6%C3%9Fe", "gr%C3%B6%C3%9Fe"),
        ] {
            assert_eq!((expanded(name, false).as_str(), expanded(name, true).as_str()), (simple, reserved));
        }
        let template = AddressTemplate::parse("http://127.0.0.1:9/sheets/{name}?whole=1").unwrap();
        let address = template.address("night lantern.gcode").unwrap();
        assert_eq!(address.as_str(), "http://127.0.0.1:9/sheets/night%20lantern.gcode?whole=1");
    }

    #[test]
    fn a_name_leads_to_no_other_host_and_a_template_has_it_once() {
        let template = AddressTemplate::parse("http://127.0.0.1:9/{+name}").unwrap();
        for name in ["//other.example/x", "../../x", "@other.example/x"] {
            assert!(template.address(name).is_none_or(|address| address.origin() == "http://127.0.0.1:9"), "{name}");
        }
        for text in [
            "http://127.0.0.1:9/sheets",
            "http://127.0.0.1:9/{name}/{name}",
            "http://127.0.0.1:9/{name}/{+name}",
            "http://127.0.0.1:9/{id}/{name}",
            "http://127.0.0.1:9/{name*}",
        ] {
            assert!(matches!(AddressTemplate::parse(text), Err(TemplateFault::Expression(_))), "{text}");
        }
        for text in
            ["http://{name}/", "http://127.0.0.1{+name}", "http://h.example:9{name}/x", "http://h.{name}.example/"]
        {
            assert!(AddressTemplate::parse(text).is_err(), "{text}");
        }
        let fault = AddressTemplate::parse("ftp://127.0.0.1/{name}").unwrap_err();
        assert!(matches!(fault, TemplateFault::Address(_)), "{fault}");
    }
}
