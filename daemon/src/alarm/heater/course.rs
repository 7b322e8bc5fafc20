//! Where a heater is on its way to its set point: climbing, holding it, or falling to it. Owns when that is late, lost,
//! or no fall at all; a set point that is moved begins anew from there, and time in a gap counts for nothing.

use super::hold::Hold;
use super::seen::{Seen, Target};
use super::words;
use super::{Found, OffBy, Which, pace};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

/// A heater that is off, or set lower, must not rise by so much over its lowest since: sensors are noisy, and neighbours
/// warm it (orders of magnitude, no source).
const RISE: CelsiusDelta = CelsiusDelta::new(20.0);
const RISE_BED: CelsiusDelta = CelsiusDelta::new(10.0);
/// And what a hot neighbour, the bed or a closed chamber make of a heater that is off stays under this, °C.
const LEAKED: Celsius = Celsius::new(110.0);
const LEAKED_BED: Celsius = Celsius::new(70.0);

/// Where a heater is on its way.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Course {
    stage: Stage,
    /// A gap lies between the reading that the stage is of and the next one.
    after_gap: bool,
}

#[derive(Clone, Copy, Debug, Default)]
enum Stage {
    /// No set point has been told.
    #[default]
    Unknown,
    Climbing(Climb),
    Held(Hold),
    Falling(Fall),
}

/// A climb to a set point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Climb {
    pub(super) target: Celsius,
    pub(super) from: Celsius,
    pub(super) waited: Seconds,
    pub(super) allowed: Seconds,
    /// The highest that two readings in a row reached.
    pub(super) highest: Celsius,
    last: Celsius,
    /// It has fallen from there.
    pub(super) has_fallen: bool,
}

/// A fall to a lower set point, or of a heater that is off.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fall {
    pub(super) target: Target,
    pub(super) from: Celsius,
    pub(super) lowest: Celsius,
    pub(super) waited: Seconds,
    pub(super) allowed: Seconds,
    /// So far down it must be within the time.
    to: Celsius,
    is_stuck: bool,
}

impl Course {
    /// A reading told no temperature.
    pub(super) fn miss(&mut self, after_gap: bool) {
        self.after_gap |= after_gap;
    }

    /// Takes a reading; whether the set point is late, and whether it is lost.
    pub(super) fn take(&mut self, seen: &Seen, late: OffBy, lost: OffBy) -> (Found, Found) {
        let after_gap = std::mem::take(&mut self.after_gap) || seen.after_gap;
        let Some(target) = seen.target else {
            self.after_gap = after_gap;
            return (Found::Untold, Found::Untold);
        };
        if self.target() != Some(target) || after_gap && self.is_elsewhere(seen, late) {
            self.stage = begin(target, seen, late);
        } else {
            self.go_on(seen, after_gap, late);
        }
        self.judge(seen, lost)
    }

    /// For how long the set point has been held, in contact; `None` where it is not.
    pub(super) fn held(&self) -> Option<Seconds> {
        match &self.stage {
            Stage::Held(hold) => Some(hold.held),
            Stage::Unknown | Stage::Climbing(_) | Stage::Falling(_) => None,
        }
    }

    /// Whether its temperature can't but move: it climbs, or falls where its surroundings do not hold it yet.
    pub(super) fn must_move(&self, actual: Celsius) -> bool {
        match &self.stage {
            Stage::Climbing(_) => true,
            Stage::Falling(fall) => actual > fall.to,
            Stage::Unknown | Stage::Held(_) => false,
        }
    }

    /// Whether it is heated though nobody asks for it.
    pub(super) fn runs_away(&self) -> bool {
        match &self.stage {
            Stage::Held(hold) => hold.is_far_over(),
            Stage::Falling(fall) => fall.is_stuck,
            Stage::Unknown | Stage::Climbing(_) => false,
        }
    }

    fn target(&self) -> Option<Target> {
        match &self.stage {
            Stage::Unknown => None,
            Stage::Climbing(climb) => Some(Target::At(climb.target)),
            Stage::Held(hold) => Some(Target::At(hold.target)),
            Stage::Falling(fall) => Some(fall.target),
        }
    }

