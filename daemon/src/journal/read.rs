//! Journal line → entry. Unknown keys are tolerated; a known key with a wrong value is a fault that names it.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

use super::fault::{Fault, wrong};
use super::{heater, job_file};
use crate::entry::{
    CentiCelsius, Entry, Heater, Job, JobState, Mode, Outcome, Part, PartChange, PartEvent, PartReason, PrinterName,
    Reading, Settings, SettingsChange, Severity, ToolNumber, Undo,
};
use crate::stamp;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres, Seconds};
use serde::Deserialize;
use std::borrow::Cow;
use std::ops::Deref;
use std::sync::Arc;

/// A line may be this far ahead of the reader's clock: clocks differ, but a day is no difference of clocks.
pub const FUTURE_MAX: Seconds = Seconds::new(86_400.0);

#[derive(Deserialize)]
struct Line<'a> {
    #[serde(borrow)]
    kind: Option<Text<'a>>,
    #[serde(borrow)]
    printer: Option<Text<'a>>,
    #[serde(borrow)]
    at: Option<Text<'a>>,
    #[serde(borrow)]
    job: Option<WireJob<'a>>,
    active_tool: Option<i64>,
    #[serde(default)]
    after_gap: bool,
    tools: Option<Vec<WireHeater>>,
    bed: Option<WireHeater>,
    tool: Option<i64>,
    #[serde(borrow)]
    material: Option<Text<'a>>,
    print_c: Option<f64>,
    standby_c: Option<f64>,
    retract_mm: Option<f64>,
    retract_mm_s: Option<f64>,
    prime_mm3: Option<f64>,
    ooze_shield: Option<bool>,
    dried: Option<bool>,
    #[serde(borrow)]
    part: Option<Text<'a>>,
    #[serde(borrow)]
    event: Option<Text<'a>>,
    #[serde(borrow)]
    reason: Option<Text<'a>>,
    #[serde(borrow)]
    note: Option<Text<'a>>,
    #[serde(borrow)]
    mode: Option<Text<'a>>,
    severity: Option<i64>,
    #[serde(borrow)]
    said: Option<Text<'a>>,
}

/// A text that stays in its line where it can; an optional `Cow` would always be copied.
#[derive(Deserialize)]
#[serde(transparent)]
pub(super) struct Text<'a>(#[serde(borrow)] Cow<'a, str>);

impl Deref for Text<'_> {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

#[derive(Deserialize)]
struct WireJob<'a> {
    #[serde(borrow)]
    state: Option<Text<'a>>,
    #[serde(borrow)]
    name: Option<Text<'a>>,
    fraction: Option<f64>,
    byte: Option<u64>,
    #[serde(borrow)]
    started: Option<Text<'a>>,
}

#[derive(Clone, Copy, Deserialize)]
struct WireHeater {
    actual_c: Option<f64>,
    target_c: Option<f64>,
    duty: Option<f64>,
    fan: Option<f64>,
}

/// Reads lines, one after the other. Nearly every one repeats the names of the one before, which are held once.
#[derive(Debug)]
pub struct Parser {
    now: Timestamp,
    printer: Option<PrinterName>,
    job: Option<Arc<str>>,
}

impl Parser {
    /// A parser for lines that are told up to `now`, the reader's clock.
    #[must_use]
    pub const fn new(now: Timestamp) -> Self {
        Self { now, printer: None, job: None }
    }

    /// Reads one line.
    ///
    /// # Errors
    /// A [`Fault`] that names the key, what was found and what would be right.
    pub fn line(&mut self, text: &str) -> Result<(PrinterName, Entry), Fault> {
        let line: Line<'_> = serde_json::from_str(text)?;
        let printer = self.printer(line.printer.as_deref().ok_or(Fault::Missing("printer"))?)?;
        let at = instant("at", line.at.as_deref())?;
        if at - self.now > FUTURE_MAX {
            return Err(Fault::Future { at, now: self.now });
        }
        let kind = line.kind.as_deref().ok_or(Fault::Missing("kind"))?;
        let entry = match kind {
            "reading" => Entry::Reading(self.reading(&line, at)?),
            "settings" => Entry::Settings(settings(&line, at)?),
            "part" => Entry::Part(part(&line, at)?),
            "outcome" => Entry::Outcome(outcome(&line, at)?),
            "undo" => Entry::Undo(undo(&line, at)?),
            "job_file" => Entry::JobFile(job_file::read(text, at)?),
            "heater" => Entry::Heater(heater::read(text, at)?),
            other => return Err(wrong("kind", other, "reading, settings, part, outcome, undo, job_file or heater")),
        };
        Ok((printer, entry))
    }

