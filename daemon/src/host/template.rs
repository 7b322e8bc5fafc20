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

    /// The address of that job's file.
    ///
    /// # Errors
    /// When the name makes none on the same host and under the template's path.
    pub fn address(&self, name: &str) -> Result<Address, NameFault> {
        let expanded = expanded(name, self.is_reserved);
        if expanded.is_empty() {
            return Err(NameFault::Empty);
        }
        let text = format!("{}{expanded}{}", self.before, self.after);
        // The path with what the template has around the name: its own dots and the name's together may make a segment.
        let path = text.split(['?', '#']).next().unwrap_or_default();
        let leads_up = |text: &str| text.split(['/', '\\']).any(is_dots);
        if leads_up(path) || leads_up(&expanded) || leads_up(name) {
            return Err(NameFault::Dots(name.to_owned()));
        }
        let address = Address::parse(&text).ok().filter(|address| address.origin() == self.origin);
        address.ok_or_else(|| NameFault::Address(name.to_owned()))
    }
}

/// Why a job's name makes no address.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameFault {
    /// Nothing would stand where the name has its place.
    #[error("the job's name is empty, it needs to have a character at least")]
    Empty,
    /// It would lead to another folder.
    #[error("the job's name {0:?} has a part `.` or `..`, it needs to have plain names between its slashes")]
    Dots(String),
    /// What it makes is no address of that host.
    #[error("the job's name {0:?} makes no address on the host, it needs to be a path on it")]
    Address(String),
}

/// Whether a part of a path is `.` or `..`, also with its dots percent-encoded: whoever reads the address takes them for
/// the same (WHATWG URL, 4.5).
fn is_dots(part: &str) -> bool {
    matches!(part.to_ascii_lowercase().replace("%2e", ".").as_str(), "." | "..")
}

/// RFC 6570, sections 3.2.1 to 3.2.3: what is not unreserved (or reserved, if that is allowed) is percent-encoded, byte by
/// byte of UTF-8. A percent-encoded byte of the name stays one in the reserved expansion. `?` and `#` are encoded even
/// there, unlike in the RFC: they would end the path, and the rest of the name with it.
fn expanded(name: &str, is_reserved: bool) -> String {
    const UNRESERVED: &[u8] = b"-._~";
    const RESERVED: &[u8] = b":/[]@!$&'()*+,;=";
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
    fn a_name_stays_where_the_template_has_its_place() {
        let reserved = AddressTemplate::parse("http://127.0.0.1:9/sheets/{+name}/whole").unwrap();
        let simple = AddressTemplate::parse("http://127.0.0.1:9/sheets/{name}").unwrap();
        let address = reserved.address("boxes/no#2?.gcode").unwrap();
        assert_eq!(address.as_str(), "http://127.0.0.1:9/sheets/boxes/no%232%3F.gcode/whole");
        for template in [&reserved, &simple] {
            for name in [".", "..", "../x", "a/../../x", "a/./b", "%2e%2E/x", "a\\..\\b"] {
                let fault = template.address(name).unwrap_err();
                assert!(matches!(&fault, NameFault::Dots(told) if told == name), "{name}: {fault}");
            }
            assert_eq!(template.address(""), Err(NameFault::Empty));
        }
        let beside = AddressTemplate::parse("http://127.0.0.1:9/.{name}/x").unwrap();
        assert!(beside.address(".").is_err());
        assert!(simple.address("...gcode").is_ok() && reserved.address("a..b/c.").is_ok());
    }

    #[test]
    fn a_name_leads_to_no_other_host_and_a_template_has_it_once() {
        let template = AddressTemplate::parse("http://127.0.0.1:9/{+name}").unwrap();
        for name in ["//other.example/x", "@other.example/x"] {
            assert!(template.address(name).is_ok_and(|address| address.origin() == "http://127.0.0.1:9"), "{name}");
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
