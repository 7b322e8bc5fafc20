//! What is wrong with a configuration and where it stands: file, line, column, key, what was found, what would be
//! right. Owns the way from a key to its line and back.

use std::fmt;
use std::io;
use std::ops::{Range, RangeInclusive};
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Why there is no configuration. Each is for a person to put right: exit code 2.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// No file was named and none is where one is looked for.
    #[error("no configuration: looked for {}; name one with --config, or let `dwellwatch discover URL` propose one", shown(.looked))]
    NotFound {
        /// Where it was looked for, in order.
        looked: Vec<PathBuf>,
    },
    /// The file can't be read.
    #[error("{}: {source}", .file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The file can be read and is wrong; never empty, in the file's order.
    #[error("{}", lines(.0))]
    Wrong(Vec<Fault>),
}

/// One thing that is wrong in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The file.
    pub file: PathBuf,
    /// Line and column, from 1; `None` where the thing is nowhere in the file.
    pub place: Option<(usize, usize)>,
    /// The key, as in `printer[0].tool[1].actual.path`; empty for the file as a whole.
    pub key: String,
    /// What was found.
    pub found: String,
    /// What would be right.
    pub right: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:", self.file.display())?;
        if let Some((line, column)) = self.place {
            write!(f, "{line}:{column}:")?;
        }
        if !self.key.is_empty() {
            write!(f, " {}:", self.key)?;
        }
        write!(f, " {}", self.found)?;
        if !self.right.is_empty() {
            write!(f, "; right would be {}", self.right)?;
        }
        Ok(())
    }
}

fn lines(faults: &[Fault]) -> String {
    faults.iter().map(Fault::to_string).collect::<Vec<_>>().join("\n")
}

fn shown(files: &[PathBuf]) -> String {
    files.iter().map(|file| file.display().to_string()).collect::<Vec<_>>().join(", ")
}

/// One step of a key.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Step {
    Name(String),
    Nth(usize),
}

/// A key's full path.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Key(Vec<Step>);

impl Key {
    /// The key of that name below this one.
    pub(super) fn name(&self, name: &str) -> Self {
        self.with(Step::Name(name.to_owned()))
    }

    /// The entry of that number, from 0, below this one.
    pub(super) fn nth(&self, idx: usize) -> Self {
        self.with(Step::Nth(idx))
    }

    fn with(&self, step: Step) -> Self {
        let mut steps = self.0.clone();
        steps.push(step);
        Self(steps)
    }

    /// Whether values under it are secrets, which no message may repeat.
    fn is_secret(&self) -> bool {
        let has = |name: &str| self.0.iter().any(|step| matches!(step, Step::Name(own) if own == name));
        has("headers") || has("query") || has("notify") || has("password_hash") || has("token")
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (idx, step) in self.0.iter().enumerate() {
            match step {
                Step::Name(name) if idx == 0 => f.write_str(name)?,
                Step::Name(name) => write!(f, ".{name}")?,
                Step::Nth(nth) => write!(f, "[{nth}]")?,
            }
        }
        Ok(())
    }
}

/// What is wrong with the value of a key, before it is known on which line that stands.
#[derive(Debug)]
pub(super) struct Wrong {
    key: Key,
    found: String,
    right: String,
}

impl Wrong {
    pub(super) fn new(key: Key, found: impl Into<String>, right: impl Into<String>) -> Self {
        Self { key, found: found.into(), right: right.into() }
    }

    fn at(self, file: &Path, text: &str) -> Fault {
        // The text was parsed before it was checked; a text that no longer parses has no places.
        let place = DeTable::parse(text).ok().and_then(|table| span_of(table.get_ref(), &self.key.0));
        let place = place.map(|span| line_and_column(text, span.start));
        Fault { file: file.to_owned(), place, key: self.key.to_string(), found: self.found, right: self.right }
    }
}

/// Everything that is wrong, so that a person learns of it at once.
#[derive(Debug, Default)]
pub(super) struct Wrongs(Vec<Wrong>);

impl From<Wrong> for Wrongs {
    fn from(wrong: Wrong) -> Self {
        Self(vec![wrong])
    }
}

impl Wrongs {
    /// What was checked; else what is wrong with it is kept.
    pub(super) fn keep<T>(&mut self, checked: Result<T, impl Into<Self>>) -> Option<T> {
        checked.map_err(|wrong| self.0.extend(wrong.into().0)).ok()
    }

    /// Every one that was checked, or what is wrong with each that is.
    pub(super) fn each<T>(checked: impl IntoIterator<Item = Result<T, impl Into<Self>>>) -> Result<Vec<T>, Self> {
        let mut wrongs = Self::default();
        let kept: Vec<T> = checked.into_iter().filter_map(|one| wrongs.keep(one)).collect();
        if wrongs.0.is_empty() { Ok(kept) } else { Err(wrongs) }
    }

