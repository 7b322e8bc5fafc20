//! Instants without a calendar. Owns `Timestamp` and its arithmetic; calendars and zones belong to whoever shows
//! or reads a date.

use crate::units::Seconds;
use std::ops::{Add, Sub};

/// An instant: milliseconds since 1970-01-01T00:00:00Z, leap seconds not counted (POSIX time).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Timestamp(i64);

impl Timestamp {
    /// The instant so many milliseconds after 1970-01-01T00:00:00Z.
    #[must_use]
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    #[must_use]
    pub const fn as_ms(self) -> i64 {
        self.0
    }
}

impl Sub for Timestamp {
    type Output = Seconds;
    #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a span of 2^53 ms is 285,000 years")]
    fn sub(self, earlier: Self) -> Seconds {
        Seconds::from_ms(self.0.saturating_sub(earlier.0) as f64)
    }
}

impl Add<Seconds> for Timestamp {
    type Output = Self;
    #[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "float-to-int casts saturate")]
    fn add(self, by: Seconds) -> Self {
        Self(self.0.saturating_add(by.as_ms().round() as i64))
    }
}

impl Sub<Seconds> for Timestamp {
    type Output = Self;
    fn sub(self, by: Seconds) -> Self {
        self + Seconds::new(-by.get())
    }
}
