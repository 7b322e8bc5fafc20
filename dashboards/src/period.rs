//! The time that a report is of: a calendar week, or any days in a row. Owns its name, its edges on the clock of a
//! place, and the parts that its charts count by.

use crate::week::{IsoWeek, WeekError, midnight};
use dwell_analysis::time::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Unit};
use std::fmt;
use std::str::FromStr;

/// The most days that a report looks back over: a year and what two of its edges may add.
pub const DAYS_MAX: i32 = 400;
/// Up to so many days are counted a day each …
const BY_DAY: i32 = 14;
/// … and up to so many a week each; longer ones a month each, so that a chart never has more than fifteen places.
const BY_WEEK: i32 = 91;

/// Days in a row, both edges among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Period {
    first: Date,
    /// Not before `first`.
    last: Date,
}

/// Why there is no such period.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PeriodError {
    /// A week that is none.
    #[error(transparent)]
    Week(#[from] WeekError),
    /// Neither written as a week nor as two days.
    #[error("`{found}` is neither a week such as 2026-W09 nor two days such as 2026-03-01..2026-03-31")]
    Form {
        /// What was found.
        found: String,
    },
    /// A day that the calendar does not have.
    #[error("`{found}` is no day of the calendar; a day is written as 2026-03-01")]
    Day {
        /// What was found.
        found: String,
    },
    /// The last day comes before the first.
    #[error("the last day, {last}, comes before the first, {first}; the first would have to be the earlier one")]
    Order {
        /// The first day as asked.
        first: Date,
        /// The last day as asked.
        last: Date,
    },
    /// Longer than a report looks back over.
    #[error("{days} days are more than a report takes; up to {DAYS_MAX} would be right")]
    Length {
        /// Days asked for.
        days: i32,
    },
}

/// A part of a period that a chart has one place for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What stands below its place: two short words.
    pub label: String,
    first: Date,
    after: Date,
}

impl Period {
    /// Reads `2026-W09` or `2026-03-01..2026-03-31`.
    ///
    /// # Errors
    /// If it is neither.
    pub fn parse(text: &str) -> Result<Self, PeriodError> {
        match text.split_once("..") {
            Some((first, last)) => Self::between(first, last),
            None if text.contains("-W") => Ok(IsoWeek::parse(text)?.into()),
            None => Err(PeriodError::Form { found: text.to_owned() }),
        }
    }

    /// From one day to another, both written as `2026-03-01`, both among them.
    ///
    /// # Errors
    /// If either is no day, they are in the wrong order or too far apart.
    pub fn between(first: &str, last: &str) -> Result<Self, PeriodError> {
        let (first, last) = (day(first)?, day(last)?);
        let period = Self { first, last };
        match period.days() {
            under if under < 1 => Err(PeriodError::Order { first, last }),
            days if days > DAYS_MAX => Err(PeriodError::Length { days }),
            _ => Ok(period),
        }
    }

    /// The week that it is; `None` where it is none.
    #[must_use]
    pub fn week(self) -> Option<IsoWeek> {
        IsoWeek::holding(self.first).ok().filter(|week| Self::from(*week) == self)
    }

    /// How many days it has.
    #[must_use]
    pub fn days(self) -> i32 {
        self.first.until((Unit::Day, self.last)).map_or(1, |span| span.get_days() + 1)
    }

    /// Its first instant and the first after it, on the clock of `zone`.
    ///
    /// # Errors
    /// If an edge is outside the calendar.
    pub fn bounds(self, zone: &TimeZone) -> Result<(Timestamp, Timestamp), WeekError> {
        Ok((midnight(self.first, zone)?, midnight(shifted(self.last, 1)?, zone)?))
    }

    /// The days of the same length before it.
    ///
    /// # Errors
    /// At the beginning of the calendar.
    pub fn previous(self) -> Result<Self, WeekError> {
        self.moved(-self.days())
    }

    /// The days of the same length after it.
    ///
    /// # Errors
    /// At the end of the calendar.
    pub fn next(self) -> Result<Self, WeekError> {
        self.moved(self.days())
    }

    /// What it is held against: the four weeks before a week, and before any other days as many.
    ///
    /// # Errors
    /// At the beginning of the calendar.
    pub fn before(self) -> Result<Self, WeekError> {
        let days = if self.week().is_some() { 28 } else { self.days() };
        Ok(Self { first: shifted(self.first, -days)?, last: shifted(self.first, -1)? })
    }

    /// The parts that charts count by: days, weeks or months, cut off where the period is.
    #[must_use]
    pub fn parts(self) -> Vec<Part> {
        let mut parts = Vec::new();
        let mut first = self.first;
        let end = shifted(self.last, 1).unwrap_or(self.last);
        while first < end {
            let next = self.next_edge(first).filter(|next| *next > first).unwrap_or(end).min(end);
            let form = if self.days() <= BY_DAY {
                "%a %-d"
            } else if self.days() <= BY_WEEK {
                "%-d %b"
            } else {
                "%b %Y"
            };
            parts.push(Part { label: first.strftime(form).to_string(), first, after: next });
            first = next;
        }
        parts
    }