    /// Nothing, or what is wrong.
    pub(super) fn none(self) -> Result<(), Self> {
        if self.0.is_empty() { Ok(()) } else { Err(self) }
    }

    /// The faults, placed in the file's text.
    pub(super) fn at(self, file: &Path, text: &str) -> ConfigError {
        let mut faults: Vec<Fault> = self.0.into_iter().map(|wrong| wrong.at(file, text)).collect();
        faults.sort_by_key(|fault| fault.place.unwrap_or((usize::MAX, usize::MAX)));
        ConfigError::Wrong(faults)
    }
}

/// A number within bounds, or what is wrong with it.
pub(super) fn within(key: &Key, value: f64, range: RangeInclusive<f64>, unit: &str) -> Result<f64, Wrong> {
    if range.contains(&value) {
        return Ok(value);
    }
    let right = format!("{} to {} {unit}", range.start(), range.end());
    Err(Wrong::new(key.clone(), format!("found {value}"), right.trim_end()))
}

/// The value of a word, or what is wrong with it.
pub(super) fn one_of<T: Copy>(key: &Key, word: &str, values: &[(&str, T)]) -> Result<T, Wrong> {
    values.iter().find(|(own, _)| *own == word).map(|(_, value)| *value).ok_or_else(|| {
        let words = values.iter().map(|(own, _)| format!("{own:?}")).collect::<Vec<_>>().join(", ");
        Wrong::new(key.clone(), format!("found {word:?}"), format!("one of {words}"))
    })
}

/// The fault that the parser or the deserializer found.
pub(super) fn unparsed(file: PathBuf, text: &str, error: &toml::de::Error) -> ConfigError {
    let span = error.span();
    let key = match (&span, DeTable::parse(text)) {
        (Some(span), Ok(table)) => key_at(table.get_ref(), span.start),
        // A syntax error: there are no keys yet.
        _ => Key::default(),
    };
    let (found, right) = error.message().split_once(", expected ").unwrap_or((error.message(), ""));
    // The message repeats what it found. Only a key's name is safe to repeat where values are secrets.
    let secret = key.is_secret() && !found.starts_with("unknown field") && !found.starts_with("missing field");
    let found = if secret { "found a value of another kind" } else { found };
    let place = span.map(|span| line_and_column(text, span.start));
    let fault = Fault { file, place, key: key.to_string(), found: found.to_owned(), right: right.to_owned() };
    ConfigError::Wrong(vec![fault])
}

fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let column = before.get(line_start..).map_or(0, |line| line.chars().count());
    (before.matches('\n').count() + 1, column + 1)
}

/// Where a key stands; for a key that is not there, where the nearest table above it does.
fn span_of(table: &DeTable<'_>, steps: &[Step]) -> Option<Range<usize>> {
    let (Step::Name(name), rest) = steps.split_first()? else { return None };
    let (key, value) = table.iter().find(|(key, _)| key.get_ref().as_ref() == name.as_str())?;
    Some(span_within(value, rest).unwrap_or_else(|| key.span()))
}

fn span_within(value: &Spanned<DeValue<'_>>, steps: &[Step]) -> Option<Range<usize>> {
    match (value.get_ref(), steps.split_first()?) {
        (DeValue::Table(table), _) => span_of(table, steps),
        (DeValue::Array(items), (Step::Nth(nth), rest)) => {
            let item = items.get(*nth)?;
            Some(span_within(item, rest).unwrap_or_else(|| item.span()))
        }
        _ => None,
    }
}

/// The key whose own text or value is the narrowest around a place in the file.
fn key_at(table: &DeTable<'_>, at: usize) -> Key {
    let mut best = (usize::MAX, Key::default());
    narrow(table, at, &Key::default(), &mut best);
    best.1
}

fn narrow(table: &DeTable<'_>, at: usize, above: &Key, best: &mut (usize, Key)) {
    for (name, value) in table {
        let key = above.name(name.get_ref());
        consider(name.span(), at, &key, best);
        narrow_value(value, at, &key, best);
    }
}

fn narrow_value(value: &Spanned<DeValue<'_>>, at: usize, key: &Key, best: &mut (usize, Key)) {
    consider(value.span(), at, key, best);
    match value.get_ref() {
        DeValue::Table(table) => narrow(table, at, key, best),
        DeValue::Array(items) => {
            for (idx, item) in items.iter().enumerate() {
                narrow_value(item, at, &key.nth(idx), best);
            }
        }
        DeValue::String(_) | DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) | DeValue::Datetime(_) => {}
    }
}

fn consider(span: Range<usize>, at: usize, key: &Key, best: &mut (usize, Key)) {
    if span.contains(&at) && span.len() <= best.0 {
        *best = (span.len(), key.clone());
    }
}
