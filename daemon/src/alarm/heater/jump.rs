//! Whether a temperature has moved further than any heater could take it, or stands where no sound sensor would. Owns
//! the fastest that is believed, and that one wild reading calls nobody: the next one tells what it was.

use super::seen::Seen;
use super::words;
use super::{Found, OffBy, Which};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::control::{self, JumpKind, JumpLimits, JumpSeen};
use dwell_analysis::units::{Celsius, Seconds};

/// The fastest climb and fall, K/s: a 40 W cartridge climbs at 3.5 K/s from cold, strong ones at twice that; a fan
/// takes it down at 2 K/s, cold filament at twice that (orders of magnitude, no source).
const CLIMB: f64 = 8.0;
const FALL: f64 = 4.0;
/// The same of a bed: 0.2 K/s is usual.
const BED: f64 = 1.0;
/// Some hosts tell the same value for some seconds: a value may be so much older than its reading.
const STALE: Seconds = Seconds::new(5.0);
/// Two wild readings within so long are no chance: a wire that lets go for an instant does it again (a proposal, no
/// source).
const AGAIN_WITHIN: Seconds = Seconds::new(60.0);
/// No room is colder, °C: an open sensor reads about -15 (from memory).
const COLDEST: Celsius = Celsius::new(-10.0);
/// No desktop heater is hotter, °C: a sensor that is shorted reads the end of its table (from memory).
const HOTTEST: Celsius = Celsius::new(550.0);

/// One heater's temperatures as they follow each other.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Jump {
    changes: control::Jump,
    last: Option<Last>,
    /// Since the newest single wild reading.
    wild: Option<Seconds>,
    is_doubtful: bool,
}

#[derive(Clone, Copy, Debug)]
struct Last {
    actual: Celsius,
    /// Since it was told.
    ago: Seconds,
    /// How long it had been the same by then.
    same: Seconds,
}

impl Jump {
    /// No temperature was told for another `lasted`.
    pub(super) fn miss(&mut self, lasted: Seconds) {
        if let Some(last) = &mut self.last {
            last.ago += lasted;
        }
    }

    /// Whether the newest reading may be a single wild one, by which nothing can be judged.
    pub(super) fn is_doubtful(&self) -> bool {
        self.is_doubtful
    }

    pub(super) fn take(&mut self, seen: &Seen, bound: OffBy) -> Found {
        let ago = self.last.map_or(Seconds::ZERO, |last| last.ago + seen.lasted);
        if seen.after_gap || ago > SILENCE_MAX {
            *self = Self::default();
        }
        self.wild = self.wild.map(|wild| wild + ago).filter(|wild| *wild <= AGAIN_WITHIN);
        let last = self.last;
        let is_same = last.is_some_and(|last| (last.actual - seen.actual).get().abs() < 0.005);
        let same = last.filter(|_| is_same).map_or(Seconds::ZERO, |last| last.same + ago);
        let same = if same < STALE { same } else { STALE };
        self.last = Some(Last { actual: seen.actual, ago: Seconds::ZERO, same });
        let apart = ago + last.map_or(Seconds::ZERO, |last| last.same);
        let jump = self.changes.push(seen.actual, apart, &limits(seen.which, bound));
        let was_impossible = last.is_some_and(|last| is_impossible(last.actual));
        self.is_doubtful = self.changes.is_open() || is_impossible(seen.actual) && !was_impossible;
        let Some(last) = last else { return Found::Untold };
        if is_impossible(seen.actual) && was_impossible {
            self.is_doubtful = false;
            return Found::Fault(words::impossible(seen));
        }
        match jump {
            Some(jump) => self.told(seen, last.actual, jump),
            None if self.is_doubtful => Found::Untold,
            None => Found::Sound,
        }
    }

    /// What becomes of a jump to the reading before, `there`.
    fn told(&mut self, seen: &Seen, there: Celsius, jump: JumpSeen) -> Found {
        let is_again = match jump.kind {
            JumpKind::Glitch => self.wild.replace(Seconds::ZERO).is_some(),
            JumpKind::Lasting | JumpKind::Erratic => true,
        };
        if is_again { Found::Fault(words::jumped(seen, there, jump)) } else { Found::Untold }
    }
}

/// What the heater can do, and what of a difference is noise.
fn limits(which: Which, bound: OffBy) -> JumpLimits {
    let (rise, fall) = match which {
        Which::Bed => (BED, BED),
        Which::Tool { .. } => (CLIMB, FALL),
    };
    JumpLimits { rise, fall, noise: bound.by }
}

fn is_impossible(actual: Celsius) -> bool {
    actual < COLDEST || actual > HOTTEST
}
