//! Cuts a heater's record into the stretches that say how it behaves: falls without duty, climbs at full duty, and rests.
//! Owns what counts as one; what they come to is the fit's business. Streams, and holds no more than the newest few.

use super::stretch::{Fan, Kind, Sample, Stretch};
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
    /// Temperature of the heater beside it.
    pub neighbour: Option<Celsius>,
    /// Temperature of the bed.
    pub bed: Option<Celsius>,
    /// Speed of the part fan, 0 to 1.
    pub fan: Option<f64>,
}

impl HeaterReading {
    /// One that tells nothing but that what came before is over.
    #[must_use]
    pub const fn gap(at: Seconds) -> Self {
        Self { at, actual: None, target: None, duty: None, neighbour: None, bed: None, fan: None }
    }
}

/// A longer silence between readings may hide anything.
const SILENCE_MAX: f64 = 30.0;
/// Noise moves a reading less than this, K: a stretch counts from where the step has been felt that much.
const FELT: f64 = 3.0;
/// A stretch that moves less than this, K, says little beside its noise.
const MOVES_LEAST: f64 = 10.0;
/// The fewest readings of a stretch. More would choose, where polls are slow, the steps that suit them, and those are
/// felt later than the others.
const READINGS_LEAST: usize = 3;
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
/// The newest falls and climbs are enough; rests are cut short, and of one long rest there are many.
const STEPS_MAX: usize = 24;
const RESTS_MAX: usize = 40;
/// A rest counts from so many seconds on, and moves less than this, K, so that its time constant hardly matters.
const REST_LEAST: f64 = 120.0;
const REST_MOVES: f64 = 5.0;

/// What a record has of stretches so far.
#[derive(Debug)]
pub struct Steps {
    ambient: Celsius,
    falls: VecDeque<Stretch>,
    climbs: VecDeque<Stretch>,
    rests: VecDeque<Stretch>,
    last: Option<(f64, Celsius)>,
    fan: Fan,
    /// Counts the times in which nothing was set anew.
    group: usize,
    recent: VecDeque<Sample>,
    open: Option<Open>,
}

