//! The one clock of the daemon: a timeline that never runs backwards. Owns how wall clock and monotonic clock are
//! reconciled; nothing else reads a clock.
//!
//! Time passes by the monotonic clock. When the wall clock is found ahead (it was set, or the machine slept), the
//! timeline jumps to it and says so, and the jump becomes a gap. When the wall clock is found behind, the timeline
//! goes on by itself until the wall clock has caught up: no second is lived twice. If the wall clock leaps and is still
//! behind, how much time has passed is not known, and that becomes a gap too.

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
    time: Time,
}

#[derive(Debug)]
enum Time {
    /// The machine's: the timeline as of the last look, when that was, and what shows the wall clock.
    Wall(Mutex<(Timeline, Instant)>, fn() -> Timestamp),
    /// A rehearsal's: simulated seconds a real second, from a given beginning.
    Rehearsal { origin: Timestamp, started: Instant, rate: f64 },
}

impl Clock {
    /// The wall clock's timeline, never before `floor` (the newest instant in the record).
    #[must_use]
    pub fn wall(floor: Option<Timestamp>) -> Self {
        Self::showing(wall_now, floor)
    }

    /// [`Self::wall`], by a wall clock of the caller's: one that is wrong, or is set.
    #[must_use]
    pub fn showing(wall: fn() -> Timestamp, floor: Option<Timestamp>) -> Self {
        Self { time: Time::Wall(Mutex::new((Timeline::begin(wall(), floor), Instant::now())), wall) }
    }

    /// A rehearsal's timeline: shows `origin` now and runs `rate` times as fast as real time. A rate that is not above
    /// zero counts as real time.
    #[must_use]
    pub fn rehearsal(origin: Timestamp, rate: f64) -> Self {
        let rate = if rate.is_finite() && rate > 0.0 { rate } else { 1.0 };
        Self { time: Time::Rehearsal { origin, started: Instant::now(), rate } }
    }

    /// Now, on the timeline.
    pub fn now(&self) -> Stamp {
        match &self.time {
            Time::Wall(held, wall) => {
                let mut held = held.lock().unwrap_or_else(PoisonError::into_inner);
                let (timeline, taken) = &mut *held;
                let now = Instant::now();
                let passed = Seconds::new(now.duration_since(*taken).as_secs_f64());
                *taken = now;
                timeline.go_on(passed, wall())
            }
            Time::Rehearsal { origin, started, rate } => {
                let at = *origin + Seconds::new(started.elapsed().as_secs_f64() * rate);
                Stamp { at, n_jumps: 0 }
            }
        }
    }

    /// How long a stretch of the timeline lasts in real time; none of what is over.
    #[must_use]
    pub fn real(&self, stretch: Seconds) -> Duration {
        let rate = match self.time {
            Time::Wall(..) => 1.0,
            Time::Rehearsal { rate, .. } => rate,
        };
        Duration::try_from_secs_f64(stretch.get() / rate).unwrap_or(Duration::ZERO)
    }
}

/// The rule by itself: time that has passed and what the wall clock shows in, the timeline's instant out.
#[derive(Debug)]
struct Timeline {
    /// Seconds since 1970, to more than the millisecond: what passes between two looks may be less.
    at_s: f64,
    n_jumps: u32,
    /// What the wall clock showed at the last look.
    wall: Timestamp,
}

impl Timeline {
    fn begin(wall: Timestamp, floor: Option<Timestamp>) -> Self {
        let at = floor.map_or(wall, |floor| wall.max(floor + Seconds::new(0.001)));
        // Behind the record: how long the daemon was away is not known, so a gap stands between.
        Self { at_s: (at - Timestamp::from_ms(0)).get(), n_jumps: u32::from(at > wall), wall }
    }

    fn go_on(&mut self, passed: Seconds, wall: Timestamp) -> Stamp {
        self.at_s += passed.get();
        let leapt = wall - self.wall - passed;
        self.wall = wall;
        let ahead = wall - self.at();
        if ahead > JUMP_MIN {
            self.at_s += ahead.get();
            self.n_jumps += 1;
        } else if leapt > JUMP_MIN && ahead < Seconds::new(-JUMP_MIN.get()) {
            // Somebody has put it half right, or the machine has slept.
            self.n_jumps += 1;
        }
        Stamp { at: self.at(), n_jumps: self.n_jumps }
    }

