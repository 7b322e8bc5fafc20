//! Whether a temperature has moved further than any heater could take it, or stands where no sound sensor would. Owns
//! the fastest that is believed.

use super::seen::Seen;
use super::words;
use super::{Found, OffBy, Which};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::units::{Celsius, Seconds};

/// The fastest climb and fall, K/s: a 40 W cartridge climbs at 3.5 K/s from cold, strong ones at twice that; a fan
/// takes it down at 2 K/s, cold filament at twice that (orders of magnitude, no source).
const CLIMB: f64 = 8.0;
const FALL: f64 = 4.0;
/// The same of a bed: 0.2 K/s is usual.
const BED: f64 = 1.0;
/// Some hosts tell the same value for some seconds: a value may be so much older than its reading.
const STALE: Seconds = Seconds::new(5.0);
/// No room is colder, °C: an open sensor reads about -15 (from memory).
const COLDEST: Celsius = Celsius::new(-10.0);
/// No desktop heater is hotter, °C: a sensor that is shorted reads the end of its table (from memory).
const HOTTEST: Celsius = Celsius::new(550.0);

/// The temperature that was told last.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Jump {
    last: Option<Last>,
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

    pub(super) fn take(&mut self, seen: &Seen, bound: OffBy) -> Found {
        let last = self.last.filter(|_| !seen.after_gap);
        let ago = last.map_or(Seconds::ZERO, |last| last.ago + seen.lasted);
        let is_same = last.is_some_and(|last| (last.actual - seen.actual).get().abs() < 0.005);
        let same = last.filter(|_| is_same).map_or(Seconds::ZERO, |last| last.same + ago);
        let same = if same < STALE { same } else { STALE };
        self.last = Some(Last { actual: seen.actual, ago: Seconds::ZERO, same });
        if seen.actual < COLDEST || seen.actual > HOTTEST {
            return Found::Fault(words::impossible(seen));
        }
        let Some(last) = last.filter(|_| ago <= SILENCE_MAX) else { return Found::Untold };
        let moved = (seen.actual - last.actual).get();
        let fastest = match seen.which {
            Which::Bed => BED,
            Which::Tool { .. } if moved > 0.0 => CLIMB,
            Which::Tool { .. } => FALL,
        };
        if moved.abs() > bound.by.get() + fastest * (ago + last.same).get() {
            return Found::Fault(words::jumped(seen, last.actual, ago));
        }
        Found::Sound
    }
}
