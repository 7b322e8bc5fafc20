//! Means over the time in which a tool waits, held and settled: nothing flows, and no part fan blows that is told of. Owns
//! what counts as settled. At work flow and fan move temperature and duty more than most faults: nothing is asked there.

use super::course::Course;
use super::seen::Seen;
use dwell_analysis::control::{Drift, DriftPlan};
use dwell_analysis::units::Seconds;

/// A set point has settled after it was held for so long: a controller makes good what the way to it left behind.
const HELD: Seconds = Seconds::minutes(1.0);
/// And after the tool has waited for so long: as long again where a fan or a flow has stopped with its turn.
const WAITED: Seconds = Seconds::minutes(2.0);
/// A mean is taken over so long.
const BLOCK: Seconds = Seconds::new(10.0);
/// Between two settled stretches this much passes at most, as far as charts are told: nothing is left of a deviation.
const BREAK: Seconds = Seconds::minutes(1.0);

/// Whether a tool waits, held and settled.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Settling {
    waited: Seconds,
}

impl Settling {
    /// Takes a reading: whether the tool has settled as of it.
    pub(super) fn take(&mut self, seen: &Seen, course: &Course) -> bool {
        let waits = seen.is_resting && !seen.after_gap;
        self.waited = if waits { self.waited + seen.lasted } else { Seconds::ZERO };
        self.waited >= WAITED && course.held().is_some_and(|held| held >= HELD)
    }
}

/// Means of something of one heater.
#[derive(Clone, Copy, Debug, Default)]
struct Steady {
    sum: f64,
    lasted: Seconds,
    is_broken: bool,
}

impl Steady {
    /// Takes a value that was settled for the time since the reading before, or `None`; a mean once there is one, and how
    /// long after the one before it comes.
    fn take(&mut self, value: Option<f64>, lasted: Seconds) -> Option<(f64, Seconds)> {
        let Some(value) = value else {
            *self = Self { is_broken: true, ..Self::default() };
            return None;
        };
        self.sum += value * lasted.get();
        self.lasted += lasted;
        if self.lasted < BLOCK {
            return None;
        }
        let after = if self.is_broken { BREAK } else { self.lasted };
        let mean = (self.sum / self.lasted.get(), after);
        *self = Self::default();
        Some(mean)
    }
}

/// Weight of the newest mean in what is so now: of about the last minute and a half.
const NEWEST: f64 = 0.2;

/// A series of settled means, held against what was learned of it.
#[derive(Clone, Debug)]
pub(super) struct Chart {
    steady: Steady,
    drift: Drift,
    now: Option<f64>,
}

/// A shift that stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shift {
    /// What is normal.
    pub(super) level: f64,
    /// How far it is from that now.
    pub(super) by: f64,
    /// For how long, in settled waiting.
    pub(super) since: Seconds,
}

impl Chart {
    pub(super) const fn new(plan: DriftPlan) -> Self {
        let steady = Steady { sum: 0.0, lasted: Seconds::ZERO, is_broken: false };
        Self { steady, drift: Drift::new(plan), now: None }
    }

    /// Takes a value that was settled, or `None`.
    pub(super) fn take(&mut self, value: Option<f64>, lasted: Seconds) {
        let Some((mean, after)) = self.steady.take(value, lasted) else { return };
        self.drift.push(mean, after);
        self.now = Some(self.now.map_or(mean, |now| now + NEWEST * (mean - now)));
    }

    /// The shift that stands, of a detector whose signals mean it on average too: half of what it is now, where it creeps.
    pub(super) fn shift(&self) -> Option<Shift> {
        let (signal, level) = (self.drift.standing()?, self.drift.baseline().ok()?.level);
        let by = self.now? - level;
        (2.0 * signal.size / by >= 1.0).then_some(Shift { level, by, since: signal.since })
    }

    /// The least sudden shift that is found within so long, if the detector can tell.
    pub(super) fn blind_zone(&self, within: Seconds) -> Option<f64> {
        self.drift.blind_zone(within).ok()
    }
}
