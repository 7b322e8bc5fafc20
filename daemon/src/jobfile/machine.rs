//! The printer as far as the outline of a job depends on it.

use super::limits::MotionLimits;
use crate::entry::HotEnd;
use dwell_analysis::polymer::{Material, MaterialFacts};
use dwell_analysis::thermal::{AMBIENT, Heater};
use dwell_analysis::units::Celsius;

/// The printer that is to run a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// How its hot ends are built.
    pub hot_end: HotEnd,
    /// Its motion.
    pub limits: MotionLimits,
    /// Its tools, T0 first; a tool beyond them is as [`MachineTool::default`].
    pub tools: Vec<MachineTool>,
    /// Its bed.
    pub bed: Heater,
    /// How much longer its motion takes than the file and the limits let expect, as a factor.
    pub pace: f64,
    /// The room, which the bed is as cold as when the job begins.
    pub ambient: Celsius,
}

/// A tool of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MachineTool {
    /// Figures of what it holds.
    pub facts: MaterialFacts,
    /// How it warms and cools.
    pub heater: Heater,
    /// What it is as cold as when it is off: the room, or warmer beside a bed and a neighbour at work.
    pub surroundings: Celsius,
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            hot_end: HotEnd::Separate,
            limits: MotionLimits::default(),
            tools: Vec::new(),
            bed: Heater::BED,
            pace: 1.0,
            ambient: AMBIENT,
        }
    }
}

impl Default for MachineTool {
    fn default() -> Self {
        Self { facts: Material::Other.built_in(), heater: Heater::HOT_END, surroundings: AMBIENT }
    }
}
