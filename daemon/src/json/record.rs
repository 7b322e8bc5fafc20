//! Rows of the record: prints, idle spans, alarms, part changes.

use super::Instant;
use crate::entry::{JobFileFrom, PartEvent, PartReason, PrintEnd, Severity, ToolNumber};
use crate::store::{AlarmRow, OutcomeRow, PartRow, PrintRow, PrintTool, SpanRow};
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Seconds};
use schemars::JsonSchema;
use serde::Serialize;

/// A print.
#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "Print")]
pub struct PrintJson {
    id: i64,
    printer: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    started: Instant,
    /// Null while it runs, as is `end`.
    ended: Option<Instant>,
    end: Option<&'static str>,
    tool_changes: u32,
    /// Where its job file was found, and how long that let expect.
    #[serde(skip_serializing_if = "Option::is_none")]
    job_file: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected_s: Option<f64>,
    /// How often the host named another tool than the job file; only with one.
    #[serde(skip_serializing_if = "Option::is_none")]
    tool_disagreements: Option<u32>,
    tools: Vec<PrintToolJson>,
    outcomes: Vec<OutcomeJson>,
}

/// One tool's waiting in a print.
#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "PrintTool")]
struct PrintToolJson {
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    idle_hot_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    idle_hot_max_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dose_min: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ooze_mm3: Option<f64>,
}

#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "Outcome")]
struct OutcomeJson {
    at: Instant,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<usize>,
    mode: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    severity: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

/// An idle span.
#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "Span")]
pub struct SpanJson {
    printer: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    print: Option<i64>,
    tool: usize,
    context: &'static str,
    began: Instant,
    /// Null while it lasts.
    ended: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    idle_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mean_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dose_min: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ooze_mm3: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    gap_s: Option<f64>,
}

/// An alarm.
#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "Alarm")]
pub struct AlarmJson {
    id: i64,
    /// Absent when the alarm is about the record itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    printer: Option<String>,
    /// Absent when the alarm is about the printer as a whole, or the record.
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<usize>,
    rule: &'static str,
    raised: Instant,
    /// Null while its condition stands.
    returned: Option<Instant>,
    priority: &'static str,
    state: &'static str,
    /// When a person acknowledged it first, and who.
    #[serde(skip_serializing_if = "Option::is_none")]
    acknowledged: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    acknowledged_by: Option<String>,
    /// Absent unless it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    shelved_until: Option<Instant>,
    /// Whether it was rightly raised: `right` or `false`, as a person said.
    #[serde(skip_serializing_if = "Option::is_none")]
    marked: Option<&'static str>,
    cause: String,
    consequence: String,
    action: String,
}

/// A part change.
#[derive(Debug, JsonSchema, Serialize)]
#[schemars(rename = "PartChange")]
pub struct PartJson {
    printer: String,
    at: Instant,
    tool: usize,
    part: &'static str,
    event: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

impl From<&PrintRow> for PrintJson {
    fn from(row: &PrintRow) -> Self {
        Self {
            id: row.id,
            printer: row.printer.to_string(),
            name: row.name.clone(),
            started: Instant::from(row.started),
            ended: row.ended.map(Instant::from),
            end: row.end.map(PrintEnd::word),
            tool_changes: row.tool_changes,
            job_file: row.job_file.map(JobFileFrom::word),
            expected_s: row.expected.map(Seconds::get),
            tool_disagreements: row.job_file.map(|_| row.disagreements),
            tools: row.tools.iter().map(PrintToolJson::from).collect(),
            outcomes: row.outcomes.iter().map(OutcomeJson::from).collect(),
        }
    }
}

impl From<&PrintTool> for PrintToolJson {
    fn from(tool: &PrintTool) -> Self {
        Self {
            tool: tool.tool.idx(),
            idle_hot_s: tool.idle.map(Seconds::get),
            idle_hot_max_s: tool.idle_max.map(Seconds::get),
            dose_min: tool.dose_max.map(DoseMinutes::get),
            ooze_mm3: tool.ooze.map(CubicMm::get),
        }
    }
}

impl From<&OutcomeRow> for OutcomeJson {
    fn from(row: &OutcomeRow) -> Self {
        Self {
            at: Instant::from(row.at),
            tool: row.tool.map(ToolNumber::idx),
            mode: row.mode.word(),
            severity: row.severity.map(Severity::number),
            note: row.note.clone(),
        }
    }
}

impl From<&SpanRow> for SpanJson {
    fn from(row: &SpanRow) -> Self {
        Self {
            printer: row.printer.to_string(),
            print: row.print,
            tool: row.tool.idx(),
            context: row.context.word(),
            began: Instant::from(row.began),
            ended: row.ended.map(Instant::from),
            idle_s: row.idle.map(Seconds::get),
            mean_c: row.mean.map(Celsius::get),
            max_c: row.max.map(Celsius::get),
            target_c: row.target.map(Celsius::get),
            dose_min: row.dose.map(DoseMinutes::get),
            ooze_mm3: row.ooze.map(CubicMm::get),
            gap_s: row.gap.map(Seconds::get),
        }
    }
}

impl From<&AlarmRow> for AlarmJson {
    fn from(row: &AlarmRow) -> Self {
        Self {
            id: row.id,
            printer: row.printer.as_ref().map(ToString::to_string),
            tool: row.subject.tool.map(ToolNumber::idx),
            rule: row.subject.rule.word(),
            raised: Instant::from(row.raised),
            returned: row.returned.map(Instant::from),
            priority: row.priority.word(),
            state: row.state.word(),
            acknowledged: row.acknowledged.map(Instant::from),
            acknowledged_by: row.acknowledged_by.clone(),
            shelved_until: row.shelved_until.map(Instant::from),
            marked: row.is_right.map(|is_right| if is_right { "right" } else { "false" }),
            cause: row.cause.clone(),
            consequence: row.consequence.clone(),
            action: row.action.clone(),
        }
    }
}

impl From<&PartRow> for PartJson {
    fn from(row: &PartRow) -> Self {
        let change = &row.change;
        Self {
            printer: row.printer.to_string(),
            at: Instant::from(change.at),
            tool: change.tool.idx(),
            part: change.part.word(),
            event: PartEvent::word(change.event),
            reason: change.reason.map(PartReason::word),
            note: change.note.clone(),
        }
    }
}
