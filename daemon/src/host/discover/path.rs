//! A path as text: JSON Pointer (RFC 6901) where every step is a key or a place, JSONPath (RFC 9535) where an item of a
//! list has a name of its own. Owns the escapes.

use super::leaf::{Step, Way};
use serde_json::Value;
use std::fmt::Write;

/// The path that a configuration would have.
pub(super) fn of(steps: &[Step]) -> String {
    if steps.iter().any(|step| matches!(step.way, Way::Named(..) | Way::Last)) {
        return steps.iter().fold("$".to_owned(), |path, step| path + &segment(&step.way));
    }
    let keys: Vec<String> = steps
        .iter()
        .map(|step| match &step.way {
            Way::Key(key) | Way::Named(key, _) => key.clone(),
            Way::Index(idx) => idx.to_string(),
            // Not reached: a JSON Pointer has no word for the last item.
            Way::Last => "-".to_owned(),
        })
        .collect();
    pointer(&keys)
}

/// The JSON Pointer of these reference tokens, unescaped.
pub(super) fn pointer(keys: &[String]) -> String {
    keys.iter().fold(String::new(), |path, key| path + "/" + &key.replace('~', "~0").replace('/', "~1"))
}

fn segment(way: &Way) -> String {
    match way {
        Way::Key(key) => member(key),
        Way::Index(idx) => format!("[{idx}]"),
        Way::Last => "[-1]".to_owned(),
        Way::Named(key, value) => format!("[?@{}=={}]", member(key), literal(value)),
    }
}

fn member(key: &str) -> String {
    let mut chars = key.chars();
    let begins = chars.next().is_some_and(|first| first.is_ascii_alphabetic() || first == '_');
    if begins && chars.all(|char| char.is_ascii_alphanumeric() || char == '_') {
        return format!(".{key}");
    }
    format!("[{}]", quoted(key))
}

fn literal(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), quoted)
}

fn quoted(text: &str) -> String {
    let mut quoted = String::from("'");
    for char in text.chars() {
        match char {
            '\'' | '\\' => quoted.extend(['\\', char]),
            char if char.is_control() && u32::from(char) < 0x20 => {
                // Writing into a string does not fail.
                if write!(quoted, "\\u{:04x}", u32::from(char)).is_err() {
                    return quoted;
                }
            }
            char => quoted.push(char),
        }
    }
    quoted + "'"
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use crate::host::Address;
    use crate::host::Selector;
    use crate::host::discover::leaf::leaves;
    use crate::host::discover::{Found, FoundDocument, Snapshot};
    use dwell_analysis::units::Seconds;
    use serde_json::json;

    /// Odd keys, odd names, and both kinds of path: each proposed path selects exactly its value.
    #[test]
    fn every_path_selects_the_value_that_it_was_made_from() {
        let document = json!({"a/b": {"tip~1": 1, "it's": [2, {"x": 3}]}, "":4, "list": [
            {"name": "le'ft \\ one", "now": 5, "deep": [6, 7]}, {"name": "right", "now": 8, "new\nline": 9}]});
        let found = Found {
            documents: vec![FoundDocument {
                name: "state".to_owned(),
                address: Address::parse("http://127.0.0.1:1/").unwrap(),
                origin: "given".to_owned(),
                hints: Vec::new(),
            }],
            ..Found::default()
        };
        let documents = vec![Some(document)];
        let leaves = leaves(&found, &[Snapshot { after: Seconds::new(0.0), documents: documents.clone() }]);
        assert!(leaves.len() >= 11, "{}", leaves.len());
        for leaf in leaves.iter().filter(|leaf| !leaf.is_container) {
            let selected = Selector::parse(&leaf.path).unwrap();
            let found = selected.one(documents[0].as_ref().unwrap()).unwrap();
            assert_eq!(found, leaf.values[0].as_ref().unwrap(), "{}", leaf.path);
        }
    }
}
