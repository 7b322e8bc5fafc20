//! What is known beforehand of the printer that is to run a job. Owns these shapes and what is taken where nothing is
//! known; whoever fills them reads the configuration and the record.

use crate::entry::{HotEnd, Mode, PrinterName, ToolNumber};
use crate::jobfile::MotionLimits;
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::polymer::{MaterialFacts, Materials};
use dwell_analysis::risk::State;
use dwell_analysis::thermal::{AMBIENT, Heater};
use dwell_analysis::units::{Celsius, Millimetres};
use dwell_analysis::wear::LINER_CONTINUOUS;
use std::sync::Arc;

/// Continuous service limit of PTFE, the usual liner.
pub const LINER_REFERENCE: Celsius = LINER_CONTINUOUS.value;

/// A printer as far as it is known. The default knows nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// Its name.
    pub printer: Option<PrinterName>,
    /// How its hot ends are built.
    pub hot_end: Option<HotEnd>,
    /// How many tools it has.
    pub n_tools: Option<usize>,
    /// How fast it moves.
    pub limits: MotionLimits,
    /// The material table in force.
    pub materials: Arc<Materials>,
    /// One a tool, T0 first; a tool that has none is one of which nothing is known.
    pub tools: Vec<ToolKnown>,
    /// How long its motion takes against what files lead to expect, as a factor; `None` without a record.
    pub pace: Option<Result<Estimate, Refusal>>,
    /// What the record says of this job's tools and the failure modes; empty without a record.
    pub risks: Vec<RiskKnown>,
}

/// One tool as far as it is known. The default knows nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToolKnown {
    /// What it holds, as people wrote it.
    pub material: Option<Arc<str>>,
    /// What its liner stands.
    pub liner: Liner,
    /// Its heater.
    pub heater: HeaterKnown,
    /// The retractions of its past prints.
    pub retraction: Option<Habit>,
}

/// What a tool's liner stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Liner {
    /// Nobody told: PTFE is assumed, [`LINER_REFERENCE`].
    #[default]
    Assumed,
    /// Its rating, as somebody told it.
    Rated(Celsius),
    /// It has none.
    Absent,
}

/// The heater that temperatures are expected by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaterKnown {
    /// Its parameters.
    pub heater: Heater,
    /// What it takes for its surroundings, with bed and neighbour as they usually are.
    pub surroundings: Celsius,
    /// Of how many coolings and heatings they were fitted; `None` is a typical heater.
    pub fitted: Option<usize>,
}

impl Default for HeaterKnown {
    fn default() -> Self {
        Self { heater: Heater::HOT_END, surroundings: AMBIENT, fitted: None }
    }
}

/// What a tool's past prints drew back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// Least.
    pub low: Millimetres,
    /// Median.
    pub median: Millimetres,
    /// Most.
    pub high: Millimetres,
    /// In so many prints.
    pub n: usize,
}

/// What the record says of one tool of this job and one failure mode.
#[derive(Clone, Debug, PartialEq)]
pub struct RiskKnown {
    /// The tool.
    pub tool: ToolNumber,
    /// The failure mode.
    pub mode: Mode,
    /// Whether the record carries a forecast.
    pub state: State,
    /// Tool-runs with a known outcome, and those in which it happened.
    pub n: usize,
    /// See `n`.
    pub events: usize,
    /// That it happens in this job, with its 90 % interval.
    pub probability: Result<Estimate, Refusal>,
}

impl Known {
    /// What is known of a tool.
    #[must_use]
    pub fn tool(&self, tool: ToolNumber) -> ToolKnown {
        self.tools.get(tool.idx()).cloned().unwrap_or_default()
    }

    /// The figures of what a tool holds.
    #[must_use]
    pub fn facts(&self, tool: ToolNumber) -> &MaterialFacts {
        let known = self.tools.get(tool.idx());
        self.materials.of(known.and_then(|tool| tool.material.as_deref()))
    }

    /// The pace that its motion is expected at: the learned one, else the file's.
    #[must_use]
    pub fn pace_used(&self) -> f64 {
        self.pace.and_then(Result::ok).map_or(1.0, |pace| pace.value)
    }

    /// Whether all tools share one heater and nozzle, as far as is known.
    #[must_use]
    pub fn is_shared(&self) -> bool {
        self.hot_end == Some(HotEnd::Shared)
    }
}

impl ToolKnown {
    /// What its liner stands; `None` if it has none.
    #[must_use]
    pub fn liner_rating(&self) -> Option<Celsius> {
        match self.liner {
            Liner::Assumed => Some(LINER_REFERENCE),
            Liner::Rated(rating) => Some(rating),
            Liner::Absent => None,
        }
    }
}
