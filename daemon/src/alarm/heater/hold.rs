//! A set point that was reached, and whether it is held. Owns when a dip still counts as one: a fan that starts or melt
//! that flows takes the temperature down for half a minute before the controller has made it good.

use super::seen::Seen;
use super::words;
use super::{Found, OffBy};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

/// A dip that comes back by so much within so long is being made good.
const COMES_BACK: CelsiusDelta = CelsiusDelta::new(1.0);
const WITHIN: Seconds = Seconds::new(30.0);
/// So many bounds off its set point a heater is not waited for: no fan that stops or starts takes it there and stays.
const FAR: f64 = 2.0;
/// Nor is one that is so many bounds under it and falls on, by so much in so long: a dip's bottom is flatter before its
/// controller turns it.
const LOW: f64 = 1.5;
const FALLS: CelsiusDelta = CelsiusDelta::new(1.0);
const FALLS_WITHIN: Seconds = Seconds::new(10.0);
/// And one that is far over and rises by so much more runs away: no noise of a sensor does that.
const RISES: CelsiusDelta = CelsiusDelta::new(1.0);
/// Noise is averaged over about so long before a dip is looked at.
const SMOOTH: Seconds = Seconds::new(5.0);

/// A set point that is held, or was.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hold {
    pub(super) target: Celsius,
    /// Since it was reached, in contact.
    pub(super) held: Seconds,
    last: Celsius,
    level: Celsius,
    is_off: bool,
    /// Two readings in a row were far under since it is off.
    is_far_under: bool,
    /// Where it was when it came to be far over.
    far_over: Option<Celsius>,
    /// The level from which a dip must come back, and for how long it has not.
    from: Celsius,
    not_back: Seconds,
    /// The level from which it must fall on, and for how long it has not.
    step: Celsius,
    not_fallen: Seconds,
}

impl Hold {
    pub(super) fn new(target: Celsius, actual: Celsius) -> Self {
        Self {
            target,
            held: Seconds::ZERO,
            last: actual,
            level: actual,
            is_off: false,
            is_far_under: false,
            far_over: None,
            from: actual,
            not_back: Seconds::ZERO,
            step: actual,
            not_fallen: FALLS_WITHIN,
        }
    }

    /// Takes a reading: whether the set point is lost.
    pub(super) fn take(&mut self, seen: &Seen, bound: OffBy) -> Found {
        self.held += seen.lasted;
        let last = std::mem::replace(&mut self.last, seen.actual);
        let was_over = self.level > self.target;
        let weight = 1.0 - (-seen.lasted.get() / SMOOTH.get()).exp();
        self.level = self.level + CelsiusDelta::new(weight * (seen.actual - self.level).get());
        let within = if self.is_off { bound.back } else { bound.by };
        let off = (seen.actual - self.target).get();
        self.is_off = off.abs() > within.get();
        // How far the level has come back from its furthest.
        let back = (self.level - self.from).get() * -off.signum();
        if !self.is_off || back > COMES_BACK.get() || was_over != (off > 0.0) {
            (self.from, self.not_back) = (self.level, Seconds::ZERO);
        } else {
            self.from = if off > 0.0 { self.from.max(self.level) } else { self.from.min(self.level) };
            self.not_back += seen.lasted;
        }
        self.fall(seen);
        let far = bound.by.get() * FAR;
        self.is_far_under = self.is_off && (self.is_far_under || off.max((last - self.target).get()) < -far);
        let is_falling = off < -bound.by.get() * LOW && self.not_fallen < FALLS_WITHIN;
        self.far_over = (off > far).then(|| self.far_over.unwrap_or(seen.actual));
        let gone = || words::lost(seen, self.target, bound.by);
        if self.far_over.is_some_and(|from| seen.actual >= from + RISES) {
            return Found::AtOnce(gone());
        }
        let is_lost = off > far || self.is_far_under || is_falling || self.not_back >= WITHIN;
        if self.is_off && is_lost { Found::Fault(gone()) } else { Found::Sound }
    }

    /// Whether it is far over.
    pub(super) fn is_far_over(&self) -> bool {
        self.far_over.is_some()
    }

    /// Whether the level falls on.
    fn fall(&mut self, seen: &Seen) {
        self.not_fallen += seen.lasted;
        if self.level <= self.step - FALLS {
            (self.step, self.not_fallen) = (self.level, Seconds::ZERO);
        } else if self.level >= self.step + FALLS {
            (self.step, self.not_fallen) = (self.level, FALLS_WITHIN);
        }
    }
}
