//! A value that stays the same to the last digit although its own flicker, or what the heater does, says that it should
//! have changed. Owns how long equal values may last; whether a heater holds or moves is told to it.
//!
//! A coarse sensor may rest on one value for hours, and flickers between two when it is on the edge of a step. So only
//! leaps over a value in between, there and back, count as flicker: noise that makes them leaves no value for long, wherever
//! within its step the temperature is.

use crate::estimate::{Confidence, Refusal, count, deviations, rate};
use crate::units::Seconds;
use statrs::distribution::{ContinuousCDF, Normal};
use std::cmp::Ordering;

/// The flicker has to go on all the time that is learned from: in each of so many parts of it.
const PARTS: usize = 4;

/// Fewer leaps in a part may be anything.
const LEAPS_LEAST: usize = 3;

/// Equal values may last so many times as long as they ever did.
const LONGER: f64 = 3.0;

/// Fewer equal readings than this are never too many: hosts repeat a value that they read less often than they are asked.
const RUN_LEAST: usize = 10;

/// What is known of the reading before and this one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Expected {
    /// The heater holds its temperature.
    Held,
    /// The heater's model says that the value should have changed by so much, in the series' unit.
    Moves(f64),
    /// Nothing: it is neither held nor known how it moves.
    Unknown,
}

/// What a detector is to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrozenPlan {
    /// Held readings that the flicker is learned from.
    pub learn: usize,
    /// Mean time between two false alarms, at least.
    pub quiet: Seconds,
    /// The change, in the series' unit, of which the model is sure enough that some of it must show: well over its error and
    /// the sensor's step.
    pub sure_move: f64,
}

/// A value that stands too long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freeze {
    /// How long it stood.
    pub since: Seconds,
    /// How far it should have moved meanwhile, in the series' unit; 0 where it was only held.
    pub missed: f64,
}

/// Watches how long values stay equal. Some sensors flicker hot and not cold: one detector is for one state, and what is
/// `Held` in another is `Unknown` to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Frozen {
    plan: FrozenPlan,
    /// Held readings that are learned from, newest last.
    readings: Vec<(f64, Seconds)>,
    flicker: Result<Flicker, Refusal>,
    run: Option<Run>,
    /// The most equal readings in a row that were held, and ended without a signal.
    longest: f64,
}

/// What was learned.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Flicker {
    /// The most equal readings that it leaves in the quiet time.
    most: usize,
    /// Usual time between two readings.
    interval: Seconds,
}

/// Readings of one value.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Run {
    value: f64,
    held: usize,
    held_for: Seconds,
    lasted: Seconds,
    missed: f64,
}

impl Frozen {
    /// A detector that has learned nothing yet.
    #[must_use]
    pub const fn new(plan: FrozenPlan) -> Self {
        let flicker = Err(Refusal::TooFew { have: 0, need: plan.learn });
        Self { plan, readings: Vec::new(), flicker, run: None, longest: 0.0 }
    }

    /// Takes in a reading that came `after` the one before it; the freeze that stands with it. What is no number is neither
    /// good nor bad.
    pub fn push(&mut self, value: f64, after: Seconds, expected: Expected) -> Option<Freeze> {
        if !value.is_finite() {
            return self.standing();
        }
        if self.flicker.is_err() && expected == Expected::Held {
            self.learn(value, after);
        }
        let frozen = self.standing().is_some();
        match &mut self.run {
            Some(run) if run.value.total_cmp(&value) == Ordering::Equal => run.push(after, expected),
            run => {
                if let (false, Some(run)) = (frozen, &run) {
                    self.longest = self.longest.max(run.length(self.flicker));
                }
                *run = Some(Run::of(value));
            }
        }
        self.standing()
    }

    /// The freeze that stands.
    #[must_use]
    pub fn standing(&self) -> Option<Freeze> {
        let run = self.run?;
        let is_still = self.flicker.ok().is_some_and(|flicker| {
            let most = self.most(flicker);
            run.length(self.flicker) > most
        });
        let has_missed = run.missed.abs() >= self.plan.sure_move;
        let missed = if has_missed { run.missed } else { 0.0 };
        (is_still || has_missed).then_some(Freeze { since: run.lasted, missed })
    }

