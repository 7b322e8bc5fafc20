//! Documents in, a reading out. Pure: what the host does not tell stays missing; what it tells and can't be true is
//! missing too. Only the job's state is needed for a reading.

use super::field::{Field, Missing, ShareField, TemperatureField};
use crate::entry::{Heater, HotEnd, Job, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Where a printer's documents say what.
#[derive(Clone, Debug)]
pub struct PrinterMap {
    /// How the hot ends are built.
    pub hot_end: HotEnd,
    /// When the host's values are from, if it tells.
    pub time: Option<TimeField>,
    /// The job's state.
    pub state: StateField,
    /// The job file's name.
    pub name: Option<Field>,
    /// Progress, 0 to 1.
    pub fraction: Option<ShareField>,
    /// Bytes of the job file read so far.
    pub byte: Option<Field>,
    /// The tool at work.
    pub active_tool: Option<ToolField>,
    /// One entry a tool, T0 first.
    pub tools: Vec<HeaterMap>,
    /// The heated bed.
    pub bed: Option<HeaterMap>,
}

/// Where the job's state stands and what the host's words for it mean.
#[derive(Clone, Debug)]
pub struct StateField {
    /// Where.
    pub field: Field,
    /// The host's words; never empty.
    pub words: BTreeMap<String, JobState>,
}

/// Where the host tells the time of its values.
#[derive(Clone, Debug)]
pub struct TimeField {
    /// Where.
    pub field: Field,
    /// How it is written.
    pub form: TimeForm,
}

/// A way to write an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeForm {
    /// A text, RFC 3339.
    Rfc3339,
    /// Seconds since 1970-01-01 UTC, with a fraction or without.
    UnixSeconds,
    /// Milliseconds since 1970-01-01 UTC.
    UnixMilliseconds,
}

/// Where the number of the tool at work stands.
#[derive(Clone, Debug)]
pub struct ToolField {
    /// Where.
    pub field: Field,
    /// The host's words for its tools; when empty, the host tells the tool's number.
    pub words: BTreeMap<String, usize>,
}

/// Where a heater's values stand.
#[derive(Clone, Debug, Default)]
pub struct HeaterMap {
    /// Measured temperature.
    pub actual: Option<TemperatureField>,
    /// Set point.
    pub target: Option<TemperatureField>,
    /// Heater duty, 0 to 1.
    pub duty: Option<ShareField>,
}

/// Why documents do not make a reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MapError {
    /// The job's state is missing.
    #[error("the job's state at {path}: {why}")]
    StateMissing {
        /// Where it was looked for.
        path: String,
        /// Why it is missing.
        why: Missing,
    },
    /// The host's word for the state is not in the configuration.
    #[error("the job's state at {path} is {word:?}, needs to be one of {known}; add the word under printer.job.state")]
    StateUnknown {
        /// Where it was found.
        path: String,
        /// The host's word.
        word: String,
        /// The words of the configuration.
        known: String,
    },
}

/// Steps of the two shares that a reading holds.
pub(super) const FRACTION_STEPS: u32 = 1_000_000;
pub(super) const DUTY_STEPS: u32 = 1_000;

impl StateField {
    /// The state, understood.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<JobState, MapError> {
        let path = || self.field.path.to_string();
        let word = self.field.word(documents).map_err(|why| MapError::StateMissing { path: path(), why })?;
        self.words.get(&word).copied().ok_or_else(|| {
            let known = self.words.keys().map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ");
            MapError::StateUnknown { path: path(), word: word.chars().take(60).collect(), known }
        })
    }
}

impl ToolField {
    /// The tool's number, which may be out of range: whether the printer has that tool is for the tracker to say.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<usize, Missing> {
        if self.words.is_empty() {
            let found = self.field.whole(documents)?;
            return Ok(usize::try_from(found).unwrap_or(usize::MAX));
        }
        let word = self.field.word(documents)?;
        self.words
            .get(&word)
            .copied()
            .ok_or(Missing::Kind { found: "another word", right: "one of the words under printer.active_tool" })
    }
}

impl HeaterMap {
    /// Whether nothing of the heater is told.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.actual.is_none() && self.target.is_none() && self.duty.is_none()
    }

    fn read(&self, documents: &[Option<Value>]) -> Heater {
        let temperature =
            |field: &Option<TemperatureField>| field.as_ref().and_then(|field| field.read(documents).ok());
        let duty = self.duty.as_ref().and_then(|field| field.read(documents, DUTY_STEPS).ok());
        Heater {
            actual: temperature(&self.actual),
            target: temperature(&self.target),
            duty_thousandths: duty.and_then(|thousandths| u16::try_from(thousandths).ok()),
        }
    }
}

impl PrinterMap {
    /// Whether there is no reading without that document.
    pub(super) fn needs(&self, document: usize) -> bool {
        self.state.field.document == document
    }

    /// The heater of each tool, T0 first: at a shared hot end the tools with no mapping of their own have T0's.
    pub(super) fn heaters(&self) -> impl Iterator<Item = &HeaterMap> {
        let shared = self.tools.first().filter(|_| self.hot_end == HotEnd::Shared);
        self.tools.iter().map(move |own| shared.filter(|_| own.is_empty()).unwrap_or(own))
    }
}

/// Understands one poll's documents, in the configuration's order; `None` is a document that did not come.
///
/// # Errors
/// When the job's state is missing or in a word that the configuration does not know.
pub fn understand(
    map: &PrinterMap,
    documents: &[Option<Value>],
    at: Timestamp,
    after_gap: bool,
) -> Result<Reading, MapError> {
    let job = Job {
        state: map.state.read(documents)?,
        name: map.name.as_ref().and_then(|field| field.name(documents).ok()).map(Arc::from),
        fraction_millionths: map.fraction.as_ref().and_then(|field| field.read(documents, FRACTION_STEPS).ok()),
        byte: map.byte.as_ref().and_then(|field| field.whole(documents).ok()),
    };
    Ok(Reading {
        at,
        after_gap,
        job,
        active_tool: map.active_tool.as_ref().and_then(|field| field.read(documents).ok()),
        tools: map.heaters().map(|heater| heater.read(documents)).collect(),
        bed: map.bed.as_ref().map(|heater| heater.read(documents)),
    })
}
