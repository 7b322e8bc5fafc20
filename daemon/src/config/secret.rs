//! Keys that a host is to be shown, from the configuration, the environment or a file. Owns where they are had from and
//! the form they are sent in; no fault tells a value.

use super::fault::{Key, Wrong, one_of};
use super::raw::{RawKept, RawSecret};
use base64::prelude::{BASE64_STANDARD, Engine};
use std::ffi::OsString;
use std::fs;
use std::path::Path;

/// What a configuration is read in.
pub(super) struct Surroundings<'s> {
    /// Its own folder.
    pub(super) folder: &'s Path,
    /// A variable's value.
    pub(super) environment: &'s dyn Fn(&str) -> Option<OsString>,
}

/// How a key is sent.
#[derive(Clone, Copy)]
enum Form {
    /// As it is.
    Plain,
    /// RFC 6750.
    Bearer,
    /// RFC 7617: user and password.
    Basic,
}

const FORMS: [(&str, Form); 3] = [("plain", Form::Plain), ("bearer", Form::Bearer), ("basic", Form::Basic)];

impl Surroundings<'_> {
    /// A secret as it is sent.
    pub(super) fn secret(&self, key: &Key, raw: &RawSecret) -> Result<String, Wrong> {
        match raw {
            RawSecret::Text(text) => Ok(text.clone()),
            RawSecret::Kept(kept) => {
                let form = kept.form.as_deref().map(|form| one_of(&key.name("form"), form, &FORMS)).transpose()?;
                form.unwrap_or(Form::Plain).sent(key, self.kept(key, kept)?)
            }
        }
    }

    /// A file's bytes, from the configuration's folder.
    pub(super) fn file(&self, key: &Key, name: &str) -> Result<Vec<u8>, Wrong> {
        let file = self.folder.join(name);
        fs::read(&file).map_err(|error| Wrong::new(key.clone(), format!("{}: {error}", file.display()), "a file"))
    }

    fn kept(&self, key: &Key, kept: &RawKept) -> Result<String, Wrong> {
        match (&kept.env, &kept.file) {
            (Some(name), None) => {
                let key = key.name("env");
                let wrong =
                    |found: &str| Wrong::new(key.clone(), format!("the variable {name} {found}"), "a key in it");
                let value = (self.environment)(name).ok_or_else(|| wrong("is not set"))?;
                let value = value.into_string().map_err(|_| wrong("is not UTF-8"))?;
                if value.is_empty() { Err(wrong("is empty")) } else { Ok(value) }
            }
            (None, Some(name)) => {
                let key = key.name("file");
                let shown = self.folder.join(name);
                let wrong = |found: &str| {
                    Wrong::new(key.clone(), format!("the file {} {found}", shown.display()), "a key in it")
                };
                let text = String::from_utf8(self.file(&key, name)?).map_err(|_| wrong("is not UTF-8"))?;
                // An editor ends a file with a newline that is no part of the key.
                let line = text.strip_suffix('\n').unwrap_or(&text);
                let value = line.strip_suffix('\r').unwrap_or(line);
                if value.is_empty() { Err(wrong("is empty")) } else { Ok(value.to_owned()) }
            }
            (None, None) => Err(Wrong::new(key.clone(), "found neither env nor file", "one of the two")),
            (Some(_), Some(_)) => Err(Wrong::new(key.clone(), "found both env and file", "one of the two")),
        }
    }
}

impl Form {
    fn sent(self, key: &Key, secret: String) -> Result<String, Wrong> {
        match self {
            Self::Plain => Ok(secret),
            Self::Bearer => Ok(format!("Bearer {secret}")),
            // RFC 7617, section 2: the first colon ends the user's name; neither part has control characters.
            Self::Basic if secret.contains(':') && !secret.contains(char::is_control) => {
                Ok(format!("Basic {}", BASE64_STANDARD.encode(secret)))
            }
            Self::Basic => {
                let found = "found no colon in what it holds, or a control character";
                Err(Wrong::new(key.clone(), found, "user:password for the form \"basic\""))
            }
        }
    }
}