    fn printer(&mut self, name: &str) -> Result<PrinterName, Fault> {
        if let Some(held) = self.printer.as_ref().filter(|held| held.as_str() == name) {
            return Ok(held.clone());
        }
        let named = PrinterName::new(name);
        self.printer.clone_from(&named);
        named.ok_or_else(|| wrong("printer", name, "a name of 1 to 64 printable characters"))
    }

    fn job(&mut self, name: &str) -> Arc<str> {
        if let Some(held) = self.job.as_ref().filter(|held| ***held == *name) {
            return Arc::clone(held);
        }
        Arc::clone(self.job.insert(Arc::from(name)))
    }

    fn reading(&mut self, line: &Line<'_>, at: Timestamp) -> Result<Reading, Fault> {
        let job = line.job.as_ref().ok_or(Fault::Missing("job"))?;
        let state = job.state.as_deref().ok_or(Fault::Missing("job.state"))?;
        let state = JobState::of_word(state).ok_or_else(|| {
            wrong("job.state", state, "none, heating, printing, paused, completed, cancelled or failed would be right")
        })?;
        let tools = line.tools.as_ref().ok_or(Fault::Missing("tools"))?;
        if tools.len() > ToolNumber::COUNT_MAX {
            return Err(wrong("tools", format!("a list of {}", tools.len()), "at most 16 tools"));
        }
        let active_tool = line
            .active_tool
            .map(|tool| usize::try_from(tool).map_err(|_| wrong("active_tool", tool, "a tool's number, from 0")));
        Ok(Reading {
            at,
            after_gap: line.after_gap,
            job: Job {
                state,
                name: job.name.as_deref().map(|name| self.job(name)),
                fraction_millionths: job.fraction.map(fraction).transpose()?,
                byte: job.byte,
            },
            active_tool: active_tool.transpose()?,
            tools: tools.iter().map(|tool| heater(*tool)).collect::<Result<_, _>>()?,
            // A bed has no part fan.
            bed: line.bed.map(|bed| heater(WireHeater { fan: None, ..bed })).transpose()?,
        })
    }
}

fn heater(wire: WireHeater) -> Result<Heater, Fault> {
    Ok(Heater {
        actual: wire.actual_c.map(|value| temperature("actual_c", value)).transpose()?,
        target: wire.target_c.map(|value| temperature("target_c", value)).transpose()?,
        duty_thousandths: wire.duty.map(|value| thousandths("duty", value)).transpose()?,
        fan_thousandths: wire.fan.map(|value| thousandths("fan", value)).transpose()?,
    })
}

fn settings(line: &Line<'_>, at: Timestamp) -> Result<SettingsChange, Fault> {
    Ok(SettingsChange {
        at,
        tool: tool(line)?,
        settings: Settings {
            material: line.material.as_deref().map(Arc::from),
            print: degrees("print_c", line.print_c)?,
            standby: degrees("standby_c", line.standby_c)?,
            retract: at_least_zero("retract_mm", line.retract_mm)?.map(Millimetres::new),
            retract_mm_s: at_least_zero("retract_mm_s", line.retract_mm_s)?,
            prime: at_least_zero("prime_mm3", line.prime_mm3)?.map(CubicMm::new),
            ooze_shield: line.ooze_shield,
            dried: line.dried,
        },
    })
}

pub(super) fn at_least_zero(key: &'static str, value: Option<f64>) -> Result<Option<f64>, Fault> {
    match value {
        Some(value) if value.is_finite() && value >= 0.0 => Ok(Some(value)),
        Some(value) => Err(wrong(key, value, "0 or more")),
        None => Ok(None),
    }
}

