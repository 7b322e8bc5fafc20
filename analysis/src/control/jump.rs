//! A change between two readings that no heater can make: a glitch of one reading, or a jump that stays. Owns the two
//! readings that are compared; how fast a heater can be is told to it.

use crate::units::{Celsius, CelsiusDelta, Seconds};

/// How fast a temperature can change, and how much of a difference is noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JumpLimits {
    /// The fastest rise, K/s.
    pub rise: f64,
    /// The fastest fall, K/s.
    pub fall: f64,
    /// What two readings differ by without any change: sensor noise and steps of the sensor together.
    pub noise: CelsiusDelta,
}

impl JumpLimits {
    /// The largest rise and fall between two readings so far apart that can be told from noise no more: what is smaller is
    /// not seen. In kelvin, both above zero.
    #[must_use]
    pub fn blind_zone(&self, apart: Seconds) -> (CelsiusDelta, CelsiusDelta) {
        let within = |rate: f64| CelsiusDelta::new(rate * apart.get().max(0.0) + self.noise.get());
        (within(self.rise), within(self.fall))
    }

    fn allow(&self, by: CelsiusDelta, apart: Seconds) -> bool {
        let (rise, fall) = self.blind_zone(apart);
        by <= rise && by.get() >= -fall.get()
    }
}

/// What became of a change that no heater can make.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JumpKind {
    /// The next reading was back where it came from.
    Glitch,
    /// The next reading was still there.
    Lasting,
    /// The next reading was somewhere else again that can't be reached from either.
    Erratic,
}

/// A jump, told with the reading after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JumpSeen {
    /// What became of it.
    pub kind: JumpKind,
    /// How far it went.
    pub by: CelsiusDelta,
    /// How long before the newest reading it was.
    pub ago: Seconds,
}

/// A change that waits for the reading after it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Leap {
    to: Celsius,
    apart: Seconds,
}

/// Compares each reading with the one before.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Jump {
    /// The last reading that could be reached.
    last: Option<Celsius>,
    leap: Option<Leap>,
    /// Time since the newest number that was read, as far as no number came since.
    unread: Seconds,
}

impl Jump {
    /// Whether the newest reading was a change that no heater can make, of which the next one tells what it is.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        self.leap.is_some()
    }

    /// Takes in a reading that came `apart` after the one before it; a jump of the one before it, if that was one. A
    /// reading that is no number counts as none: the next one is then so much further apart.
    pub fn push(&mut self, now: Celsius, apart: Seconds, limits: &JumpLimits) -> Option<JumpSeen> {
        let apart = self.unread + apart;
        if !now.get().is_finite() {
            self.unread = apart;
            return None;
        }
        self.unread = Seconds::ZERO;
        let Some(last) = self.last else {
            self.last = Some(now);
            return None;
        };
        let Some(leap) = self.leap.take() else {
            if limits.allow(now - last, apart) {
                self.last = Some(now);
            } else {
                self.leap = Some(Leap { to: now, apart });
            }
            return None;
        };
        let (back, onward) = (now - last, now - leap.to);
        let is_back = limits.allow(back, leap.apart + apart);
        let is_there = limits.allow(onward, apart);
        let kind = match (is_back, is_there) {
            (true, true) if back.get().abs() < onward.get().abs() => JumpKind::Glitch,
            (true, false) => JumpKind::Glitch,
            (_, true) => JumpKind::Lasting,
            (false, false) => JumpKind::Erratic,
        };
        self.last = Some(now);
        Some(JumpSeen { kind, by: leap.to - last, ago: apart })
    }
}
