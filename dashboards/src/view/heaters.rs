//! What is shown of a tool's heater.

use dwell_analysis::estimate::Estimate;
use dwell_analysis::thermal::Moved;
use dwell_analysis::units::Celsius;

/// A tool's heater, as its newest prints show it.
#[derive(Clone, Debug)]
pub struct HeaterView {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Whether its part fan blows; `None` where the record does not tell a heater with the fan on apart.
    pub fan: Option<bool>,
    /// What its record tells, or why it tells nothing.
    pub told: Result<HeaterTold, String>,
}

/// What a record tells of a heater; each with its 90 % interval, or why there is none.
#[derive(Clone, Debug)]
pub struct HeaterTold {
    /// Falls of the temperature that it was fitted to.
    pub n_cooldowns: usize,
    /// Climbs that it was fitted to.
    pub n_heatups: usize,
    /// Time constant of cooling, s.
    pub cooling_constant: Result<Estimate, String>,
    /// Time constant of warming, s.
    pub heating_constant: Result<Estimate, String>,
    /// Rise above the surroundings at full duty, K.
    pub gain: Result<Estimate, String>,
    /// Dead time before a fall, s.
    pub cooling_dead_time: Result<Estimate, String>,
    /// Dead time before a climb, s.
    pub heating_dead_time: Result<Estimate, String>,
    /// What a drop to standby takes, or why there is none.
    pub drop: Result<StandbyDrop, String>,
    /// What has changed of late.
    pub drift: DriftView,
}

/// A drop from a print's set point to standby and back.
#[derive(Clone, Debug)]
pub struct StandbyDrop {
    /// Set point at work.
    pub print: Celsius,
    /// That is the middle one of the tool's prints; else none is known and it is an example.
    pub is_print_usual: bool,
    /// Set point while it waits.
    pub standby: Celsius,
    /// As for the print's.
    pub is_standby_usual: bool,
    /// Time to cool down, s.
    pub cooling: Result<Estimate, String>,
    /// Time to heat back, s.
    pub heating: Result<Estimate, String>,
    /// Both together, s: a wait must be longer for the drop to be worth it.
    pub pays_after: Result<Estimate, String>,
}

/// What differs between the older half of the prints looked at and the newer.
#[derive(Clone, Debug)]
pub struct DriftView {
    /// Prints in the older half.
    pub n_before: usize,
    /// Prints in the newer half.
    pub n_after: usize,
    /// What has moved, the surest first, or why it can't be told.
    pub moved: Result<Vec<Moved>, String>,
}