pub(super) fn degrees(key: &'static str, value: Option<f64>) -> Result<Option<Celsius>, Fault> {
    value.map(|value| temperature(key, value).map(|_| Celsius::new(value))).transpose()
}

fn part(line: &Line<'_>, at: Timestamp) -> Result<PartChange, Fault> {
    let part = line.part.as_deref().ok_or(Fault::Missing("part"))?;
    let event = line.event.as_deref().ok_or(Fault::Missing("event"))?;
    let reason = line.reason.as_deref().map(|reason| {
        PartReason::of_word(reason).ok_or_else(|| wrong("reason", reason, "failed or preventive would be right"))
    });
    Ok(PartChange {
        at,
        tool: tool(line)?,
        part: Part::of_word(part)
            .ok_or_else(|| wrong("part", part, "liner, nozzle, heat_break, heater or hot_end would be right"))?,
        event: PartEvent::of_word(event).ok_or_else(|| wrong("event", event, "fitted or removed would be right"))?,
        reason: reason.transpose()?,
        note: line.note.as_deref().map(str::to_owned),
    })
}

fn outcome(line: &Line<'_>, at: Timestamp) -> Result<Outcome, Fault> {
    let job = line.job.as_ref().ok_or(Fault::Missing("job"))?;
    let mode = line.mode.as_deref().ok_or(Fault::Missing("mode"))?;
    let severity = line
        .severity
        .map(|severity| Severity::new(severity).ok_or_else(|| wrong("severity", severity, "1, 2 or 3 would be right")));
    Ok(Outcome {
        at,
        job: job.name.as_deref().map(Arc::from).ok_or(Fault::Missing("job.name"))?,
        started: instant("job.started", job.started.as_deref())?,
        tool: line.tool.map(|_| tool(line)).transpose()?,
        mode: Mode::of_word(mode).ok_or_else(|| wrong("mode", mode, "clean or a failure mode would be right"))?,
        severity: severity.transpose()?,
        note: line.note.as_deref().map(str::to_owned),
    })
}

fn undo(line: &Line<'_>, at: Timestamp) -> Result<Undo, Fault> {
    let Outcome { job, started, tool, mode, .. } = outcome(line, at)?;
    let said = instant("said", line.said.as_deref())?;
    if said > at {
        return Err(wrong("said", stamp::write(said), "an instant no later than `at` would be right"));
    }
    Ok(Undo { at, job, started, said, tool, mode })
}

fn tool(line: &Line<'_>) -> Result<ToolNumber, Fault> {
    tool_number(line.tool.ok_or(Fault::Missing("tool"))?)
}

pub(super) fn tool_number(number: i64) -> Result<ToolNumber, Fault> {
    let tool = usize::try_from(number).ok().and_then(ToolNumber::new);
    tool.ok_or_else(|| wrong("tool", number, "a tool's number, 0 to 15"))
}

pub(super) fn instant(key: &'static str, text: Option<&str>) -> Result<Timestamp, Fault> {
    let text = text.ok_or(Fault::Missing(key))?;
    stamp::parse(text).ok_or_else(|| wrong(key, text, "an RFC 3339 time with offset, like 2026-03-02T08:00:01Z"))
}

