//! How warm a tool was over a time. Owns the sums; which time counts is the tool's.

use dwell_analysis::units::{Celsius, Seconds};

/// Mean and highest temperature so far.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Warmth {
    measured: Seconds,
    /// Integral of temperature over that time, °C s.
    weighted: f64,
    max: Option<Celsius>,
}

impl Warmth {
    /// Adds `lasted` between two readings of `from` and `to`, on a straight line.
    pub(super) fn add(&mut self, lasted: Seconds, (from, to): (Celsius, Celsius)) {
        self.measured += lasted;
        self.weighted += from.midway(to).get() * lasted.get();
        let hotter = from.max(to);
        self.max = Some(self.max.map_or(hotter, |max| max.max(hotter)));
    }

    /// Time-weighted mean; `None` where nothing was measured.
    pub(super) fn mean(&self) -> Option<Celsius> {
        (self.measured > Seconds::ZERO).then(|| Celsius::new(self.weighted / self.measured.get()))
    }

    /// Highest temperature read; `None` where nothing was measured.
    pub(super) fn max(&self) -> Option<Celsius> {
        self.max
    }
}
