//! Means over the time in which a tool waits, held and settled: nothing flows, and no part fan blows that is told of. Owns
//! what counts as settled. At work flow and fan move temperature and duty more than most faults: nothing is asked there.

use super::course::Course;
use super::seen::Seen;
use dwell_analysis::units::Seconds;

/// A held set point has settled after so long: a controller makes good what the fall to it left behind.
const SETTLED: Seconds = Seconds::minutes(1.0);
/// A mean is taken over so long.
const BLOCK: Seconds = Seconds::new(10.0);

/// Means of something of one heater.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Steady {
    sum: f64,
    lasted: Seconds,
    /// Since the last mean; what lay between was not settled.
    since: Seconds,
}

impl Steady {
    /// Whether a tool can be asked as of this reading.
    pub(super) fn is_settled(seen: &Seen, course: &Course) -> bool {
        seen.is_waiting && !seen.is_blown && course.held().is_some_and(|held| held >= SETTLED)
    }

    /// Takes a value that was settled for the time since the reading before, or `None`; a mean once there is one, and how
    /// long after the one before it comes.
    pub(super) fn take(&mut self, value: Option<f64>, lasted: Seconds) -> Option<(f64, Seconds)> {
        self.since += lasted;
        let Some(value) = value else {
            (self.sum, self.lasted) = (0.0, Seconds::ZERO);
            return None;
        };
        self.sum += value * lasted.get();
        self.lasted += lasted;
        if self.lasted < BLOCK {
            return None;
        }
        let mean = (self.sum / self.lasted.get(), self.since);
        *self = Self::default();
        Some(mean)
    }
}
