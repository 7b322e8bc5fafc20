//! Cuts a heater's record into the stretches that say how it behaves: falls without duty and climbs at full duty.
//! Owns what counts as one; what they come to is the fit's business. Streams, and holds no more than the newest few.

use crate::units::{Celsius, CelsiusDelta, Seconds};
use std::collections::VecDeque;

/// One reading of a heater, stamped with seconds from anywhere. `None` is what nobody told, which is never nought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaterReading {
    /// When it was taken.
    pub at: Seconds,
    /// Measured temperature; without one the reading tells its set point alone.
    pub actual: Option<Celsius>,
    /// Set point; one no warmer than the surroundings is off. Without one nothing is known of the duty, and the
    /// stretch ends: so a caller marks a gap.
    pub target: Option<Celsius>,
    /// Duty, 0 to 1. Where it is told it decides what is full and what is none; else distance from the set point does.
    pub duty: Option<f64>,
}

/// A longer silence between readings may hide anything.
const SILENCE_MAX: f64 = 30.0;
/// Noise moves a reading less than this, K: a stretch counts from where the step has been felt that much.
const FELT: f64 = 3.0;
/// A stretch that moves less than this, K, says little beside its noise.
const MOVES_LEAST: f64 = 10.0;
/// The fewest readings of a stretch.
const READINGS_LEAST: usize = 4;
/// A stretch counts for so long, s: what comes later is nearer to the room, where an error in its temperature counts.
const LONGEST: f64 = 240.0;
/// A fall counts to so far above the surroundings, K, for the same reason.
const ABOVE_ROOM: f64 = 50.0;
/// Where the duty is not told, a fall counts to so far above its set point, K: a controller with a proportional band
/// begins to hold before it is there (common practice, no source).
const BAND: f64 = 15.0;
/// A set point raised by less than this, K, may not take full duty.
const RAISE_LEAST: f64 = 15.0;
/// A climb counts to so far below its set point, K.
const SHORT_OF: f64 = 5.0;
/// Duty that counts as none and as full.
const NONE: f64 = 0.02;
const FULL: f64 = 0.95;
/// What went before a raise is known from so many seconds of readings, or from the last four where polls are slow,
/// as they may be while nothing is hot.
const BEFORE: f64 = 20.0;
const BEFORE_LEAST: usize = 4;
/// The newest stretches of either kind are enough.
const STRETCHES_MAX: usize = 40;

/// Readings of one stretch: seconds from its step, and kelvin above the surroundings.
#[derive(Clone, Debug, Default)]
pub(super) struct Stretch {
    pub(super) points: Vec<(f64, f64)>,
    /// Before the step; the seconds are negative.
    pub(super) before: Vec<(f64, f64)>,
    /// Half of the time between the two readings that the step lies between, s.
    pub(super) vague: f64,
}

/// What a record has of stretches so far.
#[derive(Debug)]
pub struct Steps {
    ambient: Celsius,
    falls: VecDeque<Stretch>,
    climbs: VecDeque<Stretch>,
    last: Option<(f64, Celsius)>,
    recent: VecDeque<(f64, f64)>,
    open: Option<Open>,
}

/// A stretch under way.
#[derive(Debug)]
struct Open {
    falls: bool,
    began: f64,
    /// The highest reading of a fall, the lowest of a climb, above the surroundings, K.
    turn: f64,
    is_felt: bool,
    stretch: Stretch,
}

impl Steps {
    /// Nothing yet, in surroundings of that temperature.
    #[must_use]
    pub const fn new(ambient: Celsius) -> Self {
        Self {
            ambient,
            falls: VecDeque::new(),
            climbs: VecDeque::new(),
            last: None,
            recent: VecDeque::new(),
            open: None,
        }
    }

