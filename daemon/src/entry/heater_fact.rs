//! What is known of a tool's heater from an instant on. Owns to which digit it is kept.

use super::ToolNumber;
use dwell_analysis::thermal::Heater;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

/// What is known of a tool's heater from an instant on: after the reading of that instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaterFact {
    /// From when on.
    pub at: Timestamp,
    /// Whose.
    pub tool: ToolNumber,
    /// Its parameters.
    pub heater: Heater,
    /// What it takes for its surroundings beside the bed and neighbour that it usually has.
    pub surroundings: Celsius,
    /// How much longer than by these parameters a climb may take, as a share: the upper end of its 90 % interval.
    pub heating_spread: f64,
    /// Steps that it was fitted to.
    pub n: usize,
}

impl HeaterFact {
    /// The same to the thousandth, so that what a journal holds is what was recorded, to the last digit.
    #[must_use]
    pub fn rounded(self) -> Self {
        let Heater { time_constant, cooling_constant, gain, dead_time, cooling_dead_time } = self.heater;
        let seconds = |of: Seconds| Seconds::new(thousandths(of.get()));
        let heater = Heater {
            time_constant: seconds(time_constant),
            cooling_constant: seconds(cooling_constant),
            gain: CelsiusDelta::new(thousandths(gain.get())),
            dead_time: seconds(dead_time),
            cooling_dead_time: seconds(cooling_dead_time),
        };
        let surroundings = Celsius::new(thousandths(self.surroundings.get()));
        Self { heater, surroundings, heating_spread: thousandths(self.heating_spread), ..self }
    }
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
