//! ISO 8601 weeks in a time zone. Owns where a week begins and ends on the clock of a place, summer time included.

use dwell_analysis::time::Timestamp;
use jiff::civil::{Date, ISOWeekDate, Weekday};
use jiff::tz::TimeZone;
use jiff::{Span, ZonedDateTime};
use std::fmt;
use std::str::FromStr;

/// A calendar week, Monday to Sunday, numbered as in ISO 8601.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct IsoWeek {
    /// Its Monday; the only state, so that a week that does not exist cannot be held.
    monday: Date,
}

/// Why there is no such week.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WeekError {
    /// Not written as a week.
    #[error("week `{found}` is not written as YEAR-WNUMBER, such as 2026-W09")]
    Form {
        /// What was found.
        found: String,
    },
    /// Written as a week that the calendar does not have.
    #[error("week `{found}` does not exist: {year} has the weeks W01 to W{last:02}")]
    Number {
        /// What was found.
        found: String,
        /// The year.
        year: i16,
        /// Its last week.
        last: i8,
    },
    /// Outside the years that can be told on a clock.
    #[error("the instant or week is outside the years 1 to 9998")]
    Range,
}

/// The years in which each day of each week, and the weeks beside it, can be reckoned.
const YEARS: std::ops::RangeInclusive<i16> = 1..=9998;

impl IsoWeek {
    /// Reads `2026-W09`.
    ///
    /// # Errors
    /// If it is not written so, or the year has no such week.
    pub fn parse(text: &str) -> Result<Self, WeekError> {
        let form = || WeekError::Form { found: text.to_owned() };
        let (year, number) = text.split_once("-W").ok_or_else(form)?;
        let digits = |part: &str, count| part.len() == count && part.bytes().all(|byte| byte.is_ascii_digit());
        if !digits(year, 4) || !digits(number, 2) {
            return Err(form());
        }
        let year: i16 = year.parse().map_err(|_| form())?;
        let number: i8 = number.parse().map_err(|_| form())?;
        if !YEARS.contains(&year) {
            return Err(WeekError::Range);
        }
        let monday = ISOWeekDate::new(year, number, Weekday::Monday).map_err(|_| WeekError::Number {
            found: text.to_owned(),
            year,
            last: if ISOWeekDate::new(year, 53, Weekday::Monday).is_ok() { 53 } else { 52 },
        })?;
        Ok(Self { monday: monday.date() })
    }

    /// The week that an instant falls into, on the clock of `zone`.
    ///
    /// # Errors
    /// If the instant is outside the calendar.
    pub fn of(at: Timestamp, zone: &TimeZone) -> Result<Self, WeekError> {
        let date = zoned(at, zone).ok_or(WeekError::Range)?.date();
        Self::holding(date)
    }

    /// Its first day.
    pub(crate) const fn monday(self) -> Date {
        self.monday
    }

    /// The first day after it; `None` outside the calendar.
    pub(crate) fn monday_after(self) -> Option<Date> {
        self.shifted(7).ok()
    }

    /// The week that a day is in.
    pub(crate) fn holding(date: Date) -> Result<Self, WeekError> {
        let week = date.iso_week_date();
        if !YEARS.contains(&week.year()) {
            return Err(WeekError::Range);
        }
        let monday = ISOWeekDate::new(week.year(), week.week(), Weekday::Monday).map_err(|_| WeekError::Range)?;
        Ok(Self { monday: monday.date() })
    }

    /// The first instant of the week and the first instant after it, on the clock of `zone`. A week in which summer
    /// time begins or ends is an hour shorter or longer than 168 h.
    ///
    /// # Errors
    /// If the week's edge is outside the calendar.
    pub fn bounds(self, zone: &TimeZone) -> Result<(Timestamp, Timestamp), WeekError> {
        Ok((midnight(self.monday, zone)?, midnight(self.shifted(7)?, zone)?))
    }

    /// The first instants of the seven days, and the first instant after them: the edges of each day's count.
    ///
    /// # Errors
    /// If the week's edge is outside the calendar.
    pub fn day_edges(self, zone: &TimeZone) -> Result<[Timestamp; 8], WeekError> {
        let mut edges = [Timestamp::from_ms(0); 8];
        for (edge, day) in edges.iter_mut().zip(0..) {
            *edge = midnight(self.shifted(day)?, zone)?;
        }
        Ok(edges)
    }

    /// The week before.
    ///
    /// # Errors
    /// At the calendar's first week.
    pub fn previous(self) -> Result<Self, WeekError> {
        Self::holding(self.shifted(-7)?)
    }

    /// The week after.
    ///
    /// # Errors
    /// At the calendar's last week.
    pub fn next(self) -> Result<Self, WeekError> {
        Self::holding(self.shifted(7)?)
    }

