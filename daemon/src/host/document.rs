//! The bytes of an answer as a document. Owns what makes them unfit, and that a key which stands twice tells nothing:
//! which of its values is meant can't be known. Knows nothing of what the document is about.

use serde::de::{DeserializeSeed, MapAccess, SeqAccess, Visitor};
use serde_json::map::Entry;
use serde_json::{Map, Number, Value};
use std::fmt;

/// How deep lists and objects may stand in each other: the parser's own bound, which keeps the stack.
pub const DEPTH_MAX: usize = 127;

/// Keys that stand twice are named up to this many; a person who repairs one finds the next.
const DOUBLED_MAX: usize = 16;

/// The longest name of such a key, in bytes: keys come from the host, and are as long as it likes.
const POINTER_BYTES_MAX: usize = 200;

/// RFC 8259, section 8.1: none should be sent, and one may be skipped.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// A document.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// The document, without the keys that stand twice.
    pub value: Value,
    /// JSON Pointer of each key that stands twice in its object, at most 16 of them, long ones cut.
    pub doubled: Vec<String>,
}

/// Why bytes are no document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BodyFault {
    /// There are none, or blanks alone.
    #[error("answer is empty, needs to be JSON")]
    Empty,
    /// They are no text.
    #[error("answer is not UTF-8 at byte {0}")]
    NotUtf8(usize),
    /// Lists and objects stand too deep in each other.
    #[error("answer is nested deeper than {DEPTH_MAX} levels")]
    TooDeep,
    /// A number is beyond double precision.
    #[error("answer has a number out of range at line {line} column {column}")]
    NumberOutOfRange {
        /// From 1.
        line: usize,
        /// From 1, in bytes.
        column: usize,
    },
    /// They are no JSON.
    #[error("answer is not JSON: {0}")]
    NotJson(String),
}

/// Reads a document.
///
/// # Errors
/// When the bytes are none.
pub(super) fn parse(bytes: &[u8]) -> Result<Body, BodyFault> {
    let text = bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes);
    let skipped = bytes.len() - text.len();
    let text = std::str::from_utf8(text).map_err(|error| BodyFault::NotUtf8(skipped + error.valid_up_to()))?;
    if text.trim_ascii().is_empty() {
        return Err(BodyFault::Empty);
    }
    let mut doubled = Vec::new();
    let mut json = serde_json::Deserializer::from_str(text);
    let value = Seed { place: &Place::Whole, doubled: &mut doubled }.deserialize(&mut json);
    let value = value.and_then(|value| json.end().map(|()| value)).map_err(|error| fault(&error))?;
    Ok(Body { value, doubled })
}

/// The parser tells its causes as texts alone.
fn fault(error: &serde_json::Error) -> BodyFault {
    let text = error.to_string();
    if text.starts_with("recursion limit exceeded") {
        return BodyFault::TooDeep;
    }
    if text.starts_with("number out of range") {
        return BodyFault::NumberOutOfRange { line: error.line(), column: error.column() };
    }
    BodyFault::NotJson(text)
}

/// Where in the document a value stands; kept on the stack, and written out only when a key stands twice.
enum Place<'p> {
    Whole,
    Key(&'p Place<'p>, &'p str),
    Item(&'p Place<'p>, usize),
}

impl Place<'_> {
    /// Appends the JSON Pointer (RFC 6901), cut when it is long.
    fn write(&self, pointer: &mut String) {
        match self {
            Self::Whole => {}
            Self::Key(parent, key) => {
                parent.write(pointer);
                push(pointer, '/');
                for letter in key.chars().take(POINTER_BYTES_MAX) {
                    match letter {
                        '~' => "~0".chars().for_each(|letter| push(pointer, letter)),
                        '/' => "~1".chars().for_each(|letter| push(pointer, letter)),
                        letter => push(pointer, letter),
                    }
                }
            }
            Self::Item(parent, idx) => {
                parent.write(pointer);
                format!("/{idx}").chars().for_each(|letter| push(pointer, letter));
            }
        }
    }
}

fn push(pointer: &mut String, letter: char) {
    if pointer.len() + letter.len_utf8() <= POINTER_BYTES_MAX {
        pointer.push(letter);
    }
}

/// Reads one value at its place.
struct Seed<'s> {
    place: &'s Place<'s>,
    doubled: &'s mut Vec<String>,
}