    /// What one of its parts is: `day`, `week` or `month`.
    #[must_use]
    pub fn part_name(self) -> &'static str {
        match self.days() {
            days if days <= BY_DAY => "day",
            days if days <= BY_WEEK => "week",
            _ => "month",
        }
    }

    /// What it is called in a sentence: `week` or `period`.
    #[must_use]
    pub fn noun(self) -> &'static str {
        if self.week().is_some() { "week" } else { "period" }
    }

    /// Its heading: `Week 2026-W09`, or its days.
    #[must_use]
    pub fn title(self) -> String {
        self.week().map_or_else(|| self.dates(), |week| format!("Week {week}"))
    }

    /// Its first and last day as they are written: `2026-03-01` and `2026-03-31`.
    #[must_use]
    pub fn edges(self) -> [String; 2] {
        [self.first.to_string(), self.last.to_string()]
    }

    /// Its first and last day: `23 February to 1 March 2026`.
    #[must_use]
    pub fn dates(self) -> String {
        let last = self.last.strftime("%-d %B %Y");
        if self.first == self.last {
            return last.to_string();
        }
        let first = if self.first.year() == self.last.year() { "%-d %B" } else { "%-d %B %Y" };
        format!("{} to {last}", self.first.strftime(first))
    }

    fn next_edge(self, day: Date) -> Option<Date> {
        match self.part_name() {
            "day" => day.tomorrow().ok(),
            "week" => IsoWeek::holding(day).ok()?.monday_after(),
            _ => day.last_of_month().tomorrow().ok(),
        }
    }

    fn moved(self, days: i32) -> Result<Self, WeekError> {
        Ok(Self { first: shifted(self.first, days)?, last: shifted(self.last, days)? })
    }
}

impl Part {
    /// Its first instant and the first after it, on the clock of `zone`.
    ///
    /// # Errors
    /// If an edge is outside the calendar.
    pub fn bounds(&self, zone: &TimeZone) -> Result<(Timestamp, Timestamp), WeekError> {
        Ok((midnight(self.first, zone)?, midnight(self.after, zone)?))
    }
}

impl From<IsoWeek> for Period {
    fn from(week: IsoWeek) -> Self {
        let first = week.monday();
        Self { first, last: first.saturating_add(Span::new().days(6)) }
    }
}

impl fmt::Display for Period {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.week() {
            Some(week) => week.fmt(f),
            None => write!(f, "{}..{}", self.first, self.last),
        }
    }
}

impl FromStr for Period {
    type Err = PeriodError;
    fn from_str(text: &str) -> Result<Self, PeriodError> {
        Self::parse(text)
    }
}

fn shifted(day: Date, days: i32) -> Result<Date, WeekError> {
    day.checked_add(Span::new().days(days)).map_err(|_| WeekError::Range)
}

fn day(text: &str) -> Result<Date, PeriodError> {
    let none = || PeriodError::Day { found: text.to_owned() };
    // The library reads other forms too, and a day without a year would be another one next year.
    let is_form = text.len() == 10 && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
    let found: Date = if is_form { text.parse().map_err(|_| none())? } else { return Err(none()) };
    if (1..=9998).contains(&found.year()) { Ok(found) } else { Err(WeekError::Range.into()) }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_period_is_read_and_named_as_it_is_written() {
        for text in ["2026-W09", "2026-03-01..2026-03-31", "2026-03-01..2026-03-01", "2025-02-28..2026-04-03"] {
            assert_eq!(Period::parse(text).unwrap().to_string(), text);
        }
        let week = Period::parse("2026-02-23..2026-03-01").unwrap();
        assert_eq!((week.to_string().as_str(), week.days()), ("2026-W09", 7), "seven days from a Monday on are a week");
        assert_eq!(Period::parse("2026-03-01..2026-03-31").unwrap().title(), "1 March to 31 March 2026");
    }

    #[test]
    fn what_is_no_period_is_refused_with_what_would_be_right() {
        for (text, says) in [
            ("yesterday", "2026-W09"),
            ("2026-02-30..2026-03-01", "2026-02-30"),
            ("2026-03-31..2026-03-01", "earlier"),
            ("2025-01-01..2026-02-05", "400"),
            ("2026-W54", "W01 to W53"),
            ("03-01..2026-03-01", "2026-03-01"),
            ("..", "2026-03-01"),
        ] {
            let refused = Period::parse(text).unwrap_err().to_string();
            assert!(refused.contains(says), "{text}: {refused}");
        }
        assert_eq!(Period::parse("2025-01-01..2026-02-04").unwrap().days(), 400);
    }

    #[test]
    fn its_parts_follow_on_each_other_from_its_first_instant_to_its_last() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        for (text, n, name) in [
            ("2026-W13", 7, "day"),
            ("2026-03-01..2026-03-14", 14, "day"),
            ("2026-03-01..2026-03-31", 6, "week"),
            ("2026-01-15..2026-12-31", 12, "month"),
        ] {
            let period = Period::parse(text).unwrap();
            let parts: Vec<_> = period.parts().iter().map(|part| part.bounds(&zone).unwrap()).collect();
            assert_eq!((parts.len(), period.part_name()), (n, name), "{text}");
            assert_eq!((parts[0].0, parts[n - 1].1), period.bounds(&zone).unwrap());
            assert!(parts.windows(2).all(|two| two[0].1 == two[1].0), "{text}");
        }
        let longest = Period::parse("2025-01-31..2026-03-06").unwrap();
        assert_eq!((longest.days(), longest.parts().len()), (400, 15));
    }

    #[test]
    fn the_periods_beside_it_are_as_long_and_the_one_it_is_held_against_ends_where_it_begins() {
        let march = Period::parse("2026-03-01..2026-03-31").unwrap();
        assert_eq!(march.previous().unwrap().to_string(), "2026-01-29..2026-02-28");
        assert_eq!(march.previous().unwrap().next().unwrap(), march);
        assert_eq!(march.before().unwrap(), march.previous().unwrap());
        let week = Period::parse("2026-W09").unwrap();
        assert_eq!(week.next().unwrap().to_string(), "2026-W10");
        assert_eq!(week.before().unwrap().to_string(), "2026-01-26..2026-02-22");
    }
}
