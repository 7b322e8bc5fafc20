//! Quantities as types, so that a wrong sum does not compile: a temperature is not a difference, a duration is not
//! an instant. Owns their arithmetic; knows nothing of what they measure.

use std::ops::{Add, AddAssign, Sub};

/// Kelvin at 0 °C (ITS-90, exact by definition of the Celsius scale).
const KELVIN_AT_ZERO_CELSIUS: f64 = 273.15;

/// A temperature in degrees Celsius.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Celsius(f64);

/// A difference between two temperatures, in kelvin.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct CelsiusDelta(f64);

/// A length of time in seconds; may be negative only as the difference of two instants.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Seconds(f64);

/// Equivalent minutes at a polymer's reference temperature: the dose of heat a melt has taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct DoseMinutes(f64);

/// A volume in cubic millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct CubicMm(f64);

/// A length in millimetres.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Millimetres(f64);

/// A probability, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Probability(f64);

macro_rules! quantity {
    ($name:ident, $unit:literal) => {
        impl $name {
            #[doc = concat!("Wraps a bare number of ", $unit, ".")]
            #[must_use]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }
            #[doc = concat!("The bare number of ", $unit, ".")]
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}
quantity!(Celsius, "degrees Celsius");
quantity!(CelsiusDelta, "kelvin");
quantity!(Seconds, "seconds");
quantity!(DoseMinutes, "equivalent minutes");
quantity!(CubicMm, "cubic millimetres");
quantity!(Millimetres, "millimetres");

macro_rules! additive {
    ($name:ident) => {
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
    };
}
additive!(CelsiusDelta);
additive!(Seconds);
additive!(DoseMinutes);
additive!(CubicMm);

impl Celsius {
    /// The absolute temperature in kelvin.
    #[must_use]
    pub fn kelvin(self) -> f64 {
        self.0 + KELVIN_AT_ZERO_CELSIUS
    }

    /// The higher of two temperatures.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0))
    }

    /// The lower of two temperatures.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        Self(self.0.min(other.0))
    }

    /// The temperature half-way between two.
    #[must_use]
    pub fn midway(self, other: Self) -> Self {
        Self(f64::midpoint(self.0, other.0))
    }
}

impl Sub for Celsius {
    type Output = CelsiusDelta;
    fn sub(self, other: Self) -> CelsiusDelta {
        CelsiusDelta(self.0 - other.0)
    }
}

impl Add<CelsiusDelta> for Celsius {
    type Output = Self;
    fn add(self, by: CelsiusDelta) -> Self {
        Self(self.0 + by.0)
    }
}

impl Sub<CelsiusDelta> for Celsius {
    type Output = Self;
    fn sub(self, by: CelsiusDelta) -> Self {
        Self(self.0 - by.0)
    }
}

impl Seconds {
    /// No time at all.
    pub const ZERO: Self = Self(0.0);

    /// So many minutes.
    #[must_use]
    pub const fn minutes(value: f64) -> Self {
        Self(value * 60.0)
    }

    /// So many milliseconds.
    #[must_use]
    pub const fn from_ms(value: f64) -> Self {
        Self(value / 1000.0)
    }

    /// The bare number of milliseconds.
    #[must_use]
    pub const fn as_ms(self) -> f64 {
        self.0 * 1000.0
    }

    /// The bare number of minutes.
    #[must_use]
    pub const fn as_minutes(self) -> f64 {
        self.0 / 60.0
    }
}

impl DoseMinutes {
    /// No dose at all.
    pub const ZERO: Self = Self(0.0);
}

impl CubicMm {
    /// No volume at all.
    pub const ZERO: Self = Self(0.0);
}

impl Probability {
    /// A probability, or `None` outside 0 to 1 (NaN included).
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=1.0).contains(&value).then_some(Self(value))
    }

    /// The bare number, 0 to 1.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}