impl<'de> DeserializeSeed<'de> for Seed<'_> {
    type Value = Value;

    fn deserialize<D: serde::Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Seed<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("number out of range"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let Self { place, doubled } = self;
        let mut list = Vec::new();
        while let Some(item) = items.next_element_seed(Seed { place: &Place::Item(place, list.len()), doubled })? {
            list.push(item);
        }
        Ok(Value::Array(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Value, A::Error> {
        let Self { place, doubled } = self;
        let mut object = Map::new();
        let mut twice: Vec<String> = Vec::new();
        while let Some(key) = entries.next_key::<String>()? {
            let value = entries.next_value_seed(Seed { place: &Place::Key(place, &key), doubled })?;
            match object.entry(key) {
                Entry::Vacant(free) => drop(free.insert(value)),
                Entry::Occupied(taken) => twice.push(taken.key().clone()),
            }
        }
        // Taken out at the end alone, so that a third value does not find its key free again.
        for key in twice {
            if object.remove(&key).is_some() && doubled.len() < DOUBLED_MAX {
                let mut pointer = String::new();
                Place::Key(place, &key).write(&mut pointer);
                doubled.push(pointer);
            }
        }
        Ok(Value::Object(object))
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use serde_json::json;

    fn refused(bytes: &[u8]) -> String {
        parse(bytes).unwrap_err().to_string()
    }

    #[test]
    fn a_document_without_a_key_twice_is_the_one_that_the_parser_makes() {
        let text = r#" {"a":[1,-2,3.5,1e3,true,null,{"b":"\u00e4\n"}],"":{},"~/":[[]],"n":18446744073709551615} "#;
        let body = parse(text.as_bytes()).unwrap();
        assert_eq!(body, Body { value: serde_json::from_str(text).unwrap(), doubled: Vec::new() });
        assert_eq!(parse(b"\xef\xbb\xbf{\"a\":1}").unwrap().value, json!({ "a": 1 }));
    }

    #[test]
    fn a_key_that_stands_twice_or_thrice_is_left_out_with_all_its_values() {
        let text =
            r#"{"left":{"now":210,"want":215,"now":21},"x":[0,{"a/b~":1,"a/b~":1,"a/b~":2}],"y":1,"y":{"z":1,"z":2}}"#;
        let body = parse(text.as_bytes()).unwrap();
        assert_eq!(body.value, json!({ "left": { "want": 215 }, "x": [0, {}] }));
        assert_eq!(body.doubled, ["/left/now", "/x/1/a~1b~0", "/y/z", "/y"]);
        // Written in two ways it is the same key.
        assert_eq!(parse(br#"{"a":1,"\u0061":2}"#).unwrap().value, json!({}));
    }

    #[test]
    fn names_of_doubled_keys_stay_few_and_short_however_many_and_long_they_are() {
        let key = "k".repeat(100_000);
        let many = (0..1000).map(|n| format!("\"{n}\":1,\"{n}\":2")).collect::<Vec<_>>().join(",");
        let body = parse(format!("{{\"{key}\":{{{many}}}}}").as_bytes()).unwrap();
        assert_eq!(body.value, json!({ key: {} }));
        assert_eq!(body.doubled.len(), DOUBLED_MAX);
        assert!(body.doubled.iter().all(|pointer| pointer.len() <= POINTER_BYTES_MAX));
    }

    #[test]
    fn each_kind_of_unfit_bytes_has_its_own_line() {
        assert_eq!(refused(b""), "answer is empty, needs to be JSON");
        assert_eq!(refused(b"\xef\xbb\xbf \r\n"), "answer is empty, needs to be JSON");
        assert_eq!(refused(b"{\"a\":\"\xff\"}"), "answer is not UTF-8 at byte 6");
        assert_eq!(refused(b"\xef\xbb\xbf\"\xe2\x82"), "answer is not UTF-8 at byte 4");
        assert_eq!(refused(b"{\n\"a\": 1e400}"), "answer has a number out of range at line 2 column 10");
        assert_eq!(refused(b"{\"a\": NaN}"), "answer is not JSON: expected value at line 1 column 7");
        assert_eq!(refused(b"{\"a\": 1"), "answer is not JSON: EOF while parsing an object at line 1 column 7");
        assert_eq!(refused(b"{} {}"), "answer is not JSON: trailing characters at line 1 column 4");
    }

    #[test]
    fn nesting_is_taken_up_to_the_bound_and_refused_beyond_without_harm_to_the_stack() {
        let nested = |depth: usize| [vec![b'['; depth], vec![b']'; depth]].concat();
        assert!(parse(&nested(DEPTH_MAX)).is_ok());
        for depth in [DEPTH_MAX + 1, 100_000] {
            assert_eq!(refused(&nested(depth)), "answer is nested deeper than 127 levels");
        }
        assert_eq!(parse("{\"a\":".repeat(100_000).as_bytes()), Err(BodyFault::TooDeep));
    }
}
