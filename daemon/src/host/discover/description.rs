//! What a host's description of itself comes to, whichever standard it follows, and how far it may lead.
//! Must not: let an address through that leaves the hosts a person named.

use super::found::{Secret, SecretPlace};
use super::link::Link;
use super::schema::Said;
use crate::host::client::header;
use crate::host::{Address, AddressFault};
use reqwest::Url;
use serde_json::Value;
use std::collections::BTreeMap;

/// So many places are named in a remark; the rest are counted.
const NAMED_MAX: usize = 6;

/// What a description says there is.
#[derive(Clone, Debug, Default)]
pub(super) struct Description {
    /// The documents, the most telling first.
    pub(super) documents: Vec<Described>,
    /// The keys they want.
    pub(super) secrets: Vec<Secret>,
    /// Where else it points.
    pub(super) links: Vec<Link>,
    /// What was left out, and why.
    pub(super) remarks: Vec<String>,
}

/// One document, as described.
#[derive(Clone, Debug)]
pub(super) struct Described {
    /// Where.
    pub(super) address: Address,
    /// What its values are.
    pub(super) said: Vec<Said>,
    /// Documents of single members, to be asked for where this one lacks them.
    pub(super) parts: Vec<Part>,
}

/// One member's own document.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// The member's name in the whole.
    pub(super) key: String,
    /// Its own document.
    pub(super) document: Described,
}

/// The hosts that a person named: protocol, name and port of each.
#[derive(Clone, Debug)]
pub(super) struct Home(Vec<String>);

/// Why an address is not asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum Elsewhere {
    /// It is none.
    #[error("its address {0}")]
    Fault(#[from] AddressFault),
    /// It is on another host.
    #[error("it is on another host, {0}, which was not named to the search")]
    OtherHost(String),
}

impl Home {
    pub(super) fn of(named: &[Address]) -> Self {
        Self(named.iter().map(Address::origin).collect())
    }

    /// The address that `reference` means, read from `base`, without its fragment: that is never sent.
    pub(super) fn reach(&self, base: &Url, reference: &str) -> Result<Address, Elsewhere> {
        let mut url = base.join(reference).map_err(|error| AddressFault::Unreadable(error.to_string()))?;
        url.set_fragment(None);
        let address = Address::parse(url.as_str())?;
        let origin = address.origin();
        if self.0.contains(&origin) { Ok(address) } else { Err(Elsewhere::OtherHost(origin)) }
    }
}

/// An address as it may be shown: without a sign-in and without what may be keys.
pub(super) fn shown(base: &Url, reference: &str) -> String {
    let Ok(mut url) = base.join(reference) else { return "an address that is none".to_owned() };
    url.set_query(None);
    url.set_fragment(None);
    // Only an address without a host refuses, and that has no sign-in.
    if url.set_username("").is_err() || url.set_password(None).is_err() {
        return format!("an address of the protocol {}", url.scheme());
    }
    url.into()
}

/// A host's words as they may be printed: no control character reaches a terminal, and no text fills a page.
pub(super) fn plain(text: &str, chars_max: usize) -> String {
    let text = text.trim();
    let kept = text.chars().take(chars_max).map(|c| if c.is_control() { ' ' } else { c });
    let ending = if text.chars().nth(chars_max).is_some() { "…" } else { "" };
    kept.chain(ending.chars()).collect()
}

/// Places that were left out, gathered by the reason, so that a remark is a line and not a page.
#[derive(Clone, Debug, Default)]
pub(super) struct LeftOut(BTreeMap<String, Vec<String>>);

impl LeftOut {
    pub(super) fn note(&mut self, why: impl Into<String>, what: &str) {
        let places = self.0.entry(why.into()).or_default();
        if !places.iter().any(|place| place == what) {
            places.push(what.to_owned());
        }
    }

    /// A line for each reason; `by` is what named the places.
    pub(super) fn remarks(&self, by: &str) -> impl Iterator<Item = String> {
        self.0.iter().map(move |(why, what)| {
            let named = what.iter().take(NAMED_MAX).map(String::as_str).collect::<Vec<_>>().join(", ");
            let more = what.len().saturating_sub(NAMED_MAX);
            let rest = if more == 0 { String::new() } else { format!(" and {more} more") };
            format!("named by {by}, left out as {why}: {named}{rest}")
        })
    }
}

/// Adds the secrets that are not there yet.
pub(super) fn add(secrets: &mut Vec<Secret>, more: impl IntoIterator<Item = Secret>) {
    for secret in more {
        if !secrets.contains(&secret) {
            secrets.push(secret);
        }
    }
}

/// The place of a key that goes into `place` under `name`, if it is one that can be filled.
pub(super) fn key_at(place: &str, name: Option<&str>) -> Result<Secret, String> {
    let Some(name) = name.filter(|name| !name.is_empty()) else {
        return Err("its key has no name, so it is not known where it goes".to_owned());
    };
    match place {
        "header" => Ok(Secret { place: SecretPlace::Header(name.to_owned()) }),
        "query" => Ok(Secret { place: SecretPlace::Query(name.to_owned()) }),
        other => Err(format!("its key goes into {other:?}, and only header and query can be filled")),
    }
}

/// Whether a media type is JSON's: `application/json`, or one built on it (RFC 6839, section 3.1).
pub(super) fn is_json(media_type: &str) -> bool {
    header::is_json(&header::essence(media_type))
}

/// The texts of a member that is one text or a list of them.
pub(super) fn texts(value: Option<&Value>) -> Vec<&str> {
    match value {
        Some(Value::String(text)) => vec![text],
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

/// An object's members by their names: their order in the document has no meaning (RFC 8259, section 4).
pub(super) fn members(object: Option<&Value>) -> Vec<(&String, &Value)> {
    let mut members: Vec<_> = object.and_then(Value::as_object).into_iter().flatten().collect();
    members.sort_unstable_by_key(|(name, _)| *name);
    members
}
