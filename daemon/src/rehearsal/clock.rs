//! The rehearsal's time: faster than the wall's, from a given beginning.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::time::{Duration, Instant};

/// Simulated time: `origin` when it was made, `rate` simulated seconds a real second from then on.
#[derive(Clone, Copy, Debug)]
pub struct RehearsalClock {
    origin: Timestamp,
    started: Instant,
    rate: f64,
}

impl RehearsalClock {
    /// A clock that shows `origin` now. A rate that is not above zero counts as real time.
    #[must_use]
    pub fn new(origin: Timestamp, rate: f64) -> Self {
        let rate = if rate.is_finite() && rate > 0.0 { rate } else { 1.0 };
        Self { origin, started: Instant::now(), rate }
    }

    /// What it shows.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        self.origin + Seconds::new(self.started.elapsed().as_secs_f64() * self.rate)
    }

    /// Real time until it will have gone on by `simulated`.
    #[must_use]
    pub fn real(&self, simulated: Seconds) -> Duration {
        Duration::try_from_secs_f64(simulated.get() / self.rate).unwrap_or(Duration::ZERO)
    }
}
