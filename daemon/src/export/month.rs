//! A calendar month in UTC: which one an instant is in, and how a folder names it.

use dwell_analysis::time::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::fmt;
use std::ops::Range;

/// A month.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Month {
    /// Its milliseconds since 1970.
    ms: Range<i64>,
    first: Option<Date>,
}

impl Month {
    /// The month that an instant is in. An instant that no calendar has (a damaged record) is in a month of its own.
    pub(super) fn of(at: Timestamp) -> Self {
        let ms = at.as_ms();
        Self::known(ms).unwrap_or(Self { ms: ms..ms.saturating_add(1), first: None })
    }

    fn known(ms: i64) -> Option<Self> {
        let date = jiff::Timestamp::from_millisecond(ms).ok()?.to_zoned_datetime(TimeZone::UTC).date();
        let first = date.first_of_month();
        let start = |date: Date| Some(date.to_zoned_datetime(TimeZone::UTC).ok()?.timestamp().as_millisecond());
        Some(Self { ms: start(first)?..start(first.checked_add(1.month()).ok()?)?, first: Some(first) })
    }

    /// Whether an instant is in it.
    pub(super) fn holds(&self, at: Timestamp) -> bool {
        self.ms.contains(&at.as_ms())
    }
}

impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.first {
            Some(first) => write!(f, "{:04}-{:02}", first.year(), first.month()),
            None => f.write_str("unknown"),
        }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::stamp;

    #[test]
    fn a_month_is_utc_and_ends_where_the_next_begins() {
        let at = |text| stamp::parse(text).unwrap();
        let march = Month::of(at("2026-04-01T01:59:59.999+02:00"));
        assert_eq!(march.to_string(), "2026-03");
        assert!(march.holds(at("2026-03-01T00:00:00Z")) && march.holds(at("2026-03-31T23:59:59.999Z")));
        assert!(!march.holds(at("2026-04-01T00:00:00Z")) && !march.holds(at("2026-02-28T23:59:59.999Z")));
        assert_eq!(Month::of(at("2026-12-31T23:59:59Z")).to_string(), "2026-12");
    }

    #[test]
    fn an_instant_beyond_the_calendar_is_in_no_month() {
        for ms in [i64::MIN, i64::MAX] {
            assert_eq!(Month::of(Timestamp::from_ms(ms)).to_string(), "unknown");
        }
    }
}
