//! What programs say for people: how a print went, and what is done about an alarm. Owns the shapes of what is taken; what
//! of it is right is the pages' own.

use super::asked::Asked;
use super::problem::Problem;
use super::record;
use crate::entry::Mode;
use crate::web::{Site, alarms, form};
use axum::http::StatusCode;
use dwell_dashboards::SHELVE_FOR;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::DeserializeOwned;

/// Who has done it when nobody gives a name.
const NOBODY_NAMED: &str = "api";

/// How a print went.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "SaidOfPrint")]
pub(super) struct OutcomeSaid {
    /// Absent: the whole print.
    #[schemars(range(max = 15))]
    tool: Option<u32>,
    /// `clean`, or a failure mode.
    #[schemars(schema_with = "modes")]
    mode: String,
    #[schemars(range(min = 1, max = 3))]
    severity: Option<u32>,
    #[schemars(length(max = 500))]
    note: Option<String>,
}

/// Which word on a print is taken back.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "TakenBack")]
pub(super) struct UndoSaid {
    /// Of which tool it was said; absent: of the whole print.
    #[schemars(range(max = 15))]
    tool: Option<u32>,
    /// What was said: `clean`, or a failure mode.
    #[schemars(schema_with = "modes")]
    mode: String,
    /// When it was said, as the print's outcomes have it.
    #[schemars(schema_with = "instants")]
    said: String,
}

/// What is said of an alarm with what is done about it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "SaidOfAlarm")]
pub(super) struct AlarmSaid {
    /// Who does it.
    by: Option<String>,
    /// Taking an alarm out of service needs it.
    why: Option<String>,
    /// How long it is shelved for; shelving needs it.
    #[schemars(schema_with = "minutes_offered")]
    minutes: Option<u32>,
}

fn modes(_: &mut SchemaGenerator) -> Schema {
    let words: Vec<&str> = Mode::ALL.iter().map(|mode| mode.word()).collect();
    json_schema!({"type": "string", "enum": words})
}

fn instants(_: &mut SchemaGenerator) -> Schema {
    json_schema!({"type": "string", "format": "date-time"})
}

fn minutes_offered(_: &mut SchemaGenerator) -> Schema {
    json_schema!({"enum": SHELVE_FOR.map(|(minutes, _)| minutes)})
}

pub(super) fn outcome(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let OutcomeSaid { tool, mode, severity, note } = read(asked)?;
    let severity = severity.map(|severity| severity.to_string());
    form::record(site, asked.id, form::understood(&tool_word(tool), &mode, severity.as_deref(), note)?)?;
    record::print(site, asked)
}

pub(super) fn undo(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let UndoSaid { tool, mode, said } = read(asked)?;
    form::take_back(site, asked.id, form::What::of(&tool_word(tool), &mode)?, form::when_said(&said)?)?;
    record::print(site, asked)
}

/// A tool, or the whole print, as forms have it.
fn tool_word(tool: Option<u32>) -> String {
    tool.map_or_else(|| "all".to_owned(), |tool| tool.to_string())
}

pub(super) fn alarm(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let AlarmSaid { by, why, minutes } = read(asked)?;
    let by = by.or_else(|| Some(NOBODY_NAMED.to_owned()));
    let minutes = minutes.map(|minutes| minutes.to_string());
    let (act, by, why) = alarms::understood(&asked.act, by, why, minutes.as_deref())?;
    let done = site.store.act(asked.id, act, &by, why.as_deref(), site.clock.now().at);
    done.map_err(alarms::refusal)?;
    record::alarm(site, asked)
}

fn read<T: DeserializeOwned>(asked: &Asked) -> Result<T, Problem> {
    serde_json::from_slice(&asked.body).map_err(|error| {
        let detail = format!("The body is not as /api/openapi.json has it: {error}.");
        let is_json = !error.is_syntax() && !error.is_eof();
        Problem::new(if is_json { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::BAD_REQUEST }, detail)
    })
}
