//! The configuration file's shape, unchecked. Every key is here, and no other is taken. Never leaves `config`.

mod notify;

pub(super) use notify::{RawCommand, RawHeartbeat, RawHook, RawMail, RawMqtt, RawNotify, RawWebhook};

use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer, StrDeserializer};
use serde::de::{Error, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawConfig {
    #[serde(default)]
    pub(super) store: RawStore,
    #[serde(default)]
    pub(super) backup: RawBackup,
    #[serde(default)]
    pub(super) keep: RawKeep,
    #[serde(default)]
    pub(super) web: RawWeb,
    #[serde(default)]
    pub(super) report: RawReport,
    #[serde(default)]
    pub(super) notify: RawNotify,
    #[serde(default)]
    pub(super) alarm: RawAlarm,
    #[serde(default)]
    pub(super) learning: RawLearning,
    #[serde(default)]
    pub(super) material: BTreeMap<String, RawMaterial>,
    #[serde(default)]
    pub(super) printer: Vec<RawPrinter>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawStore {
    pub(super) path: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawKeep {
    pub(super) readings_days: Option<i64>,
    pub(super) minutes_days: Option<i64>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawBackup {
    pub(super) folder: Option<String>,
    pub(super) keep: Option<i64>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawWeb {
    pub(super) listen: Option<String>,
    pub(super) password_hash: Option<RawSecret>,
    pub(super) token: Option<RawSecret>,
    #[serde(default)]
    pub(super) addresses: Vec<String>,
    pub(super) loopback_signs_in: Option<bool>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawReport {
    pub(super) zone: Option<String>,
    pub(super) folder: Option<String>,
    pub(super) weekday: Option<String>,
    pub(super) at: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawAlarm {
    pub(super) idle_over_c: Option<f64>,
    pub(super) idle_for_min: Option<f64>,
    #[serde(default)]
    pub(super) rule: Vec<RawRule>,
}

/// Which of the bound's keys it may have is for the check to say.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawRule {
    pub(super) rule: String,
    pub(super) printer: Option<String>,
    pub(super) material: Option<String>,
    pub(super) priority: Option<String>,
    pub(super) on_delay_s: Option<f64>,
    pub(super) off_delay_s: Option<f64>,
    pub(super) over_c: Option<f64>,
    pub(super) off_by_k: Option<f64>,
    pub(super) deadband_k: Option<f64>,
    pub(super) share: Option<f64>,
    pub(super) deadband_share: Option<f64>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLearning {
    pub(super) silence_means_clean: Option<bool>,
    pub(super) accepted_risk: Option<f64>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawMaterial {
    pub(super) like: Option<String>,
    pub(super) glass_transition_c: Option<f64>,
    pub(super) first_flow_c: Option<f64>,
    pub(super) print_low_c: Option<f64>,
    pub(super) print_high_c: Option<f64>,
    pub(super) residence_limit_min: Option<f64>,
    pub(super) degradation_kj_mol: Option<f64>,
    pub(super) flow_kj_mol: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawPrinter {
    pub(super) name: String,
    pub(super) hot_end: Option<String>,
    pub(super) commissioning: Option<bool>,
    pub(super) poll_s: Option<f64>,
    pub(super) authority_file: Option<String>,
    #[serde(default)]
    pub(super) headers: BTreeMap<String, RawSecret>,
    #[serde(default)]
    pub(super) query: BTreeMap<String, RawSecret>,
    #[serde(default)]
    pub(super) document: Vec<RawDocument>,
    pub(super) time: Option<RawTime>,
    pub(super) job: RawJob,
    pub(super) job_file: Option<RawJobFile>,
    #[serde(default)]
    pub(super) motion: RawMotion,
    pub(super) active_tool: Option<OneOrMany<RawActiveTool>>,
    #[serde(default)]
    pub(super) tool: Vec<RawTool>,
    pub(super) bed: Option<RawBed>,
}

/// A text, or where it is to be had.
pub(super) enum RawSecret {
    Text(String),
    Kept(RawKept),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawKept {
    pub(super) env: Option<String>,
    pub(super) file: Option<String>,
    pub(super) form: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawDocument {
    pub(super) name: String,
    pub(super) url: String,
    pub(super) poll_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawTime {
    pub(super) document: Option<String>,
    pub(super) path: OneOrMany<String>,
    pub(super) form: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawJob {
    pub(super) state: OneOrMany<RawState>,
    pub(super) name: Option<RawName>,
    pub(super) fraction: Option<RawNumber>,
    pub(super) byte: Option<RawNumber>,
    pub(super) size: Option<RawNumber>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawJobFile {
    pub(super) url: Option<String>,
    pub(super) folder: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawMotion {
    pub(super) acceleration_mm_s2: Option<f64>,
    pub(super) corner_mm_s: Option<f64>,
    pub(super) speed_mm_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawState {
    pub(super) document: Option<String>,
    pub(super) path: OneOrMany<String>,
    pub(super) words: Option<BTreeMap<String, String>>,
    pub(super) absent: Option<String>,
    pub(super) other: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawActiveTool {
    pub(super) document: Option<String>,
    pub(super) path: OneOrMany<String>,
    #[serde(default)]
    pub(super) words: BTreeMap<String, i64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawName {
    pub(super) document: Option<String>,
    pub(super) path: OneOrMany<String>,
    #[serde(default)]
    pub(super) words: BTreeMap<String, String>,
}

/// A number, a share or a temperature: which of the keys it may have is for the check to say.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawNumber {
    pub(super) document: Option<String>,
    pub(super) path: OneOrMany<String>,
    pub(super) scale: Option<f64>,
    pub(super) offset: Option<f64>,
    pub(super) suffix: Option<String>,
    #[serde(default)]
    pub(super) words: BTreeMap<String, f64>,
    pub(super) of: Option<OneOrMany<String>>,
    pub(super) unit: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawTool {
    pub(super) actual: Option<RawNumber>,
    pub(super) target: Option<RawNumber>,
    pub(super) duty: Option<RawNumber>,
    pub(super) fan: Option<RawNumber>,
    pub(super) liner_max_c: Option<f64>,
    #[serde(default)]
    pub(super) settings: RawSettings,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawBed {
    pub(super) actual: Option<RawNumber>,
    pub(super) target: Option<RawNumber>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSettings {
    pub(super) material: Option<String>,
    pub(super) print_c: Option<f64>,
    pub(super) standby_c: Option<f64>,
    pub(super) retract_mm: Option<f64>,
    pub(super) retract_mm_s: Option<f64>,
    pub(super) prime_mm3: Option<f64>,
    pub(super) ooze_shield: Option<bool>,
    pub(super) dried: Option<bool>,
}

/// One of a thing, or a list of them.
pub(super) enum OneOrMany<T> {
    One(T),
    Many(Vec<T>),
}

// By hand, since serde's untagged enums forget which key was wrong, and where.
impl<'de, T: Deserialize<'de>> Deserialize<'de> for OneOrMany<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(OneOrManyVisitor(PhantomData))
    }
}

struct OneOrManyVisitor<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for OneOrManyVisitor<T> {
    type Value = OneOrMany<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("one, or a list of them")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        T::deserialize(StrDeserializer::new(text)).map(OneOrMany::One)
    }

    fn visit_map<A: MapAccess<'de>>(self, table: A) -> Result<Self::Value, A::Error> {
        T::deserialize(MapAccessDeserializer::new(table)).map(OneOrMany::One)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<Self::Value, A::Error> {
        Vec::deserialize(SeqAccessDeserializer::new(list)).map(OneOrMany::Many)
    }
}

impl<'de> Deserialize<'de> for RawSecret {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawSecretVisitor)
    }
}

struct RawSecretVisitor;

impl<'de> Visitor<'de> for RawSecretVisitor {
    type Value = RawSecret;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a text, { env = \"VARIABLE\" } or { file = \"key.txt\" }")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        Ok(RawSecret::Text(text.to_owned()))
    }

    fn visit_map<A: MapAccess<'de>>(self, table: A) -> Result<Self::Value, A::Error> {
        RawKept::deserialize(MapAccessDeserializer::new(table)).map(RawSecret::Kept)
    }
}
