//! Whether a temperature stands still to the last digit though it should not. Owns how its heater's state is told to the
//! detector; a host that repeats its whole answer is no frozen sensor.

use super::course::Course;
use super::seen::Seen;
use super::words;
use super::{Found, Which};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::control::{Expected, Frozen, FrozenPlan};
use dwell_analysis::thermal::{AMBIENT, Heater};
use dwell_analysis::units::{Celsius, Seconds};

/// Readings that a sensor's flicker is learned from: two minutes of polls a second apart.
const LEARN: usize = 128;
/// Ten times rarer a printer than all rules together may be wrong, with some ten heaters' conditions.
const QUIET: Seconds = Seconds::minutes(60.0 * 100_000.0);
/// Well over the noise and step of a sensor, K.
const SURE_MOVE: f64 = 8.0;
/// A heater may cool so many times slower than a typical one.
const SLOW: f64 = 3.0;
/// Where a heater is so much over a warm room it moves by itself when it is not held, °C.
const MOVES_OVER: Celsius = Celsius::new(60.0);
const MOVES_OVER_BED: Celsius = Celsius::new(50.0);

/// Watches one heater's digits.
#[derive(Clone, Debug)]
pub(super) struct Still {
    frozen: Frozen,
    /// Since anything else in the readings moved.
    unmoved: Seconds,
}

impl Default for Still {
    fn default() -> Self {
        let frozen = Frozen::new(FrozenPlan { learn: LEARN, quiet: QUIET, sure_move: SURE_MOVE });
        Self { frozen, unmoved: Seconds::ZERO }
    }
}

impl Still {
    /// Takes a reading; `is_alive` where something else in it is other than before: the host does not repeat its answer.
    pub(super) fn take(&mut self, seen: &Seen, is_alive: bool, course: &Course) -> Found {
        self.unmoved += seen.lasted;
        if !is_alive {
            return Found::Untold;
        }
        let after = std::mem::take(&mut self.unmoved);
        let expected =
            if seen.after_gap || after > SILENCE_MAX { Expected::Unknown } else { expected(seen, course, after) };
        match self.frozen.push(seen.actual.get(), after, expected) {
            Some(freeze) => Found::Fault(words::frozen(seen, freeze)),
            None => Found::Sound,
        }
    }
}

fn expected(seen: &Seen, course: &Course, after: Seconds) -> Expected {
    let (moves_over, tau) = match seen.which {
        Which::Tool { .. } => (MOVES_OVER, Heater::HOT_END.cooling_constant),
        Which::Bed => (MOVES_OVER_BED, Heater::BED.cooling_constant),
    };
    if course.held().is_some() {
        Expected::Held
    } else if course.must_move(seen.actual) && seen.actual > moves_over {
        // Heated it climbs, else it cools: it does not stay.
        Expected::Moves((seen.actual - AMBIENT).get() * after.get() / (SLOW * tau.get()))
    } else {
        Expected::Unknown
    }
}
