//! A journal line of a job file → entry. Apart from the other kinds, since its `tools` are others than a reading's.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

use super::fault::{Fault, wrong};
use super::read::{Text, at_least_zero, degrees, instant, tool_number};
use crate::entry::{FileTool, FileTurn, JobFile, JobFileFrom, Settings};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{CubicMm, Millimetres, Seconds};
use serde::Deserialize;
use std::sync::Arc;

#[derive(Deserialize)]
struct Line<'a> {
    #[serde(borrow)]
    job: Option<WireJob<'a>>,
    #[serde(borrow)]
    from: Option<Text<'a>>,
    bytes: Option<u64>,
    expected_s: Option<f64>,
    turns: Option<Vec<WireTurn>>,
    #[serde(borrow)]
    tools: Option<Vec<WireTool<'a>>>,
}

#[derive(Deserialize)]
struct WireJob<'a> {
    #[serde(borrow)]
    name: Option<Text<'a>>,
    #[serde(borrow)]
    started: Option<Text<'a>>,
}

#[derive(Deserialize)]
struct WireTurn {
    tool: i64,
    byte: u64,
    at_s: f64,
}

#[derive(Deserialize)]
struct WireTool<'a> {
    tool: i64,
    #[serde(borrow)]
    material: Option<Text<'a>>,
    print_c: Option<f64>,
    standby_c: Option<f64>,
    retract_mm: Option<f64>,
    retract_mm_s: Option<f64>,
    prime_mm3: Option<f64>,
    ooze_shield: Option<bool>,
    dried: Option<bool>,
    left: u32,
    left_hot: u32,
}

/// Reads the whole line again; its kind and time are known.
pub(super) fn read(line: &str, at: Timestamp) -> Result<JobFile, Fault> {
    let line: Line<'_> = serde_json::from_str(line)?;
    let job = line.job.ok_or(Fault::Missing("job"))?;
    let from = line.from.ok_or(Fault::Missing("from"))?;
    let bytes = line.bytes.ok_or(Fault::Missing("bytes"))?;
    let turns = line.turns.ok_or(Fault::Missing("turns"))?;
    if let Some((before, after)) = turns.iter().zip(turns.iter().skip(1)).find(|(a, b)| a.byte >= b.byte) {
        let found = format!("byte {} after byte {}", after.byte, before.byte);
        return Err(wrong("turns", found, "turns in the file's order would be right"));
    }
    if let Some((before, after)) = turns.iter().zip(turns.iter().skip(1)).find(|(a, b)| a.at_s > b.at_s) {
        let found = format!("at_s {} after {}", after.at_s, before.at_s);
        return Err(wrong("turns", found, "times that do not go back would be right"));
    }
    let expected = at_least_zero("expected_s", line.expected_s)?.ok_or(Fault::Missing("expected_s"))?;
    let file = JobFile {
        at,
        name: job.name.as_deref().map(Arc::from).ok_or(Fault::Missing("job.name"))?,
        started: instant("job.started", job.started.as_deref())?,
        from: JobFileFrom::of_word(&from).ok_or_else(|| wrong("from", &*from, "host or folder would be right"))?,
        bytes,
        expected: Seconds::new(expected),
        turns: turns.iter().map(turn).collect::<Result<_, _>>()?,
        tools: line.tools.ok_or(Fault::Missing("tools"))?.iter().map(tool).collect::<Result<_, _>>()?,
    };
    Ok(file.rounded())
}

fn turn(wire: &WireTurn) -> Result<FileTurn, Fault> {
    Ok(FileTurn { tool: tool_number(wire.tool)?, byte: wire.byte, at: Seconds::new(wire.at_s) })
}

fn tool(wire: &WireTool<'_>) -> Result<FileTool, Fault> {
    let settings = Settings {
        material: wire.material.as_deref().map(Arc::from),
        print: degrees("print_c", wire.print_c)?,
        standby: degrees("standby_c", wire.standby_c)?,
        retract: at_least_zero("retract_mm", wire.retract_mm)?.map(Millimetres::new),
        retract_mm_s: at_least_zero("retract_mm_s", wire.retract_mm_s)?,
        prime: at_least_zero("prime_mm3", wire.prime_mm3)?.map(CubicMm::new),
        ooze_shield: wire.ooze_shield,
        dried: wire.dried,
    };
    if wire.left_hot > wire.left {
        return Err(wrong("left_hot", wire.left_hot.to_string(), "at most `left` would be right"));
    }
    Ok(FileTool { tool: tool_number(wire.tool)?, settings, left: wire.left, left_hot: wire.left_hot })
}
