//! The one clock of the daemon: a timeline that never runs backwards. Owns how wall clock and monotonic clock are
//! reconciled; nothing else reads a clock.
//!
//! Time passes by the monotonic clock. When the wall clock is found ahead (it was set, or the machine slept), the
//! timeline jumps to it and says so, and the jump becomes a gap. When the wall clock is found behind, the timeline
//! goes on by itself until the wall clock has caught up: no second is lived twice.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Wall and monotonic clock may differ by this much before the difference is a jump: time servers slew less.
const JUMP_MIN: Seconds = Seconds::new(2.0);

/// A reading of the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// The instant on the timeline.
    pub at: Timestamp,
    /// How many jumps there have been: two stamps with different counts have unknown time between them.
    pub n_jumps: u32,
}

/// The daemon's clock.
#[derive(Debug)]
pub struct Clock {
    /// Timeline seconds a real second: 1, but faster in a rehearsal.
    rate: f64,
    anchor: Mutex<Anchor>,
}

#[derive(Debug)]
struct Anchor {
    at: Timestamp,
    taken: Instant,
    n_jumps: u32,
}

impl Clock {
    /// The wall clock's timeline, never before `floor` (the newest instant in the record).
    #[must_use]
    pub fn wall(floor: Option<Timestamp>) -> Self {
        let now = wall_now();
        let at = floor.map_or(now, |floor| now.max(floor + Seconds::new(0.001)));
        // Behind the record: how long the daemon was away is not known, so a gap stands between.
        let n_jumps = u32::from(at > now);
        Self { rate: 1.0, anchor: Mutex::new(Anchor { at, taken: Instant::now(), n_jumps }) }
    }

    /// A rehearsal's timeline: begins at `origin` and runs `rate` times as fast as real time.
    #[must_use]
    pub fn rehearsal(origin: Timestamp, rate: f64) -> Self {
        Self { rate, anchor: Mutex::new(Anchor { at: origin, taken: Instant::now(), n_jumps: 0 }) }
    }

    /// Now, on the timeline.
    pub fn now(&self) -> Stamp {
        let mut anchor = self.anchor.lock().unwrap_or_else(PoisonError::into_inner);
        let at = anchor.at + Seconds::new(anchor.taken.elapsed().as_secs_f64() * self.rate);
        let is_wall = self.rate <= 1.0;
        let wall = wall_now();
        if is_wall && wall - at > JUMP_MIN {
            *anchor = Anchor { at: wall, taken: Instant::now(), n_jumps: anchor.n_jumps + 1 };
            return Stamp { at: wall, n_jumps: anchor.n_jumps };
        }
        Stamp { at, n_jumps: anchor.n_jumps }
    }

    /// How long a stretch of the timeline lasts in real time.
    #[must_use]
    pub fn real(&self, stretch: Seconds) -> Duration {
        Duration::try_from_secs_f64(stretch.get() / self.rate).unwrap_or(Duration::ZERO)
    }
}

/// What the machine's wall clock shows.
#[must_use]
pub fn wall_now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or(Duration::ZERO);
    Timestamp::from_ms(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}
