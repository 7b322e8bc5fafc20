//! How far the host's clock is from ours. Pure: instants in, a difference with its bounds out.
//!
//! A host stamps its answer with a whole second, D. The answer was made between the instants at which we asked and at
//! which it was here, so the host's clock then stood in [D, D + 1 s), and it is ahead by D − received at least and by
//! D + 1 s − sent at most. Each answer bounds it anew, and what all of them allow is narrow.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The host's clock against ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Skew {
    /// How far the host's clock is ahead; negative is behind.
    pub ahead: Seconds,
    /// It is true to this, either way.
    pub within: Seconds,
}

/// How fast two clocks may part. Quartz without a time server is good to about 20 to 50 ppm (from memory), and there
/// are two of them.
const DRIFT: f64 = 100e-6;

/// What the stamp holds: `Date` has no fraction.
const DATE_STEP: Seconds = Seconds::new(1.0);

/// Our own instants are whole milliseconds.
const RESOLUTION: Seconds = Seconds::new(0.001);

/// Narrows the difference from answer to answer. The bounds widen with time, so that old answers fade by themselves.
#[derive(Clone, Copy, Debug, Default)]
pub struct SkewMeter(Option<Bounds>);

#[derive(Clone, Copy, Debug)]
struct Bounds {
    low: Seconds,
    high: Seconds,
    at: Timestamp,
}

/// One of the two clocks was set: what the host says now and what it said before can't both be so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockStep {
    /// How far the host's clock went forwards against ours, at least; negative is back.
    pub by: Seconds,
}

impl SkewMeter {
    /// Takes one answer in: when it was asked for, when it was here, and its `Date`. Says when a clock was set.
    pub fn note(&mut self, sent: Timestamp, received: Timestamp, date: Timestamp) -> Option<ClockStep> {
        let found =
            Bounds { low: date - received - RESOLUTION, high: date - sent + DATE_STEP + RESOLUTION, at: received };
        let Some(before) = self.0.map(|bounds| bounds.widened_to(received)) else {
            self.0 = Some(found);
            return None;
        };
        let low = if found.low > before.low { found.low } else { before.low };
        let high = if found.high < before.high { found.high } else { before.high };
        if low > high {
            self.0 = Some(found);
            let by = if found.low > before.high { found.low - before.high } else { found.high - before.low };
            return Some(ClockStep { by });
        }
        self.0 = Some(Bounds { low, high, at: received });
        None
    }

    /// Forgets everything: our own clock jumped.
    pub fn reset(&mut self) {
        self.0 = None;
    }

    /// The difference, as of the newest answer.
    #[must_use]
    pub fn skew(&self) -> Option<Skew> {
        self.0.map(|Bounds { low, high, .. }| Skew {
            ahead: Seconds::new(f64::midpoint(low.get(), high.get())),
            within: Seconds::new((high - low).get() / 2.0),
        })
    }
}

impl Bounds {
    fn widened_to(self, now: Timestamp) -> Self {
        let by = Seconds::new((now - self.at).get().max(0.0) * DRIFT);
        Self { low: self.low - by, high: self.high + by, at: now }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const START_MS: f64 = 1_772_438_401_000.0;

    /// A host whose clock is ahead by a number of milliseconds that drifts.
    struct World {
        rng: ChaCha8Rng,
        at_ms: f64,
        ahead_ms: f64,
        ppm: f64,
    }

    impl World {
        fn new(seed: u64) -> Self {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let ahead_ms = rng.random_range(-1e8..1e8);
            let at_ms = START_MS + rng.random_range(0.0..1000.0);
            let ppm = rng.random_range(-90.0..90.0);
            Self { rng, at_ms, ahead_ms, ppm }
        }

        /// An answer after a pause: asked, answered within, received.
        fn poll(&mut self, meter: &mut SkewMeter, pause_ms: f64) -> Option<ClockStep> {
            let (to, from) = (self.rng.random_range(1.0..80.0), self.rng.random_range(1.0..80.0));
            self.at_ms += pause_ms;
            let sent = self.at_ms;
            let host = sent + to + self.ahead_ms;
            let date = (host / 1000.0).floor() * 1000.0;
            self.at_ms += to + from;
            self.ahead_ms += (pause_ms + to + from) * self.ppm * 1e-6;
            meter.note(instant(sent), instant(self.at_ms), instant(date))
        }

        fn is_within(&self, meter: &SkewMeter) -> bool {
            let skew = meter.skew().unwrap();
            (self.ahead_ms / 1000.0 - skew.ahead.get()).abs() <= skew.within.get() + 1e-9
        }
    }

    fn instant(ms: f64) -> Timestamp {
        Timestamp::from_ms(0) + Seconds::from_ms(ms)
    }

    #[test]
    fn the_true_difference_is_always_within_and_a_minute_of_polls_narrows_it() {
        for seed in 0..300 {
            let mut world = World::new(seed);
            let mut meter = SkewMeter::default();
            for poll in 0..700 {
                let pause = world.rng.random_range(700.0..1100.0);
                assert_eq!(world.poll(&mut meter, pause), None, "seed {seed}, poll {poll}");
                assert!(world.is_within(&meter), "seed {seed}, poll {poll}");
                let within = meter.skew().unwrap().within.get();
                assert!(poll < 60 || within < 0.3, "seed {seed}, poll {poll}: {within}");
            }
        }
    }

    #[test]
    fn a_clock_that_is_set_is_seen_and_measured_anew() {
        for (seed, step_ms) in [(1, 5_000.0), (2, -5_000.0), (3, 3.6e6), (4, -1.1e12)] {
            let mut world = World::new(seed);
            let mut meter = SkewMeter::default();
            for _ in 0..60 {
                world.poll(&mut meter, 930.0);
            }
            world.ahead_ms += step_ms;
            let by = world.poll(&mut meter, 930.0).unwrap().by.get();
            // What can't be otherwise: the step but for what both bounds leave open.
            assert!((by * 1000.0 - step_ms).abs() < 2500.0 && by * step_ms > 0.0, "{by}");
            assert!(world.is_within(&meter));
            assert_eq!(world.poll(&mut meter, 930.0), None);
        }
    }

    #[test]
    fn silence_widens_the_bounds_and_our_own_jump_forgets_them() {
        let mut world = World::new(5);
        let mut meter = SkewMeter::default();
        for _ in 0..60 {
            world.poll(&mut meter, 930.0);
        }
        world.poll(&mut meter, 3.6e6);
        assert!(world.is_within(&meter));
        meter.reset();
        assert_eq!(meter.skew(), None);
        // Ahead by an hour after our own clock was set back: no step, as nothing is known.
        world.ahead_ms += 3.6e6;
        assert_eq!(world.poll(&mut meter, 930.0), None);
        assert!(world.is_within(&meter));
    }
}
