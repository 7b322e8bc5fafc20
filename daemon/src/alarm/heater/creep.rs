//! Whether what a waiting tool is held at creeps away from its set point, or what holds it from what used to hold it. Owns
//! how large a shift must be to matter; what is normal is learned from this heater alone, and is lost with a restart, after
//! which it is learned anew and nothing is raised until then.

use super::Found;
use super::seen::{Seen, Target};
use super::steady::{Chart, Shift};
use super::words;
use dwell_analysis::control::DriftPlan;
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
const MATTERS_SHARE: f64 = 0.2;
/// A detector is asked for its blind zone over so long.
const BLIND_WITHIN: Seconds = Seconds::minutes(10.0);
/// What a typical heater rises at full duty, K: a duty is told as a share of what would hold such a one.
const TYPICAL_GAIN: f64 = 700.0;
/// Duties are told in thousandths at best.
const DUTY_STEP: f64 = 0.005;

/// Watches the mean of actual minus set point.
#[derive(Clone, Debug)]
pub(super) struct Creep(Chart);

impl Default for Creep {
    fn default() -> Self {
        Self(Chart::new(DriftPlan { learn: LEARN, step: None, memory: MEMORY, quiet: QUIET }))
    }
}

impl Creep {
    pub(super) fn take(&mut self, seen: &Seen, is_settled: bool) -> Found {
        let off = match seen.target {
            Some(Target::At(target)) if is_settled => Some((seen.actual - target).get()),
            Some(Target::At(_) | Target::Off) | None => None,
        };
        self.0.take(off, seen.lasted);
        if off.is_none() {
            return Found::Untold;
        }
        match self.0.shift().filter(|shift| shift.by.abs() >= MATTERS) {
            Some(shift) => Found::Fault(words::crept(seen, shift, MATTERS)),
            None => Found::Sound,
        }
    }
}

/// Watches the duty that holds a temperature, as a share of what would hold a typical heater there.
#[derive(Clone, Debug)]
pub(super) struct Duty(Chart);

impl Default for Duty {
    fn default() -> Self {
        Self(Chart::new(DriftPlan { learn: LEARN, step: Some(DUTY_STEP), memory: MEMORY, quiet: QUIET }))
    }
}

/// A duty unlike the usual.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unlike {
    /// The usual one, as a share of full duty, at the temperature of the reading.
    pub(super) usual: f64,
    /// The change as a share of the usual.
    pub(super) change: f64,
    /// For how long, in settled waiting.
    pub(super) since: Seconds,
    /// The least change that is found within ten minutes, as a share of the usual.
    pub(super) blind: f64,
}

impl Duty {
    pub(super) fn take(&mut self, seen: &Seen, is_settled: bool) -> Found {
        let duty = seen.duty.filter(|_| is_settled);
        let share = duty.map(|duty| duty / holding(seen.actual));
        self.0.take(share, seen.lasted);
        if share.is_none() {
            return Found::Untold;
        }
        match self.unlike(seen).filter(|unlike| unlike.change.abs() >= MATTERS_SHARE) {
            Some(unlike) => Found::Fault(words::unlike(seen, &unlike)),
            None => Found::Sound,
        }
    }

    fn unlike(&self, seen: &Seen) -> Option<Unlike> {
        let Shift { level, by, since } = self.0.shift().filter(|shift| shift.level > 0.0)?;
        let blind = self.0.blind_zone(BLIND_WITHIN).map_or(MATTERS_SHARE, |least| (least / level).max(MATTERS_SHARE));
        Some(Unlike { usual: level * holding(seen.actual), change: by / level, since, blind })
    }
}

/// The share of full duty that holds a typical heater at a temperature.
fn holding(actual: Celsius) -> f64 {
    ((actual - AMBIENT).get() / TYPICAL_GAIN).max(0.01)
}
