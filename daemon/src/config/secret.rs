//! Keys that a host is to be shown, from the configuration, the environment or a file. Owns where they are had from and
//! the form they are sent in; no fault tells a value.

use super::fault::{Key, Wrong, one_of};
use super::raw::{RawKept, RawSecret};
use base64::prelude::{BASE64_STANDARD, Engine};
use std::ffi::OsString;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

/// What keys are read in.
pub struct Surroundings<'s> {
    /// Where files are looked for.
    pub folder: &'s Path,
    /// A variable's value.
    pub environment: &'s dyn Fn(&str) -> Option<OsString>,
    /// Whether keys are looked up.
    pub secrets: Secrets,
}

/// Whether the keys of a configuration are looked up where they are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Secrets {
    /// They are, and one that is not there is a mistake.
    LookedUp,
    /// They are not: who asks shows them to nobody, and may well have no access to them.
    NotNeeded,
}

/// What stands for a key that was not looked up. It passes for an address, a header or a key, and leads nowhere (RFC 2606).
const PLACEHOLDER: &str = "https://not-looked-up.invalid/";

/// Where a key is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Keep {
    /// In a variable of the environment.
    Env(String),
    /// In a file.
    File(String),
}

/// A key that is never shown.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Keeps it.
    #[must_use]
    pub fn new(text: String) -> Self {
        Self(text)
    }

    /// The key itself, for the one who is to be shown it.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("••••")
    }
}

/// How a key is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeyForm {
    /// As it is.
    Plain,
    /// RFC 6750.
    Bearer,
    /// RFC 7617: user and password.
    Basic,
}

/// Why there is no key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyFault {
    /// The variable has none.
    #[error("the variable {name} {found}")]
    Variable {
        /// The variable.
        name: String,
        /// What was found.
        found: &'static str,
    },
    /// The file has none.
    #[error("the file {} {found}", .file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// What was found.
        found: String,
    },
    /// It can't be sent in its form.
    #[error("found no colon in what it holds, or a control character; user:password would be right for the form basic")]
    NotBasic,
}

impl KeyForm {
    /// The words that a configuration may use.
    pub const WORDS: [(&'static str, Self); 3] =
        [("plain", Self::Plain), ("bearer", Self::Bearer), ("basic", Self::Basic)];

    /// The key as it is sent.
    ///
    /// # Errors
    /// When it can't be sent in this form.
    pub fn sent(self, key: String) -> Result<String, KeyFault> {
        match self {
            Self::Plain => Ok(key),
            Self::Bearer => Ok(format!("Bearer {key}")),
            // RFC 7617, section 2: the first colon ends the user's name; neither part has control characters.
            Self::Basic if key.contains(':') && !key.contains(char::is_control) => {
                Ok(format!("Basic {}", BASE64_STANDARD.encode(key)))
            }
            Self::Basic => Err(KeyFault::NotBasic),
        }
    }
}

impl Surroundings<'_> {
    /// The key that is kept there.
    ///
    /// # Errors
    /// When there is none.
    pub fn key(&self, keep: &Keep) -> Result<String, KeyFault> {
        match keep {
            Keep::Env(name) => {
                let wrong = |found| KeyFault::Variable { name: name.clone(), found };
                let value = (self.environment)(name).ok_or_else(|| wrong("is not set"))?;
                let value = value.into_string().map_err(|_| wrong("is not UTF-8"))?;
                if value.is_empty() { Err(wrong("is empty")) } else { Ok(value) }
            }
            Keep::File(name) => {
                let file = self.folder.join(name);
                let wrong = |found: String| KeyFault::File { file: file.clone(), found };
                let bytes = fs::read(&file).map_err(|error| wrong(format!("is not to be read: {error}")))?;
                let text = String::from_utf8(bytes).map_err(|_| wrong("is not UTF-8".to_owned()))?;
                // An editor ends a file with a newline that is no part of the key.
                let line = text.strip_suffix('\n').unwrap_or(&text);
                let value = line.strip_suffix('\r').unwrap_or(line);
                if value.is_empty() { Err(wrong("is empty".to_owned())) } else { Ok(value.to_owned()) }
            }
        }
    }

    /// A secret of the configuration as it is sent.
    pub(super) fn secret(&self, key: &Key, raw: &RawSecret) -> Result<String, Wrong> {
        match raw {
            RawSecret::Text(text) => Ok(text.clone()),
            RawSecret::Kept(kept) => {
                let form = kept.form.as_deref().map(|form| one_of(&key.name("form"), form, &KeyForm::WORDS));
                let form = form.transpose()?.unwrap_or(KeyForm::Plain);
                let (place, keep) = kept_in(key, kept)?;
                let wrong = |fault: KeyFault| match fault {
                    KeyFault::NotBasic => Wrong::new(key.clone(), fault.to_string(), ""),
                    KeyFault::Variable { .. } | KeyFault::File { .. } => {
                        Wrong::new(place.clone(), fault.to_string(), "a key in it")
                    }
                };
                match self.secrets {
                    Secrets::LookedUp => self.key(&keep).and_then(|key| form.sent(key)).map_err(wrong),
                    Secrets::NotNeeded => Ok(PLACEHOLDER.to_owned()),
                }
            }
        }
    }

    /// A file's bytes, from the configuration's folder.
    pub(super) fn file(&self, key: &Key, name: &str) -> Result<Vec<u8>, Wrong> {
        let file = self.folder.join(name);
        fs::read(&file).map_err(|error| Wrong::new(key.clone(), format!("{}: {error}", file.display()), "a file"))
    }
}

fn kept_in(key: &Key, kept: &RawKept) -> Result<(Key, Keep), Wrong> {
    match (&kept.env, &kept.file) {
        (Some(name), None) => Ok((key.name("env"), Keep::Env(name.clone()))),
        (None, Some(name)) => Ok((key.name("file"), Keep::File(name.clone()))),
        (None, None) => Err(Wrong::new(key.clone(), "found neither env nor file", "one of the two")),
        (Some(_), Some(_)) => Err(Wrong::new(key.clone(), "found both env and file", "one of the two")),
    }
}
