//! What a person has said already: `KEY=VALUE`, checked. An answer counts over every finding.

use super::leaf::Leaf;
use crate::entry::{HotEnd, JobState};
use std::collections::BTreeMap;

/// The answers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answers(BTreeMap<String, String>);

/// An answer that can't be one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AnswerFault {
    /// There is no equals sign.
    #[error("answer {0:?} has no =; KEY=VALUE would be right")]
    NoValue(String),
    /// There is no such key.
    #[error(
        "answer {0:?} answers nothing; name, hot_end, tool.N, bed, active_tool, state, job_name, fraction, byte, time or word.TEXT would be right"
    )]
    Key(String),
    /// The value is not one of the key's.
    #[error("answer {key}={found:?}; {right} would be right")]
    Value {
        /// The key.
        key: String,
        /// What was found.
        found: String,
        /// What would be right.
        right: String,
    },
}

/// Keys whose value is a place in a document.
const PLACES: [&str; 7] = ["bed", "active_tool", "state", "job_name", "fraction", "byte", "time"];

impl Answers {
    /// Reads `KEY=VALUE` texts; a later one counts over an earlier one of the same key.
    ///
    /// # Errors
    /// When one has no `=`, an unknown key or a value that its key does not take.
    pub fn parse<T: AsRef<str>>(texts: &[T]) -> Result<Self, AnswerFault> {
        let mut answers = Self::default();
        for text in texts.iter().map(AsRef::as_ref) {
            // A host's word may hold an equals sign; a state of ours does not.
            let cut = if text.starts_with("word.") { text.rsplit_once('=') } else { text.split_once('=') };
            let (key, value) = cut.ok_or_else(|| AnswerFault::NoValue(text.to_owned()))?;
            answers.add(key.trim(), value)?;
        }
        Ok(answers)
    }

    /// Adds one.
    ///
    /// # Errors
    /// When there is no such key, or the value is not one of its values.
    pub fn add(&mut self, key: &str, value: &str) -> Result<(), AnswerFault> {
        let wrong = |right: String| AnswerFault::Value { key: key.to_owned(), found: value.to_owned(), right };
        let is_tool =
            key.strip_prefix("tool.").is_some_and(|number| number.parse::<u8>().is_ok_and(|number| number < 16));
        if key == "hot_end" {
            HotEnd::of_word(value).ok_or_else(|| wrong("separate or shared".to_owned()))?;
        } else if key == "name" {
            crate::entry::PrinterName::new(value)
                .ok_or_else(|| wrong("1 to 64 characters, no control characters".to_owned()))?;
        } else if key.strip_prefix("word.").is_some_and(|word| !word.is_empty()) {
            let words: Vec<&str> = JobState::ALL.iter().map(|state| state.word()).collect();
            JobState::of_word(value).ok_or_else(|| wrong(format!("one of {}", words.join(", "))))?;
        } else if is_tool || PLACES.contains(&key) {
            let is_place = value.starts_with(['/', '$'])
                || value.split_once(':').is_some_and(|(_, path)| path.starts_with(['/', '$']));
            if !is_place && value != "none" {
                return Err(wrong("a JSON Pointer, DOCUMENT:POINTER or none".to_owned()));
            }
        } else {
            return Err(AnswerFault::Key(key.to_owned()));
        }
        self.0.insert(key.to_owned(), value.to_owned());
        Ok(())
    }

    /// The same, each document's name as its place among `names`.
    pub(super) fn numbered(&self, names: &[&str]) -> Self {
        let number = |value: &String| {
            let (name, path) = value.split_once(':')?;
            Some(format!("{}:{path}", names.iter().position(|known| *known == name)?))
        };
        let is_place = |key: &String| key.starts_with("tool.") || PLACES.contains(&key.as_str());
        let pair = |(key, value): (&String, &String)| {
            let numbered = Some(value).filter(|_| is_place(key)).and_then(number);
            (key.clone(), numbered.unwrap_or_else(|| value.clone()))
        };
        Self(self.0.iter().map(pair).collect())
    }

    /// The answer of that key.
    pub(super) fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key).map(String::as_str)
    }

    /// The state that the host's word was said to be.
    pub(super) fn word(&self, word: &str) -> Option<JobState> {
        self.get(&format!("word.{word}")).and_then(JobState::of_word)
    }

    /// Whether the field was said not to be there.
    pub(super) fn is_none(&self, key: &str) -> bool {
        self.get(key) == Some("none")
    }

    /// Answers that point at a place where nothing stands, in words.
    pub(super) fn beside(&self, leaves: &[Leaf], said: &Self) -> Vec<String> {
        let is_place = |key: &str| key.starts_with("tool.") || PLACES.contains(&key);
        let places = self.0.iter().filter(|(key, value)| is_place(key) && *value != "none");
        let lost = places.filter(|(_, value)| !leaves.iter().any(|leaf| is_at(leaf, value, true)));
        lost.map(|(key, value)| format!("{key}={}", said.get(key).unwrap_or(value))).collect()
    }

    /// The value that the answer points at.
    pub(super) fn leaf<'l>(&self, key: &str, leaves: &'l [Leaf]) -> Option<&'l Leaf> {
        let answer = self.get(key)?;
        leaves.iter().find(|leaf| is_at(leaf, answer, false))
    }
}

/// Whether the leaf is at that place, or with `below` under it. A document's number before a colon narrows it.
pub(super) fn is_at(leaf: &Leaf, answer: &str, below: bool) -> bool {
    let (document, path) = match answer.split_once(':') {
        Some((document, path)) if !document.starts_with(['/', '$']) => (document.parse::<usize>().ok(), path),
        _ => (None, answer),
    };
    if document.is_some_and(|document| document != leaf.document) {
        return false;
    }
    let is_under = |whole: &str| {
        whole == path
            || (below
                && whole.strip_prefix(path).is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '.', '['])))
    };
    is_under(&leaf.pointer) || is_under(&leaf.path)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn an_answer_to_nothing_names_what_can_be_answered() {
        let told = Answers::parse(&["colour=red"]).unwrap_err().to_string();
        assert!(told.contains("\"colour\"") && told.contains("hot_end") && told.contains("word.TEXT"), "{told}");
        assert!(Answers::parse(&["hot_end=both"]).unwrap_err().to_string().contains("separate or shared"));
        assert!(Answers::parse(&["word.busy=at it"]).unwrap_err().to_string().contains("printing"));
        assert!(Answers::parse(&["name"]).is_err() && Answers::parse(&["tool.16=/a"]).is_err());
        let answers =
            Answers::parse(&["word.a=b=none", "word.busy=printing", "tool.0=heat:/left", "bed=none"]).unwrap();
        assert_eq!((answers.word("busy"), answers.word("a=b")), (Some(JobState::Printing), Some(JobState::None)));
        assert_eq!(answers.numbered(&["state", "heat"]).get("tool.0"), Some("1:/left"));
    }
}
