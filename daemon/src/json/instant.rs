//! An instant in JSON: RFC 3339, in UTC.

use crate::stamp;
use dwell_analysis::time::Timestamp;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize;
use std::borrow::Cow;

/// An instant as JSON has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(crate) struct Instant(String);

impl From<Timestamp> for Instant {
    fn from(at: Timestamp) -> Self {
        Self(stamp::write(at))
    }
}

impl JsonSchema for Instant {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Instant".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "format": "date-time"})
    }
}
