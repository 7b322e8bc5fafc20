//! `Link` headers (RFC 8288) and sets of links (RFC 9264). Owns their syntax; knows nothing of which links are worth following.

use serde_json::Value;

/// One link.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Link {
    /// What it points at, as it stands there: often relative.
    pub(super) target: String,
    /// What it points from, if that is not the resource that came with the header.
    pub(super) anchor: Option<String>,
    /// The relations' names, in lower case: they are compared so (section 2.1).
    pub(super) rels: Vec<String>,
    /// The media type to expect.
    pub(super) media_type: Option<String>,
}

/// Every link of a header's value. What is not a link ends the reading: nothing after it can be trusted (appendix B.2).
pub(super) fn links(header: &str) -> Vec<Link> {
    let mut rest = Text(header);
    let mut links = Vec::new();
    loop {
        rest.skip(|c| c.is_ascii_whitespace() || c == ',');
        let Some(target) = rest.between_angles() else { return links };
        let mut link = Link { target, ..Link::default() };
        while let Some((name, value)) = rest.parameter() {
            take(&mut link, &name, value);
        }
        links.push(link);
        rest.skip(|c| c.is_ascii_whitespace());
        if !rest.0.starts_with(',') {
            return links;
        }
    }
}

/// Of a parameter that may stand once, the first counts (sections 3.2 to 3.4).
fn take(link: &mut Link, name: &str, value: String) {
    match name {
        "rel" if link.rels.is_empty() => {
            link.rels = value.split_ascii_whitespace().map(str::to_ascii_lowercase).collect();
        }
        "anchor" if link.anchor.is_none() => link.anchor = Some(value),
        "type" if link.media_type.is_none() => link.media_type = Some(value),
        _ => {}
    }
}

/// The links of a set of them as JSON (RFC 9264, section 4.2); `None` if the document is none.
pub(super) fn linkset(document: &Value) -> Option<Vec<Link>> {
    let contexts = document.as_object()?.get("linkset")?.as_array()?;
    let mut links = Vec::new();
    for context in contexts.iter().filter_map(Value::as_object) {
        let anchor = context.get("anchor").and_then(Value::as_str);
        for (rel, targets) in context {
            for target in targets.as_array().into_iter().flatten() {
                let text = |key: &str| target.get(key).and_then(Value::as_str).map(str::to_owned);
                let Some(href) = text("href") else { continue };
                links.push(Link {
                    target: href,
                    anchor: anchor.map(str::to_owned),
                    rels: vec![rel.to_ascii_lowercase()],
                    media_type: text("type"),
                });
            }
        }
    }
    Some(links)
}

/// What is left to read.
struct Text<'t>(&'t str);

impl Text<'_> {
    fn skip(&mut self, is_to_skip: impl Fn(char) -> bool) {
        self.0 = self.0.trim_start_matches(is_to_skip);
    }

    fn token(&mut self) -> String {
        let end = self.0.find(|c: char| c.is_ascii_whitespace() || "=;,".contains(c)).unwrap_or(self.0.len());
        let (token, rest) = self.0.split_at(end);
        self.0 = rest;
        token.to_owned()
    }

    fn between_angles(&mut self) -> Option<String> {
        let (target, rest) = self.0.strip_prefix('<')?.split_once('>')?;
        self.0 = rest;
        Some(target.trim().to_owned())
    }

    /// The next of a link's parameters; its name is in lower case, and a value that is not there is empty.
    fn parameter(&mut self) -> Option<(String, String)> {
        self.skip(|c| c.is_ascii_whitespace());
        self.0 = self.0.strip_prefix(';')?;
        self.skip(|c| c.is_ascii_whitespace() || c == ';');
        let name = self.token().to_ascii_lowercase();
        self.skip(|c| c.is_ascii_whitespace());
        let Some(rest) = self.0.strip_prefix('=') else { return Some((name, String::new())) };
        self.0 = rest;
        self.skip(|c| c.is_ascii_whitespace());
        let value = if self.0.starts_with('"') { self.quoted() } else { self.token() };
        Some((name, value))
    }

    /// A quoted string without its quotes and backslashes. One that never ends is taken to the end (appendix B.4).
    fn quoted(&mut self) -> String {
        let mut value = String::new();
        let mut is_escaped = false;
        for (at, c) in self.0.char_indices().skip(1) {
            match c {
                _ if is_escaped => {
                    value.push(c);
                    is_escaped = false;
                }
                '\\' => is_escaped = true,
                '"' => {
                    self.0 = self.0.get(at + 1..).unwrap_or_default();
                    return value;
                }
                c => value.push(c),
            }
        }
        self.0 = "";
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Target, relations, anchor.
    fn seen(header: &str) -> Vec<(String, Vec<String>, Option<String>)> {
        links(header).into_iter().map(|link| (link.target, link.rels, link.anchor)).collect()
    }

    fn one(target: &str, rels: &[&str], anchor: Option<&str>) -> (String, Vec<String>, Option<String>) {
        (target.to_owned(), rels.iter().map(|rel| (*rel).to_owned()).collect(), anchor.map(str::to_owned))
    }

    #[test]
    fn the_examples_of_rfc_8288_section_3_5_are_read_as_it_says() {
        let previous = one("http://example.com/TheBook/chapter2", &["previous"], None);
        assert_eq!(
            seen(r#"<http://example.com/TheBook/chapter2>; rel="previous"; title="previous chapter""#),
            [previous]
        );
        assert_eq!(seen(r#"</>; rel="http://example.net/foo""#), [one("/", &["http://example.net/foo"], None)]);
        let terms = one("/terms", &["copyright"], Some("#foo"));
        assert_eq!(seen(r##"</terms>; rel="copyright"; anchor="#foo""##), [terms]);
        let chapters = "</TheBook/chapter2>; rel=\"previous\"; title*=UTF-8'de'letztes%20Kapitel, \
                        </TheBook/chapter4>; rel=\"next\"; title*=UTF-8'de'n%c3%a4chstes%20Kapitel";
        assert_eq!(
            seen(chapters),
            [one("/TheBook/chapter2", &["previous"], None), one("/TheBook/chapter4", &["next"], None)]
        );
        assert_eq!(
            seen(r#"<http://example.org/>; rel="start http://example.net/relation/other""#),
            [one("http://example.org/", &["start", "http://example.net/relation/other"], None)]
        );
        assert_eq!(
            seen(r#"<https://example.org/>; rel="start", <https://example.org/index>; rel="index""#),
            [one("https://example.org/", &["start"], None), one("https://example.org/index", &["index"], None)]
        );
    }

    #[test]
    fn quotes_hold_commas_and_marks_and_only_the_first_relation_counts() {
        let header = r#" ,</a,b>;title="x, <y>; rel=\"no\"" ; REL = Item; rel=next;type="application/json" ,, <c>;rel"#;
        let found = links(header);
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!((found[0].target.as_str(), found[0].rels.as_slice()), ("/a,b", ["item".to_owned()].as_slice()));
        assert_eq!(found[0].media_type.as_deref(), Some("application/json"));
        assert_eq!(seen(header)[1], one("c", &[], None));
    }

    #[test]
    fn what_is_no_link_ends_the_reading_without_an_invented_one() {
        for header in ["", "no link", "<half", "; rel=item", "\"<a>; rel=item\""] {
            assert!(links(header).is_empty(), "{header}");
        }
        assert_eq!(seen("<a>; rel=item and <b>; rel=item").len(), 1);
        assert_eq!(seen("<a>; rel=\"item"), [one("a", &["item"], None)]);
    }
}
