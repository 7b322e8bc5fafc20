//! What a heat plan saves and costs, as a person is told.

use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};

/// A plan of one job file. Times and doses are what is to be expected.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatPlanView {
    /// The job file's name.
    pub file: String,
    /// The copy's name.
    pub out: String,
    /// The printer that is to run it.
    pub printer: String,
    /// How often a tool is to be hot in time, 0 to 1.
    pub certainty: f64,
    /// One a tool that the file heats.
    pub tools: Vec<HeatPlanTool>,
    /// How long the job takes by the file.
    pub lasts: Seconds,
    /// How much longer with the plan.
    pub longer: Seconds,
    /// The same with heaters as slow as they may be at that certainty.
    pub longer_at_worst: Seconds,
    /// Turns that were checked to begin as hot as by the file.
    pub turns: usize,
    /// Prints that the printer's pace is learned from; `None` is a margin for any printer's.
    pub pace_prints: Option<usize>,
}

/// One tool of it.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatPlanTool {
    /// Its number.
    pub number: usize,
    /// Its material, if told.
    pub material: Option<String>,
    /// What it cools to; 0 °C is off.
    pub standby: Celsius,
    /// Where that is from: `asked`, `advised`, `settings` or `first_flow`.
    pub standby_from: &'static str,
    /// Waits between two turns.
    pub waits: u32,
    /// Of these, in which it cools.
    pub drops: u32,
    /// The others by reason: `cool`, `too_short`, `little_saved`, `unfitted` or `no_place`.
    pub alone: Vec<(&'static str, u32)>,
    /// Whether its first heat-up is later than by the file.
    pub is_heated_later: bool,
    /// Whether the plan switches it off after its last use.
    pub is_off_after: bool,
    /// Time of its waits over the lowest usual print temperature of its material, by the file and by the plan.
    pub hot: [Seconds; 2],
    /// Dose of its waits, by the file and by the plan.
    pub dose: [DoseMinutes; 2],
    /// Lines added for it.
    pub lines: u32,
    /// Cool-downs and heat-ups that its heater was fitted from; `None` is a typical one.
    pub fitted: Option<[usize; 2]>,
}

impl HeatPlanTool {
    /// Whether it is off where it cools, and no standby is held.
    #[must_use]
    pub fn is_off_in_waits(&self) -> bool {
        self.standby <= Celsius::new(0.0)
    }
}

impl HeatPlanView {
    /// Whether nothing is added.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.tools.iter().all(|tool| tool.lines == 0)
    }
}
