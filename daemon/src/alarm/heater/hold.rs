//! A set point that was reached, and whether it is held. Owns when a dip still counts as one: a fan that starts or melt
//! that flows takes the temperature down for half a minute before the controller has made it good.

use super::seen::Seen;
use super::words;
use super::{Found, OffBy};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

/// A dip that comes back by so much within so long is being made good.
const COMES_BACK: CelsiusDelta = CelsiusDelta::new(1.0);
const WITHIN: Seconds = Seconds::new(30.0);
/// A heater so many bounds over its set point is not waited for: no fan that stops takes it there.
const FAR_OVER: f64 = 2.0;
/// Noise is averaged over about so long before a dip is looked at.
const SMOOTH: Seconds = Seconds::new(5.0);

/// A set point that is held, or was.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hold {
    pub(super) target: Celsius,
    /// Since it was reached, in contact.
    pub(super) held: Seconds,
    level: Celsius,
    is_off: bool,
    /// The level from which a dip must come back, and for how long it has not.
    from: Celsius,
    not_back: Seconds,
}

impl Hold {
    pub(super) fn new(target: Celsius, actual: Celsius) -> Self {
        Self { target, held: Seconds::ZERO, level: actual, is_off: false, from: actual, not_back: Seconds::ZERO }
    }

    /// Takes a reading: whether the set point is lost.
    pub(super) fn take(&mut self, seen: &Seen, bound: OffBy) -> Found {
        self.held += seen.lasted;
        let was_over = self.level > self.target;
        let weight = 1.0 - (-seen.lasted.get() / SMOOTH.get()).exp();
        self.level = self.level + CelsiusDelta::new(weight * (seen.actual - self.level).get());
        let within = if self.is_off { bound.back } else { bound.by };
        self.is_off = (seen.actual - self.target).get().abs() > within.get();
        let off = (seen.actual - self.target).get();
        // How far the level has come back from its furthest.
        let back = (self.level - self.from).get() * -off.signum();
        if !self.is_off || back > COMES_BACK.get() || was_over != (off > 0.0) {
            (self.from, self.not_back) = (self.level, Seconds::ZERO);
        } else {
            self.from = if off > 0.0 { self.from.max(self.level) } else { self.from.min(self.level) };
            self.not_back += seen.lasted;
        }
        let is_lost = self.is_off && (off > bound.by.get() * FAR_OVER || self.not_back >= WITHIN);
        if is_lost { Found::Fault(words::lost(seen, self.target, bound.by)) } else { Found::Sound }
    }
}
