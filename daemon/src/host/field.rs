//! One value of one document, as it stands there: a word, a name, an instant. Owns what makes a value unfit; numbers
//! and what is made of them are [`super::number`]'s. Knows nothing of printers.

use super::selector::{Paths, Selector};
use crate::stamp;
use dwell_analysis::time::Timestamp;
use serde_json::{Number, Value};
use std::collections::BTreeMap;

/// Where a value stands.
#[derive(Clone, Debug)]
pub struct Field {
    /// Index of the document among the printer's documents.
    pub document: usize,
    /// Where in it.
    pub paths: Paths,
}

/// Where a name stands.
#[derive(Clone, Debug)]
pub struct NameField {
    /// Where.
    pub field: Field,
    /// What the host's words stand for; an empty text is no name.
    pub words: BTreeMap<String, String>,
}

/// Where the host tells the time of its values.
#[derive(Clone, Debug)]
pub struct TimeField {
    /// Where.
    pub field: Field,
    /// How it is written.
    pub form: TimeForm,
}

/// A way to write an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeForm {
    /// A text, RFC 3339.
    Rfc3339,
    /// Seconds since 1970-01-01 UTC, with a fraction or without.
    UnixSeconds,
    /// Milliseconds since 1970-01-01 UTC.
    UnixMilliseconds,
}

/// Why a field has no value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Missing {
    /// Its document did not come.
    #[error("its document did not come")]
    NoDocument,
    /// The path selects nothing.
    #[error("nothing is there")]
    NothingThere,
    /// The path selects several values.
    #[error("selects {0} values, needs to select one")]
    Several(usize),
    /// The value is null.
    #[error("is null")]
    Null,
    /// The value is an empty text.
    #[error("is empty")]
    Empty,
    /// The value stands for none, says the configuration.
    #[error("stands for none")]
    StandsForNone,
    /// The value is not of the kind needed.
    #[error("is {found}, needs to be {right}")]
    Kind {
        /// What it is.
        found: &'static str,
        /// What it needs to be.
        right: &'static str,
    },
    /// The value is a word, and not one that is understood.
    #[error("is {word:?}, needs to be {right}")]
    Word {
        /// The word, cut to a line's length.
        word: String,
        /// What it needs to be.
        right: String,
    },
    /// The value is of the right kind and can't be true.
    #[error("comes to {}, needs to be {right}", compact(*found))]
    Senseless {
        /// The value after scale and unit.
        found: f64,
        /// The range of sense.
        right: &'static str,
    },
    /// The whole that the value is a part of is missing.
    #[error("its whole at {path}: {why}")]
    Whole {
        /// Where the whole was looked for.
        path: String,
        /// Why it is missing.
        why: Box<Missing>,
    },
}

/// The longest piece of a word that is shown.
const WORD_CHARS_MAX: usize = 60;

/// 2200-01-01T00:00:00Z. A later instant is another unit's number, an earlier one than 1970 no clock's.
const MS_MAX: f64 = 7_258_118_400_000.0;

/// A number in a line's length: a host may send hundreds of digits.
fn compact(number: f64) -> String {
    if number.abs() < 1e12 { number.to_string() } else { format!("{number:e}") }
}

impl Missing {
    /// A word that is not understood.
    pub(super) fn word(word: &str, right: impl Into<String>) -> Self {
        Self::Word { word: word.chars().take(WORD_CHARS_MAX).collect(), right: right.into() }
    }
}

