//! A lasting shift of a series whose normal state has to be learned first. Owns what is to be done, and the two stages of
//! it: learning (`baseline`) and watching (`watch`).

use super::baseline::{Baseline, Reading};
use super::cusum::Side;
use super::watch::Watch;
use crate::estimate::Refusal;
use crate::units::Seconds;

/// What a detector is to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftPlan {
    /// Readings that what is normal is learned from; at least 100. Where nine tenths of a deviation are left a reading later,
    /// 120 are too few (15 false alarms in 1,000 h until it is learned again), and 600 are not.
    pub learn: usize,
    /// The sensor's step, in the series' unit; `None` if it is to be seen from the readings.
    pub step: Option<f64>,
    /// How long what is normal is remembered: a change of the level that takes longer is taken for normal.
    pub memory: Seconds,
    /// Mean time between two false alarms, at least.
    pub quiet: Seconds,
}

/// A shift that stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signal {
    /// Which way.
    pub side: Side,
    /// How long ago it began, by the sum that found it.
    pub since: Seconds,
    /// Its mean size since then, in the series' unit; below zero downwards.
    pub size: f64,
}

/// Finds shifts, reading by reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    plan: DriftPlan,
    tolerance: f64,
    stage: Stage,
    /// Time since the newest number that was read, as far as no number came since.
    unread: Seconds,
}

#[derive(Clone, Debug, PartialEq)]
enum Stage {
    Learning { readings: Vec<Reading>, refused: Option<Refusal> },
    Watching(Box<Watch>),
}

impl Drift {
    /// A detector that has learned nothing yet.
    #[must_use]
    pub const fn new(plan: DriftPlan) -> Self {
        let stage = Stage::Learning { readings: Vec::new(), refused: None };
        Self { plan, tolerance: 0.0, stage, unread: Seconds::ZERO }
    }

    /// The same detector, to which a shift of less than this is of no consequence: as much as a room, a fan or a model's error
    /// may well move the level, in the series' unit. Without it, a level that wanders is a level that shifts.
    #[must_use]
    pub fn tolerating(self, tolerance: f64) -> Self {
        Self { tolerance, ..self }
    }

    /// Takes in a reading that came `after` the one before it; the shift that stands with it. What is no number is neither
    /// good nor bad, nor is a gap.
    pub fn push(&mut self, value: f64, after: Seconds) -> Option<Signal> {
        let after = self.unread + after;
        if !value.is_finite() {
            self.unread = after;
            return self.standing();
        }
        self.unread = Seconds::ZERO;
        match &mut self.stage {
            Stage::Learning { readings, refused } => {
                readings.push(Reading { value, after });
                match Baseline::learn(readings, self.plan.learn, self.plan.step) {
                    Ok(baseline) => self.stage = Stage::Watching(Box::new(Watch::new(baseline, &self.plan))),
                    Err(Refusal::TooFew { .. }) => {}
                    // Nothing can be learned from these: the oldest go, and it is tried again with what comes.
                    Err(why) => {
                        readings.drain(..readings.len().div_ceil(4));
                        *refused = Some(why);
                    }
                }
                None
            }
            Stage::Watching(watch) => watch.push(value, after, self.tolerance),
        }
    }

    /// The shift that stands.
    #[must_use]
    pub fn standing(&self) -> Option<Signal> {
        match &self.stage {
            Stage::Learning { .. } => None,
            Stage::Watching(watch) => watch.signal(),
        }
    }

    /// What was learned.
    ///
    /// # Errors
    /// As long as nothing was: too few readings, or none that differ.
    pub fn baseline(&self) -> Result<&Baseline, Refusal> {
        match &self.stage {
            Stage::Learning { readings, refused } => {
                Err(refused.unwrap_or(Refusal::TooFew { have: readings.len(), need: self.plan.learn.max(100) }))
            }
            Stage::Watching(watch) => Ok(watch.baseline()),
        }
    }

    /// The blind zone: a sudden shift smaller than this, in the series' unit, is not found within that time 9 times in
    /// 10; a larger one is.
    ///
    /// # Errors
    /// As long as nothing was learned, and where the time is too short to find any shift in.
    pub fn blind_zone(&self, within: Seconds) -> Result<f64, Refusal> {
        self.baseline()?;
        match &self.stage {
            Stage::Learning { .. } => Err(Refusal::TooFew { have: 0, need: self.plan.learn }),
            Stage::Watching(watch) => watch.blind_zone(within, self.tolerance),
        }
    }
}
