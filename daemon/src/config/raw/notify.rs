//! The shape of what is said of the ways to reach a person, unchecked.

use super::{OneOrMany, RawSecret};
use serde::de::value::{MapAccessDeserializer, StrDeserializer};
use serde::de::{Error, MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::collections::BTreeMap;
use std::fmt;

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawNotify {
    pub(in crate::config) address: Option<String>,
    pub(in crate::config) quiet: Option<String>,
    pub(in crate::config) webhook: Option<OneOrMany<RawHook>>,
    #[serde(default)]
    pub(in crate::config) mail: Vec<RawMail>,
    #[serde(default)]
    pub(in crate::config) mqtt: Vec<RawMqtt>,
    #[serde(default)]
    pub(in crate::config) command: Vec<RawCommand>,
    #[serde(default)]
    pub(in crate::config) heartbeat: Vec<RawHeartbeat>,
}

/// An address alone, or all that can be said of a webhook.
pub(in crate::config) enum RawHook {
    Address(String),
    Whole(Box<RawWebhook>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawWebhook {
    pub(in crate::config) name: Option<String>,
    pub(in crate::config) priority: Option<String>,
    pub(in crate::config) returns: Option<bool>,
    pub(in crate::config) quiet: Option<String>,
    pub(in crate::config) passes: Option<String>,
    pub(in crate::config) url: RawSecret,
    #[serde(default)]
    pub(in crate::config) headers: BTreeMap<String, RawSecret>,
    pub(in crate::config) key_name: Option<String>,
    pub(in crate::config) key: Option<RawSecret>,
    pub(in crate::config) template: Option<String>,
    pub(in crate::config) template_file: Option<String>,
    pub(in crate::config) content_type: Option<String>,
    pub(in crate::config) authority_file: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawMail {
    pub(in crate::config) name: Option<String>,
    pub(in crate::config) priority: Option<String>,
    pub(in crate::config) returns: Option<bool>,
    pub(in crate::config) quiet: Option<String>,
    pub(in crate::config) passes: Option<String>,
    pub(in crate::config) server: String,
    pub(in crate::config) port: Option<u16>,
    pub(in crate::config) tls: Option<String>,
    pub(in crate::config) user: Option<String>,
    pub(in crate::config) password: Option<RawSecret>,
    pub(in crate::config) from: String,
    pub(in crate::config) to: OneOrMany<String>,
    pub(in crate::config) authority_file: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawMqtt {
    pub(in crate::config) name: Option<String>,
    pub(in crate::config) priority: Option<String>,
    pub(in crate::config) returns: Option<bool>,
    pub(in crate::config) quiet: Option<String>,
    pub(in crate::config) passes: Option<String>,
    pub(in crate::config) server: String,
    pub(in crate::config) port: Option<u16>,
    pub(in crate::config) tls: Option<bool>,
    pub(in crate::config) version: Option<String>,
    pub(in crate::config) user: Option<String>,
    pub(in crate::config) password: Option<RawSecret>,
    pub(in crate::config) topic: Option<String>,
    pub(in crate::config) authority_file: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawCommand {
    pub(in crate::config) name: Option<String>,
    pub(in crate::config) priority: Option<String>,
    pub(in crate::config) returns: Option<bool>,
    pub(in crate::config) quiet: Option<String>,
    pub(in crate::config) passes: Option<String>,
    pub(in crate::config) run: Vec<String>,
    pub(in crate::config) deadline_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::config) struct RawHeartbeat {
    pub(in crate::config) url: RawSecret,
    pub(in crate::config) every_s: Option<f64>,
}

impl<'de> Deserialize<'de> for RawHook {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawHookVisitor)
    }
}

struct RawHookVisitor;

impl<'de> Visitor<'de> for RawHookVisitor {
    type Value = RawHook;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an address, or a table with `url`")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        String::deserialize(StrDeserializer::new(text)).map(RawHook::Address)
    }

    fn visit_map<A: MapAccess<'de>>(self, table: A) -> Result<Self::Value, A::Error> {
        RawWebhook::deserialize(MapAccessDeserializer::new(table)).map(|whole| RawHook::Whole(Box::new(whole)))
    }
}
