//! Entry → journal line, without its line end. Absent stays absent.

use super::heater::HeaterLine as HeaterFactLine;
use crate::entry::{Entry, Heater, JobFile, Outcome, PartChange, PrinterName, Reading, Settings, ToolNumber, Undo};
use crate::stamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use serde::Serialize;

#[derive(Serialize)]
struct Line<'a> {
    kind: &'static str,
    printer: &'a str,
    at: String,
    #[serde(flatten)]
    body: Body<'a>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Body<'a> {
    Reading(ReadingLine<'a>),
    Settings(SettingsLine<'a>),
    Part(PartLine<'a>),
    Outcome(OutcomeLine<'a>),
    Undo(UndoLine<'a>),
    JobFile(JobFileLine<'a>),
    Heater(HeaterFactLine),
}

#[derive(Serialize)]
struct ReadingLine<'a> {
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    after_gap: bool,
    job: JobLine<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    active_tool: Option<usize>,
    tools: Vec<HeaterLine>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bed: Option<HeaterLine>,
}

#[derive(Serialize)]
struct JobLine<'a> {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fraction: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    byte: Option<u64>,
}

#[derive(Serialize)]
struct HeaterLine {
    #[serde(skip_serializing_if = "Option::is_none")]
    actual_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    duty: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fan: Option<f64>,
}

#[derive(Serialize)]
struct SettingsLine<'a> {
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    print_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    standby_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    retract_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    retract_mm_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    prime_mm3: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ooze_shield: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dried: Option<bool>,
}

#[derive(Serialize)]
struct PartLine<'a> {
    tool: usize,
    part: &'static str,
    event: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'a str>,
}

#[derive(Serialize)]
struct OutcomeLine<'a> {
    job: OutcomeJob<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<usize>,
    mode: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    severity: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'a str>,
}

#[derive(Serialize)]
struct UndoLine<'a> {
    job: OutcomeJob<'a>,
    said: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<usize>,
    mode: &'static str,
}

#[derive(Serialize)]
struct JobFileLine<'a> {
    job: OutcomeJob<'a>,
    from: &'static str,
    bytes: u64,
    expected_s: f64,
    turns: Vec<TurnLine>,
    tools: Vec<FileToolLine<'a>>,
}

#[derive(Serialize)]
struct TurnLine {
    tool: usize,
    byte: u64,
    at_s: f64,
}

#[derive(Serialize)]
struct FileToolLine<'a> {
    #[serde(flatten)]
    settings: SettingsLine<'a>,
    left: u32,
    left_hot: u32,
}

#[derive(Serialize)]
struct OutcomeJob<'a> {
    name: &'a str,
    started: String,
}

/// One entry as a journal line, without the line end.
///
/// # Panics
/// Never: string keys and finite numbers always serialize.
#[must_use]
pub fn write_line(printer: &PrinterName, entry: &Entry) -> String {
    let (kind, at, body) = match entry {
        Entry::Reading(reading) => ("reading", reading.at, Body::Reading(reading_line(reading))),
        Entry::Settings(change) => {
            ("settings", change.at, Body::Settings(settings_line(change.tool, &change.settings)))
        }
        Entry::Part(change) => ("part", change.at, Body::Part(part_line(change))),
        Entry::Outcome(outcome) => ("outcome", outcome.at, Body::Outcome(outcome_line(outcome))),
        Entry::Undo(undo) => ("undo", undo.at, Body::Undo(undo_line(undo))),
        Entry::JobFile(file) => ("job_file", file.at, Body::JobFile(job_file_line(file))),
        Entry::Heater(fact) => ("heater", fact.at, Body::Heater(HeaterFactLine::from(fact))),
    };
    let line = Line { kind, printer: printer.as_str(), at: stamp::write(at), body };
    #[expect(clippy::expect_used, reason = "string keys and finite numbers always serialize")]
    serde_json::to_string(&line).expect("a journal line has string keys only")
}

fn reading_line(reading: &Reading) -> ReadingLine<'_> {
    ReadingLine {
        after_gap: reading.after_gap,
        job: JobLine {
            state: reading.job.state.word(),
            name: reading.job.name.as_deref(),
            fraction: reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 1e6),
            byte: reading.job.byte,
        },
        active_tool: reading.active_tool,
        tools: reading.tools.iter().map(heater_line).collect(),
        bed: reading.bed.as_ref().map(heater_line),
    }
}

fn heater_line(heater: &Heater) -> HeaterLine {
    HeaterLine {
        actual_c: heater.actual.map(|actual| actual.celsius().get()),
        target_c: heater.target.map(|target| target.celsius().get()),
        duty: heater.duty_thousandths.map(|duty| f64::from(duty) / 1e3),
        fan: heater.fan_thousandths.map(|fan| f64::from(fan) / 1e3),
    }
}

fn settings_line(tool: ToolNumber, settings: &Settings) -> SettingsLine<'_> {
    SettingsLine {
        tool: tool.idx(),
        material: settings.material.as_deref(),
        print_c: settings.print.map(Celsius::get),
        standby_c: settings.standby.map(Celsius::get),
        retract_mm: settings.retract.map(Millimetres::get),
        retract_mm_s: settings.retract_mm_s,
        prime_mm3: settings.prime.map(CubicMm::get),
        ooze_shield: settings.ooze_shield,
        dried: settings.dried,
    }
}

fn part_line(change: &PartChange) -> PartLine<'_> {
    PartLine {
        tool: change.tool.idx(),
        part: change.part.word(),
        event: change.event.word(),
        reason: change.reason.map(crate::entry::PartReason::word),
        note: change.note.as_deref(),
    }
}

fn outcome_line(outcome: &Outcome) -> OutcomeLine<'_> {
    OutcomeLine {
        job: OutcomeJob { name: &outcome.job, started: stamp::write(outcome.started) },
        tool: outcome.tool.map(ToolNumber::idx),
        mode: outcome.mode.word(),
        severity: outcome.severity.map(crate::entry::Severity::number),
        note: outcome.note.as_deref(),
    }
}

fn undo_line(undo: &Undo) -> UndoLine<'_> {
    UndoLine {
        job: OutcomeJob { name: &undo.job, started: stamp::write(undo.started) },
        said: stamp::write(undo.said),
        tool: undo.tool.map(ToolNumber::idx),
        mode: undo.mode.word(),
    }
}

fn job_file_line(file: &JobFile) -> JobFileLine<'_> {
    let turn = |turn: &crate::entry::FileTurn| TurnLine { tool: turn.tool.idx(), byte: turn.byte, at_s: turn.at.get() };
    JobFileLine {
        job: OutcomeJob { name: &file.name, started: stamp::write(file.started) },
        from: file.from.word(),
        bytes: file.bytes,
        expected_s: file.expected.get(),
        turns: file.turns.iter().map(turn).collect(),
        tools: file
            .tools
            .iter()
            .map(|tool| FileToolLine {
                settings: settings_line(tool.tool, &tool.settings),
                left: tool.left,
                left_hot: tool.left_hot,
            })
            .collect(),
    }
}
