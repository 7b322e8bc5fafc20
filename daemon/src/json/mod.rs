//! The JSON that scripts rely on, as commands print it and as the API answers. Owns field names, units and what the
//! document says of each; an absent field is unknown.

mod alarm_figures;
mod evidence;
mod instant;
mod learned;
mod now;
mod part;
mod record;
mod report;
mod suggestion;
mod trials;

pub(crate) use alarm_figures::document as alarm_figures;
pub(crate) use instant::Instant;
pub(crate) use learned::LearnedJson;
pub(crate) use now::{NowJson, PrinterNowJson, printers};
pub(crate) use part::PartRowJson;
pub(crate) use report::write as report;
pub(crate) use trials::TrialsJson;

pub use record::{AlarmJson, PartJson, PrintJson, SpanJson};
pub use suggestion::SuggestionJson;

use dwell_analysis::estimate::Estimate;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

/// A mean with its 90 % interval.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Mean")]
pub(crate) struct MeanJson {
    mean: f64,
    low: f64,
    high: f64,
}

impl From<&Estimate> for MeanJson {
    fn from(of: &Estimate) -> Self {
        Self { mean: of.value, low: of.low, high: of.high }
    }
}

/// A median with its interval.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Median")]
pub(crate) struct MedianJson {
    median: f64,
    low: f64,
    high: f64,
}

impl From<&Estimate> for MedianJson {
    fn from(of: &Estimate) -> Self {
        Self { median: of.value, low: of.low, high: of.high }
    }
}

/// An object without the fields that are not known.
#[must_use]
pub(crate) fn known(value: Value) -> Value {
    match value {
        Value::Object(fields) => {
            Value::Object(fields.into_iter().filter(|(_, value)| !value.is_null()).collect::<Map<_, _>>())
        }
        other => other,
    }
}
