//! How heaters and their sensors fail. Owns what each fault does to what the controller feels, what the host tells and
//! what the heater gives; a sound heater is left as it is, to the last bit.

use super::plant::{AMBIENT_C, STEP_S};

/// A fault of one heater, from the instant at which it is planted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeaterFault {
    /// The sensor sits loose: it feels so much of the heater's rise above the room, and that late.
    LooseSensor {
        /// Share of the rise.
        share: f64,
        /// How late: the time constant, s.
        lag_s: f64,
    },
    /// The sensor's wire is broken. The board's own range check switches the heater off.
    SensorOpen,
    /// The sensor's wires touch. The board's own range check switches the heater off.
    SensorShort,
    /// The sensor tells for ever what it told last.
    SensorFrozen,
    /// The sensor creeps, and the controller with it, K/h.
    SensorDrift(f64),
    /// What the host tells creeps away from what the controller feels, K/h.
    ToldDrift(f64),
    /// The heater gives so much of its heat.
    Weak(f64),
    /// The heater gives nothing.
    Dead,
    /// The heater's switch is stuck: full heat, whatever is asked.
    StuckOn,
    /// A part fan blows at the heater all the time, and nothing tells of it.
    FanStuck,
}

/// What an open and a shorted sensor tell, °C: the ends of usual tables (from memory).
const OPEN_C: f64 = -15.0;
const SHORT_C: f64 = 420.0;

/// One heater's fault on its way.
#[derive(Clone, Copy, Debug)]
pub(super) struct Broken {
    fault: HeaterFault,
    for_s: f64,
    /// What a slow or frozen sensor feels, °C.
    felt: f64,
}

impl Broken {
    /// The fault begins with a heater at `temp` °C.
    pub(super) const fn new(fault: HeaterFault, temp: f64) -> Self {
        Self { fault, for_s: 0.0, felt: temp }
    }

    /// One step of the true temperature; what the controller feels, °C.
    pub(super) fn feel(&mut self, temp: f64) -> f64 {
        self.for_s += STEP_S;
        match self.fault {
            HeaterFault::LooseSensor { share, lag_s } => {
                let tends_to = AMBIENT_C + share * (temp - AMBIENT_C);
                self.felt = tends_to + (self.felt - tends_to) * (-STEP_S / lag_s).exp();
                self.felt
            }
            HeaterFault::SensorOpen => OPEN_C,
            HeaterFault::SensorShort => SHORT_C,
            HeaterFault::SensorFrozen => self.felt,
            HeaterFault::SensorDrift(k_per_h) => temp + self.crept(k_per_h),
            HeaterFault::ToldDrift(_)
            | HeaterFault::Weak(_)
            | HeaterFault::Dead
            | HeaterFault::StuckOn
            | HeaterFault::FanStuck => temp,
        }
    }

    /// What the host tells where the controller feels `felt`, °C.
    pub(super) fn told(&self, felt: f64) -> f64 {
        if let HeaterFault::ToldDrift(k_per_h) = self.fault { felt + self.crept(k_per_h) } else { felt }
    }

    fn crept(&self, k_per_h: f64) -> f64 {
        k_per_h * self.for_s / 3600.0
    }

    /// The share of the heater's full heat that it gives where the controller asks for `asked`.
    pub(super) const fn heat(&self, asked: f64) -> f64 {
        match self.fault {
            HeaterFault::Weak(share) => asked * share,
            HeaterFault::Dead => 0.0,
            HeaterFault::StuckOn => 1.0,
            HeaterFault::LooseSensor { .. }
            | HeaterFault::SensorOpen
            | HeaterFault::SensorShort
            | HeaterFault::SensorFrozen
            | HeaterFault::SensorDrift(_)
            | HeaterFault::ToldDrift(_)
            | HeaterFault::FanStuck => asked,
        }
    }

    /// Whether the board's own range check keeps the heater off.
    pub(super) const fn is_cut(&self) -> bool {
        matches!(self.fault, HeaterFault::SensorOpen | HeaterFault::SensorShort)
    }

    /// Whether a fan blows at the heater though nobody asked for it.
    pub(super) const fn is_blown(&self) -> bool {
        matches!(self.fault, HeaterFault::FanStuck)
    }

    /// Whether what is told is the same to the last digit.
    pub(super) const fn is_exact(&self) -> bool {
        matches!(self.fault, HeaterFault::SensorFrozen | HeaterFault::SensorOpen | HeaterFault::SensorShort)
    }
}