    /// Takes in the next reading, in order of time.
    pub fn push(&mut self, reading: &HeaterReading) {
        let at = reading.at.get();
        let passed = self.last.map(|(last, _)| at - last);
        let is_silence = passed.is_some_and(|passed| !(passed > 0.0 && passed <= SILENCE_MAX));
        let Some(target) = reading.target.filter(|target| target.get().is_finite()) else {
            self.cut();
            return;
        };
        if is_silence {
            self.cut();
        }
        let level = target.max(self.ambient);
        let rise = reading.actual.map(|actual| (actual - self.ambient).get()).filter(|rise| rise.is_finite());
        if let Some((before, held)) = self.last.filter(|(_, held)| *held != level) {
            // It was set at some instant between the two readings.
            self.step((before, at), held, level, rise);
        }
        self.last = Some((at, level));
        if let Some(rise) = rise {
            self.note(at, rise, (level - self.ambient).get(), reading.duty);
        }
    }

    pub(super) fn finish(mut self) -> (Vec<Stretch>, Vec<Stretch>) {
        self.cut();
        (self.falls.into(), self.climbs.into())
    }

    /// Ends what is under way; nothing is known of the time up to the next reading.
    fn cut(&mut self) {
        self.close();
        self.recent.clear();
        self.last = None;
    }

    fn step(&mut self, (last, at): (f64, f64), held: Celsius, level: Celsius, rise: Option<f64>) {
        let falls = level < held;
        let began = f64::midpoint(last, at);
        if falls && self.open.as_ref().is_some_and(|open| open.falls) {
            return;
        }
        self.close();
        let now = rise.or(self.recent.back().map(|(_, rise)| *rise));
        let far = |now: f64| (level - self.ambient) - CelsiusDelta::new(now);
        if falls || now.is_some_and(|now| far(now).get() >= RAISE_LEAST) {
            let before = self.recent.iter().map(|(at, rise)| (at - began, *rise)).collect();
            let turn = if falls { f64::NEG_INFINITY } else { f64::INFINITY };
            let stretch = Stretch { points: Vec::new(), before, vague: at - began };
            self.open = Some(Open { falls, began, turn, is_felt: false, stretch });
        }
        self.recent.clear();
    }

    fn note(&mut self, at: f64, rise: f64, level: f64, duty: Option<f64>) {
        if let Some(open) = self.open.as_mut()
            && !open.note(at, rise, level, duty)
        {
            self.close();
        }
        self.recent.push_back((at, rise));
        while self.recent.len() > BEFORE_LEAST && self.recent.front().is_some_and(|(early, _)| at - early > BEFORE) {
            self.recent.pop_front();
        }
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        let points = &open.stretch.points;
        let moved = points.first().zip(points.last()).map_or(0.0, |(first, last)| (first.1 - last.1).abs());
        if points.len() < READINGS_LEAST || moved < MOVES_LEAST {
            return;
        }
        let kept = if open.falls { &mut self.falls } else { &mut self.climbs };
        kept.push_back(open.stretch);
        if kept.len() > STRETCHES_MAX {
            kept.pop_front();
        }
    }
}

impl Open {
    /// Whether it goes on.
    fn note(&mut self, at: f64, rise: f64, level: f64, duty: Option<f64>) -> bool {
        let since = at - self.began;
        self.turn = if self.falls { self.turn.max(rise) } else { self.turn.min(rise) };
        self.is_felt |= (rise - self.turn).abs() >= FELT;
        if !self.is_felt {
            return since <= LONGEST;
        }
        let is_free = match (self.falls, duty) {
            (true, Some(duty)) => duty <= NONE && rise > level,
            (true, None) => rise > level + BAND,
            (false, Some(duty)) => duty >= FULL && rise < level - SHORT_OF,
            (false, None) => rise < level - SHORT_OF,
        };
        let counts = is_free && since <= LONGEST && (!self.falls || rise > ABOVE_ROOM);
        if counts {
            self.stretch.points.push((since, rise));
        }
        counts
    }
}