/// A stretch under way.
#[derive(Debug)]
struct Open {
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
            rests: VecDeque::new(),
            last: None,
            fan: Fan::Untold,
            group: 0,
            recent: VecDeque::new(),
            open: None,
        }
    }

    /// The surroundings that rises are counted from.
    pub(super) const fn ambient(&self) -> Celsius {
        self.ambient
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
        let fan = Fan::of(reading.fan);
        if is_silence || fan != self.fan || fan == Fan::Between {
            self.cut();
        }
        self.fan = fan;
        let level = target.max(self.ambient);
        let sample = self.sample(reading);
        if let Some((before, held)) = self.last.filter(|(_, held)| *held != level) {
            // It was set at some instant between the two readings.
            self.step((before, at), held, level, sample.map(|sample| sample.rise));
        }
        self.last = Some((at, level));
        if let Some(sample) = sample.filter(|_| fan != Fan::Between) {
            self.note(sample, (level - self.ambient).get(), reading.duty);
        }
    }

    /// All stretches, in order of time within each kind.
    pub(super) fn finish(mut self) -> Vec<Stretch> {
        self.cut();
        self.falls.into_iter().chain(self.climbs).chain(self.rests).collect()
    }

    fn sample(&self, reading: &HeaterReading) -> Option<Sample> {
        let above =
            |told: Option<Celsius>| told.map(|told| (told - self.ambient).get()).filter(|rise| rise.is_finite());
        let rise = above(reading.actual)?;
        let (neighbour, bed) = (above(reading.neighbour), above(reading.bed));
        Some(Sample { at: reading.at.get(), rise, neighbour, bed })
    }

    /// Ends what is under way; nothing is known of the time up to the next reading.
    fn cut(&mut self) {
        self.close();
        self.group += 1;
        self.recent.clear();
        self.last = None;
    }

    fn step(&mut self, (last, at): (f64, f64), held: Celsius, level: Celsius, rise: Option<f64>) {
        let falls = level < held;
        self.group += 1;
        let began = f64::midpoint(last, at);
        if falls && self.open.as_ref().is_some_and(|open| open.stretch.kind == Kind::Fall) {
            return;
        }
        self.close();
        let now = rise.or(self.recent.back().map(|sample| sample.rise));
        let far = |now: f64| (level - self.ambient) - CelsiusDelta::new(now);
        if falls || now.is_some_and(|now| far(now).get() >= RAISE_LEAST) {
            let before = self.recent.iter().map(|sample| Sample { at: sample.at - began, ..*sample }).collect();
            let (kind, turn) = if falls { (Kind::Fall, f64::NEG_INFINITY) } else { (Kind::Climb, f64::INFINITY) };
            let stretch = Stretch::step(kind, before, at - began, (self.fan, self.group));
            self.open = Some(Open { began, turn, is_felt: false, stretch });
        }
        self.recent.clear();
    }

    fn note(&mut self, sample: Sample, level: f64, duty: Option<f64>) {
        if let Some(open) = self.open.as_mut()
            && !open.note(sample, level, duty)
        {
            self.close();
        }
        let is_off = level <= 0.0 && duty.is_none_or(|duty| duty <= NONE) && sample.rise < ABOVE_ROOM;
        if self.open.is_none() && is_off {
            let stretch = Stretch::rest(self.fan, self.group);
            let mut open = Open { began: sample.at, turn: sample.rise, is_felt: true, stretch };
            open.note(sample, level, duty);
            self.open = Some(open);
        }
        self.recent.push_back(sample);
        let is_early = |early: &Sample| sample.at - early.at > BEFORE;
        while self.recent.len() > BEFORE_LEAST && self.recent.front().is_some_and(is_early) {
            self.recent.pop_front();
        }
    }

    fn close(&mut self) {
        let Some(Open { stretch, is_felt, .. }) = self.open.take() else { return };
        let n = stretch.samples.len() - stretch.n_before();
        let tells = match stretch.kind {
            Kind::Fall | Kind::Climb => is_felt && stretch.moved() >= MOVES_LEAST,
            Kind::Rest => stretch.lasts() >= REST_LEAST && stretch.moved() < REST_MOVES,
        };
        if n < READINGS_LEAST || !tells {
            return;
        }
        let (kept, most) = match stretch.kind {
            Kind::Fall => (&mut self.falls, STEPS_MAX),
            Kind::Climb => (&mut self.climbs, STEPS_MAX),
            Kind::Rest => (&mut self.rests, RESTS_MAX),
        };
        kept.push_back(stretch);
        if kept.len() > most {
            kept.pop_front();
        }
    }
}

impl Open {
    /// Whether it goes on.
    fn note(&mut self, sample: Sample, level: f64, duty: Option<f64>) -> bool {
        let since = sample.at - self.began;
        let rise = sample.rise;
        let kind = self.stretch.kind;
        self.turn = if kind == Kind::Fall { self.turn.max(rise) } else { self.turn.min(rise) };
        if !self.is_felt && (rise - self.turn).abs() >= FELT {
            self.is_felt = true;
            self.stretch.felt = self.stretch.samples.len();
        }
        let is_free = match (kind, duty) {
            (Kind::Rest, duty) => level <= 0.0 && duty.is_none_or(|duty| duty <= NONE),
            (Kind::Fall | Kind::Climb, _) if !self.is_felt => true,
            (Kind::Fall, Some(duty)) => duty <= NONE && rise > level,
            (Kind::Fall, None) => rise > level + BAND,
            (Kind::Climb, Some(duty)) => duty >= FULL && rise < level - SHORT_OF,
            (Kind::Climb, None) => rise < level - SHORT_OF,
        };
        let counts = is_free && since <= LONGEST && (kind != Kind::Fall || rise > ABOVE_ROOM);
        if counts {
            self.stretch.samples.push(Sample { at: since, ..sample });
        }
        counts
    }
}