    /// Whether the heater is where it could only come to by something that happened in the gap.
    fn is_elsewhere(&self, seen: &Seen, late: OffBy) -> bool {
        match &self.stage {
            Stage::Unknown => true,
            Stage::Climbing(climb) => seen.actual < climb.from - late.by,
            Stage::Held(hold) => (seen.actual - hold.target).get().abs() > late.by.get(),
            Stage::Falling(fall) => seen.actual > fall.lowest + late.by,
        }
    }

    fn go_on(&mut self, seen: &Seen, after_gap: bool, late: OffBy) {
        match &mut self.stage {
            Stage::Unknown | Stage::Held(_) => {}
            Stage::Climbing(climb) => {
                climb.waited += seen.lasted;
                // One wild reading does not take it there.
                let lower = std::mem::replace(&mut climb.last, seen.actual).min(seen.actual);
                climb.highest = if after_gap { seen.actual } else { climb.highest.max(lower) };
                // Once it is late it has to come nearer to count as there.
                let within = if climb.is_late() { late.back } else { late.by };
                if lower >= climb.target - within {
                    self.stage = Stage::Held(Hold::new(climb.target, seen.actual));
                }
            }
            Stage::Falling(fall) => {
                fall.waited += seen.lasted;
                fall.lowest = fall.lowest.min(seen.actual);
                match fall.target {
                    Target::At(target) if seen.actual <= target + late.by => {
                        self.stage = Stage::Held(Hold::new(target, seen.actual));
                    }
                    Target::At(_) | Target::Off => {}
                }
            }
        }
    }

    fn judge(&mut self, seen: &Seen, lost: OffBy) -> (Found, Found) {
        match &mut self.stage {
            Stage::Unknown => (Found::Untold, Found::Untold),
            Stage::Climbing(climb) => {
                climb.has_fallen = climb.falls(seen, lost);
                let late = if climb.is_late() { Found::Fault(words::late(seen, climb)) } else { Found::Sound };
                let lost = if climb.has_fallen { Found::Fault(words::fallen(seen, climb)) } else { Found::Sound };
                (late, lost)
            }
            Stage::Held(hold) => (Found::Sound, hold.take(seen, lost)),
            Stage::Falling(fall) => {
                fall.is_stuck = fall.rises(seen) || fall.lasts(seen, lost);
                (Found::Sound, if fall.is_stuck { Found::Fault(words::stuck(seen, fall)) } else { Found::Sound })
            }
        }
    }
}

impl Climb {
    fn is_late(&self) -> bool {
        self.waited > self.allowed
    }

    /// Whether it is twice the bound under the highest that it reached: whatever climbs does not fall so far.
    fn falls(&self, seen: &Seen, lost: OffBy) -> bool {
        let far = if self.has_fallen { lost.by + lost.back } else { lost.by + lost.by };
        seen.actual < self.highest - far
    }
}

impl Fall {
    fn rises(&self, seen: &Seen) -> bool {
        let (rise, leaked) = match seen.which {
            Which::Tool { .. } => (RISE, LEAKED),
            Which::Bed => (RISE_BED, LEAKED_BED),
        };
        seen.actual > self.lowest + rise && seen.actual > leaked
    }

    fn lasts(&self, seen: &Seen, lost: OffBy) -> bool {
        let over = if self.is_stuck { lost.back - lost.by } else { CelsiusDelta::new(0.0) };
        self.waited > self.allowed && seen.actual > self.to + over
    }
}

/// Where a heater is whose set point has just been told or moved.
fn begin(target: Target, seen: &Seen, late: OffBy) -> Stage {
    let falling = |to: Option<Celsius>| {
        let (to, allowed) = pace::fall(seen, to);
        let waited = Seconds::ZERO;
        Stage::Falling(Fall { target, from: seen.actual, lowest: seen.actual, waited, allowed, to, is_stuck: false })
    };
    match target {
        Target::Off => falling(None),
        Target::At(target) if seen.actual > target + late.by => falling(Some(target + late.by)),
        Target::At(target) if seen.actual < target - late.by => Stage::Climbing(Climb {
            target,
            from: seen.actual,
            waited: Seconds::ZERO,
            allowed: pace::climb(seen, target - late.by),
            highest: seen.actual,
            last: seen.actual,
            has_fallen: false,
        }),
        Target::At(target) => Stage::Held(Hold::new(target, seen.actual)),
    }
}
