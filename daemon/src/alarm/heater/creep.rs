//! Whether what a waiting tool is held at creeps away from its set point, or what holds it from what used to hold it. Owns
//! how large a shift must be to matter; what is normal is learned from this heater alone, and is lost with a restart, after
//! which it is learned anew and nothing is raised until then.

use super::Found;
use super::course::Course;
use super::seen::{Seen, Target};
use super::steady::Steady;
use super::words;
use dwell_analysis::control::{Drift, DriftPlan, Signal};
use dwell_analysis::thermal::AMBIENT;
use dwell_analysis::units::{Celsius, Seconds};

/// Means that what is normal is learned from: twenty minutes of settled waiting.
const LEARN: usize = 120;
/// What is normal is remembered for so long, in settled waiting: faults creep over hours, seasons over months.
const MEMORY: Seconds = Seconds::minutes(60.0 * 50.0);
/// Mean time between two false alarms, in settled waiting, before it is asked whether the shift matters.
const QUIET: Seconds = Seconds::minutes(60.0 * 10_000.0);
/// A smaller shift of the temperature is no matter to melt or liner, K (domain practice: nobody tunes to less than 5 K).
const MATTERS: f64 = 3.0;
/// A smaller change of the duty may be the room: 25 K of a closed chamber are a sixth of what holds 175 °C.
pub(super) const DUTY_MATTERS: f64 = 0.2;
/// A detector is asked for its blind zone over so long.
const BLIND_WITHIN: Seconds = Seconds::minutes(10.0);
/// What a typical heater rises at full duty, K: a duty is told as a share of what would hold such a one.
const TYPICAL_GAIN: f64 = 700.0;
/// Duties are told in thousandths at best.
const DUTY_STEP: f64 = 0.005;

/// Watches the mean of actual minus set point.
#[derive(Clone, Debug)]
pub(super) struct Creep {
    steady: Steady,
    drift: Drift,
}

impl Default for Creep {
    fn default() -> Self {
        let drift = Drift::new(DriftPlan { learn: LEARN, step: None, memory: MEMORY, quiet: QUIET });
        Self { steady: Steady::default(), drift }
    }
}

impl Creep {
    pub(super) fn take(&mut self, seen: &Seen, course: &Course) -> Found {
        let off = match seen.target {
            Some(Target::At(target)) if Steady::is_settled(seen, course) => Some((seen.actual - target).get()),
            Some(Target::At(_) | Target::Off) | None => None,
        };
        if let Some((mean, after)) = self.steady.take(off, seen.lasted) {
            self.drift.push(mean, after);
        }
        if off.is_none() {
            return Found::Untold;
        }
        match self.drift.standing().filter(|signal| signal.size.abs() >= MATTERS) {
            Some(signal) => Found::Fault(words::crept(seen, signal, MATTERS)),
            None => Found::Sound,
        }
    }
}

/// Watches the duty that holds a temperature, as a share of what would hold a typical heater there.
#[derive(Clone, Debug)]
pub(super) struct Duty {
    steady: Steady,
    drift: Drift,
}

impl Default for Duty {
    fn default() -> Self {
        let drift = Drift::new(DriftPlan { learn: LEARN, step: Some(DUTY_STEP), memory: MEMORY, quiet: QUIET });
        Self { steady: Steady::default(), drift }
    }
}

/// A duty unlike the usual.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unlike {
    pub(super) signal: Signal,
    /// The usual one, as a share of full duty, at the temperature of the reading.
    pub(super) usual: f64,
    /// The change as a share of the usual.
    pub(super) change: f64,
    /// The least change that is found within ten minutes, as a share; `None` where the detector can't tell.
    pub(super) blind: Option<f64>,
}

impl Duty {
    pub(super) fn take(&mut self, seen: &Seen, course: &Course) -> Found {
        let duty = seen.duty.filter(|_| Steady::is_settled(seen, course));
        let share = duty.map(|duty| duty / holding(seen.actual));
        if let Some((mean, after)) = self.steady.take(share, seen.lasted) {
            self.drift.push(mean, after);
        }
        if share.is_none() {
            return Found::Untold;
        }
        match self.unlike(seen).filter(|unlike| unlike.change.abs() >= DUTY_MATTERS) {
            Some(unlike) => Found::Fault(words::unlike(seen, &unlike)),
            None => Found::Sound,
        }
    }

    fn unlike(&self, seen: &Seen) -> Option<Unlike> {
        let (signal, level) = (self.drift.standing()?, self.drift.baseline().ok()?.level);
        let blind = self.drift.blind_zone(BLIND_WITHIN).ok().map(|shift| shift / level);
        (level > 0.0).then(|| Unlike {
            signal,
            usual: level * holding(seen.actual),
            change: signal.size / level,
            blind,
        })
    }
}

/// The share of full duty that holds a typical heater at a temperature.
fn holding(actual: Celsius) -> f64 {
    ((actual - AMBIENT).get() / TYPICAL_GAIN).max(0.01)
}
