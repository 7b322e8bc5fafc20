//! Instants as text, RFC 3339: read with any offset, written in UTC. Owns nothing else of time.

use dwell_analysis::time::Timestamp;

/// The instant that an RFC 3339 text names, to the millisecond, or `None`.
#[must_use]
pub fn parse(text: &str) -> Option<Timestamp> {
    // The calendar library also takes texts without an offset in brackets; an offset must stand there.
    text.parse::<jiff::Timestamp>().ok().map(|at| Timestamp::from_ms(at.as_millisecond()))
}

/// The instant as RFC 3339 in UTC, to the millisecond where it has any.
///
/// An instant outside the years -9999 to 9999 is shown as its milliseconds since 1970.
#[must_use]
pub fn write(at: Timestamp) -> String {
    jiff::Timestamp::from_millisecond(at.as_ms()).map_or_else(|_| format!("{} ms", at.as_ms()), |at| at.to_string())
}
