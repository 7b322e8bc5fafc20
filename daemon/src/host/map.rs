//! Documents in, a reading out. Pure: what the host does not tell stays missing; what it tells and can't be true is
//! missing too. Only the job's state is needed for a reading.

use super::choice::{StateField, ToolField};
use super::field::{Field, Missing, NameField, TimeField};
use super::number::{NumberField, ShareField, TemperatureField};
use crate::entry::{Heater, HotEnd, Job, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde_json::Value;
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
    pub name: Option<NameField>,
    /// Progress, 0 to 1.
    pub fraction: Option<ShareField>,
    /// Bytes of the job file read so far.
    pub byte: Option<NumberField>,
    /// Length of the job file, bytes: to know it by, not part of a reading.
    pub size: Option<NumberField>,
    /// The tool at work.
    pub active_tool: Option<ToolField>,
    /// One entry a tool, T0 first.
    pub tools: Vec<HeaterMap>,
    /// The heated bed.
    pub bed: Option<HeaterMap>,
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
    /// Speed of the part fan at its nozzle, 0 to 1.
    pub fan: Option<ShareField>,
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
    #[error("the job's state at {path} is {word:?}, needs to be {right}; add the word under printer.job.state")]
    StateUnknown {
        /// Where it was found.
        path: String,
        /// The host's word.
        word: String,
        /// The words of the configuration.
        right: String,
    },
    /// The host tells the job's state in none of several places.
    #[error("the job's state is told in no place; {}; add a word under printer.job.state", places(.0))]
    StateUntold(Vec<(String, Missing)>),
}

fn places(untold: &[(String, Missing)]) -> String {
    untold.iter().map(|(path, why)| format!("{path}: {why}")).collect::<Vec<_>>().join("; ")
}

/// Steps of the shares that a reading holds.
pub(super) const FRACTION_STEPS: u32 = 1_000_000;
pub(super) const DUTY_STEPS: u32 = 1_000;
pub(super) const FAN_STEPS: u32 = 1_000;

impl MapError {
    /// Whether it may pass by itself: a document that did not come may come. Else a person has to change something.
    #[must_use]
    pub fn is_transient(&self) -> bool {
        match self {
            Self::StateMissing { why, .. } => *why == Missing::NoDocument,
            Self::StateUnknown { .. } => false,
            Self::StateUntold(places) => places.iter().any(|(_, why)| *why == Missing::NoDocument),
        }
    }

    /// Why no place tells the state. Of several each has its say: which of them should have told it is a person's to see.
    fn untold(mut places: Vec<(String, Missing)>) -> Self {
        match (places.pop(), places.is_empty()) {
            (Some((path, Missing::Word { word, right })), true) => Self::StateUnknown { path, word, right },
            (Some((path, why)), true) => Self::StateMissing { path, why },
            (last, _) => Self::StateUntold(places.into_iter().chain(last).collect()),
        }
    }
}

impl HeaterMap {
    /// Whether nothing of the heater is told.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.actual.is_none() && self.target.is_none() && self.duty.is_none() && self.fan.is_none()
    }

    fn read(&self, documents: &[Option<Value>]) -> Heater {
        let temperature =
            |field: &Option<TemperatureField>| field.as_ref().and_then(|field| field.read(documents).ok());
        let share = |field: &Option<ShareField>, steps| {
            let told = field.as_ref().and_then(|field| field.read(documents, steps).ok());
            told.and_then(|thousandths| u16::try_from(thousandths).ok())
        };
        Heater {
            actual: temperature(&self.actual),
            target: temperature(&self.target),
            duty_thousandths: share(&self.duty, DUTY_STEPS),
            fan_thousandths: share(&self.fan, FAN_STEPS),
        }
    }
}

impl PrinterMap {
    /// Whether there is no reading without that document: every place of the job's state is in it. When only some are,
    /// a place in another document may tell the state; whether one does is known only when the documents are
    /// understood, and [`MapError::is_transient`] then tells that it was for want of a document.
    #[must_use]
    pub fn needs(&self, document: usize) -> bool {
        self.state.0.iter().all(|place| place.field.document == document)
    }

    /// Whether the document tells what passes quickly: the job's state, the tool at work, the time or a temperature.
    /// Such a document is not asked for seldom.
    #[must_use]
    pub fn is_quick(&self, document: usize) -> bool {
        let states = self.state.0.iter().map(|place| &place.field);
        let tools = self.active_tool.iter().flat_map(|tool| &tool.0).map(|place| &place.field);
        let heaters = self.tools.iter().chain(&self.bed).flat_map(|heater| [&heater.actual, &heater.target]);
        let temperatures = heaters.flatten().map(|temperature| &temperature.number.field);
        let time = self.time.iter().map(|time| &time.field);
        let mut quick = states.chain(tools).chain(temperatures).chain(time);
        quick.any(|field: &Field| field.document == document)
    }

    fn state(&self, documents: &[Option<Value>]) -> Result<JobState, MapError> {
        let mut untold = Vec::new();
        for (place, told) in self.state.told(documents) {
            match told {
                Ok(state) => return Ok(state),
                Err(why) => untold.push((place.field.place(documents), why)),
            }
        }
        Err(MapError::untold(untold))
    }

    /// The heater of each tool, T0 first: at a shared hot end the tools with no mapping of their own have T0's.
    pub(crate) fn heaters(&self) -> impl Iterator<Item = &HeaterMap> {
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
        state: map.state(documents)?,
        name: map.name.as_ref().and_then(|field| field.read(documents).ok()).map(Arc::from),
        fraction_millionths: map.fraction.as_ref().and_then(|field| field.read(documents, FRACTION_STEPS).ok()),
        byte: map.byte.as_ref().and_then(|field| field.whole(documents).ok()),
    };
    Ok(Reading {
        at,
        after_gap,
        job,
        active_tool: map.active_tool.as_ref().and_then(|field| field.read(documents)),
        tools: map.heaters().map(|heater| heater.read(documents)).collect(),
        bed: map.bed.as_ref().map(|heater| heater.read(documents)),
    })
}
