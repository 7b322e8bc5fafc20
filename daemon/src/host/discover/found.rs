//! What was found on a host before anything is made of it. Holds no judgement.

use crate::host::{Address, TemperatureUnit};
use dwell_analysis::units::Seconds;
use serde_json::Value;

/// What a host has to offer.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// Documents that answered GET with JSON, in the order in which they were found.
    pub documents: Vec<FoundDocument>,
    /// Keys that the host's own description says it wants to be shown.
    pub secrets: Vec<Secret>,
    /// Whether some address wants a sign-in.
    pub wants_key: bool,
    /// What a person should know of the search, a line each: what was left out, and why.
    pub remarks: Vec<String>,
}

/// A document of JSON.
#[derive(Clone, Debug)]
pub struct FoundDocument {
    /// Short and unlike the others': a word made of its address.
    pub name: String,
    /// Where it is.
    pub address: Address,
    /// How it was found, as in `given`, `Link header of http://127.0.0.1:8121/`.
    pub origin: String,
    /// What a description of the host says of its values.
    pub hints: Vec<Hint>,
}

/// What a description of the host (a Thing Description, a schema) says of one value.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hint {
    /// JSON Pointer of the value in its document; empty for the document itself.
    pub pointer: String,
    /// Its name, title and description, as far as there are any.
    pub words: Vec<String>,
    /// Its unit, as told.
    pub form: Option<HintForm>,
    /// Every text that it can be, when the description lists them.
    pub values: Vec<String>,
}

/// What a told unit makes of a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HintForm {
    /// A temperature.
    Temperature(TemperatureUnit),
    /// Hundredths of a whole.
    Percent,
    /// Bytes.
    Bytes,
    /// Another unit: neither a temperature nor a share.
    Other,
}

/// A key that the host wants to be shown with each request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Secret {
    /// Where it goes.
    pub place: SecretPlace,
}

/// Where a key goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SecretPlace {
    /// `Authorization: Basic`, of a user's name and password (RFC 7617).
    Basic,
    /// `Authorization: Bearer` (RFC 6750), or the same in a header of that name.
    Bearer {
        /// The header.
        header: String,
    },
    /// A header.
    Header(String),
    /// A pair of the query.
    Query(String),
}

/// The documents at one moment of the watch, in the order of [`Found::documents`].
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// Since the watch began.
    pub after: Seconds,
    /// `None` is a document that did not come.
    pub documents: Vec<Option<Value>>,
}