impl Field {
    /// The value itself, not null, and where in its document it stands.
    pub(super) fn found<'v>(&self, documents: &'v [Option<Value>]) -> Result<(&Selector, &'v Value), Missing> {
        self.paths.one(self.document(documents)?)
    }

    /// The document that the value stands in.
    pub(super) fn document<'v>(&self, documents: &'v [Option<Value>]) -> Result<&'v Value, Missing> {
        documents.get(self.document).and_then(Option::as_ref).ok_or(Missing::NoDocument)
    }

    /// Where the value that counts stands, else every place where it was looked for.
    pub(super) fn place(&self, documents: &[Option<Value>]) -> String {
        self.found(documents).map_or_else(|_| self.paths.to_string(), |(path, _)| path.to_string())
    }

    /// The value itself, not null.
    pub(super) fn value<'v>(&self, documents: &'v [Option<Value>]) -> Result<&'v Value, Missing> {
        self.found(documents).map(|(_, value)| value)
    }

    /// The value as a number; a text that is a JSON number is one too.
    pub(super) fn number(&self, documents: &[Option<Value>]) -> Result<f64, Missing> {
        number(self.value(documents)?)
    }

    /// The value as a word.
    pub(super) fn word(&self, documents: &[Option<Value>]) -> Result<String, Missing> {
        let value = self.value(documents)?;
        word(value).ok_or(Missing::Kind { found: kind(value), right: "a word" })
    }
}

impl NameField {
    /// The value as a name: a word that is not empty.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<String, Missing> {
        let word = self.field.word(documents)?;
        match self.words.get(&word) {
            Some(name) if name.is_empty() => Err(Missing::StandsForNone),
            Some(name) => Ok(name.clone()),
            None if word.trim().is_empty() => Err(Missing::Empty),
            None => Ok(word),
        }
    }
}

impl TimeForm {
    /// The words that a configuration may use.
    pub const WORDS: [(&'static str, Self); 3] =
        [("rfc3339", Self::Rfc3339), ("unix_s", Self::UnixSeconds), ("unix_ms", Self::UnixMilliseconds)];
}

impl TimeField {
    /// The instant.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<Timestamp, Missing> {
        match self.form {
            TimeForm::Rfc3339 => match self.field.value(documents)? {
                Value::String(text) => {
                    let right = "a time as RFC 3339 has it, with its offset, in the years 1970 to 2199";
                    let read = stamp::parse(text).filter(|at| is_of_our_time(*at));
                    read.ok_or_else(|| Missing::word(text, right))
                }
                other => Err(Missing::Kind { found: kind(other), right: "a text, RFC 3339" }),
            },
            TimeForm::UnixSeconds => {
                let found = self.field.number(documents)?;
                instant(found * 1000.0)
                    .ok_or(Missing::Senseless { found, right: "seconds since 1970, before the year 2200" })
            }
            TimeForm::UnixMilliseconds => {
                let found = self.field.number(documents)?;
                instant(found)
                    .ok_or(Missing::Senseless { found, right: "milliseconds since 1970, before the year 2200" })
            }
        }
    }
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "in range, checked beside the cast")]
fn instant(ms: f64) -> Option<Timestamp> {
    (0.0..MS_MAX).contains(&ms).then(|| Timestamp::from_ms(ms.round() as i64))
}

fn is_of_our_time(at: Timestamp) -> bool {
    let since = at - Timestamp::from_ms(0);
    (0.0..MS_MAX).contains(&since.as_ms())
}

/// A value as a number; a text that is a JSON number is one too.
pub(super) fn number(value: &Value) -> Result<f64, Missing> {
    let number = match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => number_of(text),
        Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => None,
    };
    number.ok_or(Missing::Kind { found: kind(value), right: "a number" })
}

/// The number that a text is, as JSON writes it, blanks around it left out.
pub(super) fn number_of(text: &str) -> Option<f64> {
    text.trim().parse::<Number>().ok().and_then(|number| number.as_f64())
}

/// A value as a word: a text as it is, a number or truth value as JSON writes it.
pub(super) fn word(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(_) | Value::Bool(_) => Some(value.to_string()),
        Value::Null | Value::Array(_) | Value::Object(_) => None,
    }
}

/// The words of a table as a choice, for messages.
pub(super) fn one_of<'w>(words: impl Iterator<Item = &'w String>) -> String {
    let words: Vec<String> = words.map(|word| format!("{word:?}")).collect();
    format!("one of {}", words.join(", "))
}

/// What a value is, for messages.
pub(super) fn kind(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "a truth value",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}
