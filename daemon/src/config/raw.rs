//! The configuration file's shape, unchecked. Every key is here, and no other is taken. Never leaves `config`.

use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawConfig {
    #[serde(default)]
    pub(super) store: RawStore,
    #[serde(default)]
    pub(super) web: RawWeb,
    #[serde(default)]
    pub(super) report: RawReport,
    #[serde(default)]
    pub(super) notify: RawNotify,
    #[serde(default)]
    pub(super) alarm: RawAlarm,
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
pub(super) struct RawWeb {
    pub(super) listen: Option<String>,
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
pub(super) struct RawNotify {
    pub(super) webhook: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawAlarm {
    pub(super) idle_over_c: Option<f64>,
    pub(super) idle_for_min: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawPrinter {
    pub(super) name: String,
    pub(super) hot_end: Option<String>,
    pub(super) poll_s: Option<f64>,
    #[serde(default)]
    pub(super) headers: BTreeMap<String, String>,
    #[serde(default)]
    pub(super) document: Vec<RawDocument>,
    pub(super) job: RawJob,
    pub(super) active_tool: Option<RawActiveTool>,
    #[serde(default)]
    pub(super) tool: Vec<RawTool>,
    pub(super) bed: Option<RawBed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawDocument {
    pub(super) name: String,
    pub(super) url: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawJob {
    pub(super) state: RawState,
    pub(super) name: Option<RawField>,
    pub(super) fraction: Option<RawShare>,
    pub(super) byte: Option<RawField>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawState {
    pub(super) document: Option<String>,
    pub(super) path: String,
    pub(super) words: Option<BTreeMap<String, String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawActiveTool {
    pub(super) document: Option<String>,
    pub(super) path: String,
    #[serde(default)]
    pub(super) words: BTreeMap<String, i64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawField {
    pub(super) document: Option<String>,
    pub(super) path: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawShare {
    pub(super) document: Option<String>,
    pub(super) path: String,
    pub(super) scale: Option<f64>,
    pub(super) offset: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawTemperature {
    pub(super) document: Option<String>,
    pub(super) path: String,
    pub(super) unit: Option<String>,
    pub(super) scale: Option<f64>,
    pub(super) offset: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawTool {
    pub(super) actual: Option<RawTemperature>,
    pub(super) target: Option<RawTemperature>,
    pub(super) duty: Option<RawShare>,
    #[serde(default)]
    pub(super) settings: RawSettings,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawBed {
    pub(super) actual: Option<RawTemperature>,
    pub(super) target: Option<RawTemperature>,
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