    fn at(&self) -> Timestamp {
        Timestamp::from_ms(0) + Seconds::new(self.at_s)
    }
}

/// What the machine's wall clock shows.
#[must_use]
pub fn wall_now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or(Duration::ZERO);
    Timestamp::from_ms(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

/// Now, as somebody who speaks of a record is to be understood: a record that the wall clock is behind goes on from its
/// `newest` instant.
#[must_use]
pub fn present(newest: Option<Timestamp>) -> Timestamp {
    newest.map_or_else(wall_now, |newest| newest.max(wall_now()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

    fn after(seconds: f64) -> Timestamp {
        START + Seconds::new(seconds)
    }

    /// Goes on second by second while the wall clock shows `wall(second)`; gives the last stamp.
    fn run(timeline: &mut Timeline, seconds: std::ops::RangeInclusive<i32>, wall: impl Fn(f64) -> f64) -> Stamp {
        let mut last = timeline.go_on(Seconds::ZERO, START);
        for second in seconds {
            let stamp = timeline.go_on(Seconds::new(1.0), after(wall(f64::from(second))));
            assert!(stamp.at > last.at, "{last:?} then {stamp:?}");
            last = stamp;
        }
        last
    }

    #[test]
    fn a_machine_that_slept_jumps_to_the_wall_clock_and_says_so() {
        let mut timeline = Timeline::begin(START, None);
        run(&mut timeline, 1..=10, |second| second);
        // The monotonic clock stands still while the machine sleeps for three hours.
        let woken = timeline.go_on(Seconds::new(0.4), after(10.0 + 10_800.0));
        assert_eq!((woken.at, woken.n_jumps), (after(10_810.0), 1));
    }

    #[test]
    fn a_clock_that_is_set_forward_is_one_jump_and_one_that_is_slewed_is_none() {
        let mut timeline = Timeline::begin(START, None);
        let set = run(&mut timeline, 1..=60, |second| if second < 30.0 { second } else { second + 3600.0 });
        assert_eq!((set.at, set.n_jumps), (after(3660.0), 1));
        let mut timeline = Timeline::begin(START, None);
        let slewed = run(&mut timeline, 1..=3600, |second| second + 1.5 * (second / 3600.0));
        assert_eq!((slewed.at, slewed.n_jumps), (after(3600.0), 0));
    }

    #[test]
    fn a_clock_that_is_set_back_lets_no_second_be_lived_twice() {
        let mut timeline = Timeline::begin(START, None);
        let back = run(&mut timeline, 1..=7200, |second| if second < 600.0 { second } else { second - 3600.0 });
        assert_eq!((back.at, back.n_jumps), (after(7200.0), 0));
        // A leap second that is repeated is the same thing, smaller.
        let mut timeline = Timeline::begin(START, None);
        let leapt = run(&mut timeline, 1..=120, |second| if second < 60.0 { second } else { second - 1.0 });
        assert_eq!((leapt.at, leapt.n_jumps), (after(120.0), 0));
    }

    #[test]
    fn a_leap_of_a_clock_that_stays_behind_is_a_gap_and_one_that_puts_it_right_is_none() {
        const YEAR: f64 = 365.0 * 86_400.0;
        let mut timeline = Timeline::begin(START, None);
        let back = run(&mut timeline, 1..=60, |second| if second < 30.0 { second } else { second - YEAR });
        assert_eq!((back.at, back.n_jumps), (after(60.0), 0));
        // The machine sleeps for three hours: the monotonic clock stands still meanwhile.
        let woken = timeline.go_on(Seconds::new(0.5), after(60.5 + 10_800.0 - YEAR));
        assert_eq!((woken.at, woken.n_jumps), (after(60.5), 1));
        let right = timeline.go_on(Seconds::new(1.0), after(61.5));
        assert_eq!((right.at, right.n_jumps), (after(61.5), 1));
    }

    #[test]
    fn a_start_behind_the_record_goes_on_after_it_and_says_so() {
        let mut timeline = Timeline::begin(START, Some(after(365.0 * 86_400.0)));
        let stamp = timeline.go_on(Seconds::new(1.0), after(1.0));
        assert_eq!((stamp.at, stamp.n_jumps), (after(365.0 * 86_400.0 + 1.001), 1));
    }
}