    /// The seven days' names with their day of the month: `Mon 23`.
    #[must_use]
    pub fn day_labels(self) -> [String; 7] {
        let mut day = self.monday;
        [(); 7].map(|()| {
            let label = day.strftime("%a %-d").to_string();
            day = day.tomorrow().unwrap_or(day);
            label
        })
    }

    /// The week's first and last day: `23 February to 1 March 2026`.
    #[must_use]
    pub fn dates(self) -> String {
        let sunday = self.monday.saturating_add(Span::new().days(6));
        let first = if self.monday.year() == sunday.year() { "%-d %B" } else { "%-d %B %Y" };
        format!("{} to {}", self.monday.strftime(first), sunday.strftime("%-d %B %Y"))
    }

    fn shifted(self, days: i32) -> Result<Date, WeekError> {
        self.monday.checked_add(Span::new().days(days)).map_err(|_| WeekError::Range)
    }
}

impl fmt::Display for IsoWeek {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let week = self.monday.iso_week_date();
        write!(f, "{:04}-W{:02}", week.year(), week.week())
    }
}

impl FromStr for IsoWeek {
    type Err = WeekError;
    fn from_str(text: &str) -> Result<Self, WeekError> {
        Self::parse(text)
    }
}

/// The instant on the clock of `zone`; `None` outside the calendar.
pub(crate) fn zoned(at: Timestamp, zone: &TimeZone) -> Option<ZonedDateTime> {
    jiff::Timestamp::from_millisecond(at.as_ms()).ok().map(|instant| instant.to_zoned_datetime(zone.clone()))
}

/// The day's first instant: 00:00, or the first time after it where the clock skips midnight.
pub(crate) fn midnight(date: Date, zone: &TimeZone) -> Result<Timestamp, WeekError> {
    let start =
        date.to_zoned_datetime(zone.clone()).and_then(|zoned| zoned.start_of_day()).map_err(|_| WeekError::Range)?;
    Ok(Timestamp::from_ms(start.timestamp().as_millisecond()))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// `testdata/calendar.txt` names its source.
    fn cases(kind: &str) -> Vec<Vec<&'static str>> {
        let lines = include_str!("../testdata/calendar.txt").lines();
        lines.map(|line| line.split_whitespace().collect::<Vec<_>>()).filter(|row| row.first() == Some(&kind)).collect()
    }

    #[test]
    fn dates_fall_into_the_iso_weeks_of_the_reference_calendar() {
        for row in cases("week") {
            let noon = row[1].parse::<Date>().unwrap().at(12, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).unwrap();
            let week = IsoWeek::of(Timestamp::from_ms(noon.timestamp().as_millisecond()), &TimeZone::UTC).unwrap();
            assert_eq!(week.to_string(), row[2][..8], "{}", row[1]);
            assert_eq!(IsoWeek::parse(&row[2][..8]), Ok(week));
        }
    }

    #[test]
    fn weeks_and_days_are_as_long_as_their_zone_makes_them() {
        for row in cases("seconds") {
            let zone = TimeZone::get(row[1]).unwrap();
            let first = midnight(row[2].parse().unwrap(), &zone).unwrap();
            let last = midnight(row[3].parse().unwrap(), &zone).unwrap();
            let expected = row[4].parse::<i64>().unwrap() * 1000;
            assert_eq!(last.as_ms() - first.as_ms(), expected, "{row:?}");
            let week = IsoWeek::of(first, &zone).unwrap();
            let edges = week.day_edges(&zone).unwrap();
            if expected > 5 * 86_400_000 {
                assert_eq!(week.bounds(&zone).unwrap(), (first, last), "{row:?}");
            }
            assert!(edges.contains(&first) && edges.contains(&last), "{row:?}");
        }
    }

    #[test]
    fn weeks_that_do_not_exist_are_refused() {
        for text in ["2021-W53", "2026-W00", "2026-W54", "2026-W9", "26-W09", "2026-09", "2026-W+9", "", "2026-W10-1"] {
            assert!(IsoWeek::parse(text).is_err(), "{text}");
        }
        let refused = IsoWeek::parse("2021-W53").unwrap_err().to_string();
        assert_eq!(refused, "week `2021-W53` does not exist: 2021 has the weeks W01 to W52");
    }

    #[test]
    fn the_week_before_and_after_cross_a_year_of_53_weeks() {
        let first = IsoWeek::parse("2027-W01").unwrap();
        assert_eq!(first.previous().unwrap().to_string(), "2026-W53");
        assert_eq!(first.previous().unwrap().next().unwrap(), first);
        assert_eq!(first.previous().unwrap().dates(), "28 December 2026 to 3 January 2027");
    }
}