    /// The blind zone: a held value that is frozen for less long is not found. A value that is to move is found once it
    /// should have moved by the plan's `sure_move`.
    ///
    /// # Errors
    /// As long as nothing was learned, and where the flicker is too small for the sensor's steps: then a frozen value that
    /// is held can't be told from a steady one at all.
    pub fn blind_zone(&self) -> Result<Seconds, Refusal> {
        let flicker = self.flicker?;
        Ok(Seconds::new((self.most(flicker) + 1.0) * flicker.interval.get()))
    }

    fn most(&self, flicker: Flicker) -> f64 {
        count(flicker.most).max(LONGER * self.longest)
    }

    fn learn(&mut self, value: f64, after: Seconds) {
        self.readings.push((value, after));
        let (have, need) = (self.readings.len(), self.plan.learn);
        if have < need {
            // What was refused before stands until it is tried again.
            if let Err(Refusal::TooFew { .. }) = self.flicker {
                self.flicker = Err(Refusal::TooFew { have, need });
            }
            return;
        }
        self.flicker = Flicker::learn(&self.readings, self.plan.quiet);
        match self.flicker {
            Ok(_) => self.readings = Vec::new(),
            Err(_) => drop(self.readings.drain(..have.div_ceil(PARTS))),
        }
    }
}

impl Flicker {
    /// A leap over a value in between needs a change of more than a step; as often as that happens, a normal change's standard
    /// deviation is a step over the quantile at least. From the middle of its step, where it stays the longest, a value
    /// then leaves with every reading with the chance that such a change is over half a step.
    fn learn(readings: &[(f64, Seconds)], quiet: Seconds) -> Result<Self, Refusal> {
        let mut levels: Vec<f64> = readings.iter().map(|(value, _)| *value).collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup_by(|a, b| a.total_cmp(b) == Ordering::Equal);
        if levels.len() < 2 {
            return Err(Refusal::NothingVaries);
        }
        let ranks: Vec<usize> =
            readings.iter().map(|(value, _)| levels.partition_point(|level| level < value)).collect();
        let part = readings.len().div_ceil(PARTS);
        let leaps = ranks.chunks(part).map(leaps).min().unwrap_or(0);
        if leaps < LEAPS_LEAST {
            return Err(Refusal::TooLoose);
        }
        let often = rate(leaps, part, Confidence::Percent95)?.low;
        let stays = 1.0 - 2.0 * Normal::standard().sf(deviations(1.0 - often / 2.0) / 2.0);
        let mut apart: Vec<f64> = readings.iter().map(|(_, after)| after.get()).collect();
        apart.sort_by(f64::total_cmp);
        let interval = apart[apart.len() / 2];
        if interval <= 0.0 {
            return Err(Refusal::NoExposure);
        }
        let occasions = quiet.get() / interval;
        // The least run whose chance, `stays^n`, is less than once in the quiet time; beyond a week it is no detector.
        let most = (RUN_LEAST..READINGS_MOST).find(|n| count(*n) * stays.ln() < -occasions.ln());
        Ok(Self { most: most.ok_or(Refusal::TooLoose)?, interval: Seconds::new(interval) })
    }
}

/// More equal readings than this are not waited for: the flicker is then no sign.
const READINGS_MOST: usize = 20_000;

/// Leaps over at least one value that the next reading undoes at least in part: a ramp has none, and where it turns only one.
fn leaps(ranks: &[usize]) -> usize {
    let is_undone = |three: &&[usize]| {
        (three[1] >= three[0] + 2 && three[2] < three[1]) || (three[1] + 2 <= three[0] && three[2] > three[1])
    };
    ranks.windows(3).filter(is_undone).count()
}

impl Run {
    const fn of(value: f64) -> Self {
        Self { value, held: 1, held_for: Seconds::ZERO, lasted: Seconds::ZERO, missed: 0.0 }
    }

    /// How many equal readings it is. Polls that come faster than those that were learned from may only repeat what the host
    /// read once, and count by their time.
    fn length(&self, flicker: Result<Flicker, Refusal>) -> f64 {
        let by_time = flicker.map_or(f64::INFINITY, |flicker| 1.0 + self.held_for.get() / flicker.interval.get());
        count(self.held).min(by_time)
    }

    fn push(&mut self, after: Seconds, expected: Expected) {
        self.lasted += after;
        match expected {
            Expected::Held => {
                self.held += 1;
                self.held_for += after;
            }
            Expected::Moves(by) => self.missed += by,
            Expected::Unknown => {}
        }
    }
}