fn temperature(key: &'static str, value: f64) -> Result<CentiCelsius, Fault> {
    CentiCelsius::nearest(value).ok_or_else(|| wrong(key, value, "between -273.15 and 1000 °C"))
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked: 0 to 1")]
fn fraction(value: f64) -> Result<u32, Fault> {
    if !(0.0..=1.0).contains(&value) {
        return Err(wrong("job.fraction", value, "0 to 1"));
    }
    Ok((value * 1e6).round() as u32)
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked: 0 to 1")]
fn thousandths(key: &'static str, value: f64) -> Result<u16, Fault> {
    if !(0.0..=1.0).contains(&value) {
        return Err(wrong(key, value, "0 to 1"));
    }
    Ok((value * 1e3).round() as u16)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::journal::write_line;

    const NOW: Timestamp = Timestamp::from_ms(1_800_000_000_000);

    /// Every kind of line, all keys, odd numbers: reading what was written gives the entry again.
    #[test]
    fn what_was_written_reads_back_the_same() {
        let lines = [
            r#"{"kind":"reading","printer":"bench","at":"2026-03-02T08:00:01Z","job":{"state":"printing","name":"lantern.gcode","fraction":0.4312},"active_tool":1,"tools":[{"actual_c":174.8,"target_c":175.0},{"actual_c":206.13,"target_c":206.0,"duty":0.251,"fan":0.6}],"bed":{"actual_c":59.9}}"#,
            r#"{"kind":"reading","printer":"bench","at":"2026-03-02T09:00:01.250+01:00","after_gap":true,"job":{"state":"none"},"tools":[{}]}"#,
            r#"{"kind":"settings","printer":"bench","at":"2026-03-02T07:00:00Z","tool":1,"material":"PETG","standby_c":170.5,"retract_mm":0.8,"dried":false}"#,
            r#"{"kind":"part","printer":"bench","at":"2026-03-02T07:00:00Z","tool":1,"part":"liner","event":"fitted","reason":"failed","note":"brown \"ring\""}"#,
            r#"{"kind":"outcome","printer":"bench","at":"2026-03-02T10:00:00Z","job":{"name":"lantern.gcode","started":"2026-03-02T08:00:01Z"},"tool":1,"mode":"jam","severity":2}"#,
            r#"{"kind":"job_file","printer":"bench","at":"2026-03-02T08:00:09Z","job":{"name":"lantern.gcode","started":"2026-03-02T08:00:01Z"},"from":"folder","bytes":81234,"expected_s":3671.204,"turns":[{"tool":0,"byte":0,"at_s":-61.5},{"tool":1,"byte":913,"at_s":12.081}],"tools":[{"tool":1,"print_c":215,"standby_c":170.333,"retract_mm":0.8,"left":12,"left_hot":3}]}"#,
        ];
        for line in lines {
            let (printer, entry) = Parser::new(NOW).line(line).unwrap();
            let written = write_line(&printer, &entry);
            assert_eq!(Parser::new(NOW).line(&written).unwrap(), (printer, entry), "{written}");
        }
    }

    #[test]
    fn a_wrong_line_is_named_by_its_key() {
        let cases = [
            (r#"{"kind":"reading","printer":"bench","at":"2026-03-02","job":{"state":"none"},"tools":[]}"#, "`at`"),
            (
                r#"{"kind":"reading","printer":"bench","at":"2126-03-02T08:00:00Z","job":{"state":"none"},"tools":[]}"#,
                "ahead",
            ),
            (
                r#"{"kind":"reading","printer":"bench","at":"2026-03-02T08:00:00Z","job":{"state":"busy"},"tools":[]}"#,
                "job.state",
            ),
            (
                r#"{"kind":"reading","printer":"bench","at":"2026-03-02T08:00:00Z","job":{"state":"none"},"tools":[{"actual_c":1e5}]}"#,
                "actual_c",
            ),
            (r#"{"kind":"reading","printer":"bench","at":"2026-03-02T08:00:00Z","tools":[]}"#, "`job` is missing"),
            (
                r#"{"kind":"job_file","printer":"bench","at":"2026-03-02T08:00:09Z","job":{"name":"a","started":"2026-03-02T08:00:01Z"},"from":"post","bytes":1,"expected_s":1,"turns":[],"tools":[]}"#,
                "`from` is post",
            ),
            (
                r#"{"kind":"job_file","printer":"bench","at":"2026-03-02T08:00:09Z","job":{"name":"a","started":"2026-03-02T08:00:01Z"},"from":"host","bytes":9,"expected_s":1,"turns":[{"tool":0,"byte":5,"at_s":1},{"tool":1,"byte":5,"at_s":2}],"tools":[]}"#,
                "`turns` is byte 5 after byte 5",
            ),
            (r#"{"kind":"reading","#, "not a journal line"),
        ];
        for (line, says) in cases {
            let fault = Parser::new(NOW).line(line).unwrap_err().to_string();
            assert!(fault.contains(says), "{fault}");
        }
    }
}
