//! When the weekly report is due, and which day it is, on the clock of a place. Pure: the present comes in as an instant.

use dwell_analysis::time::Timestamp;
use dwell_dashboards::week::IsoWeek;
use jiff::civil::{Date, Time, Weekday};
use jiff::tz::TimeZone;
use jiff::{ToSpan, ZonedDateTime};

/// The latest instant, not after `now`, at which the clock of `zone` showed `at` on a `weekday`. A time that summer
/// time skips is taken an hour later, one that comes twice the first time: each week has exactly one.
#[must_use]
pub fn latest(now: Timestamp, zone: &TimeZone, weekday: Weekday, at: Time) -> Option<Timestamp> {
    let today = day_of(now, zone)?;
    (0..=7)
        .filter_map(|days| today.checked_sub(days.days()).ok())
        .filter(|date| date.weekday() == weekday)
        .filter_map(|date| date.to_datetime(at).to_zoned_datetime(zone.clone()).ok())
        .map(|zoned: ZonedDateTime| Timestamp::from_ms(zoned.timestamp().as_millisecond()))
        .find(|instant| *instant <= now)
}

/// The day that the calendar of `zone` shows; `None` outside the calendar.
#[must_use]
pub fn day_of(now: Timestamp, zone: &TimeZone) -> Option<Date> {
    Some(jiff::Timestamp::from_millisecond(now.as_ms()).ok()?.to_zoned_datetime(zone.clone()).date())
}

/// The week whose report is due: the last whole week before the latest time to write one.
#[must_use]
pub fn week_due(now: Timestamp, zone: &TimeZone, weekday: Weekday, at: Time) -> Option<IsoWeek> {
    IsoWeek::of(latest(now, zone, weekday, at)?, zone).ok()?.previous().ok()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::stamp;

    /// Sundays at 02:30 in Europe/Berlin round both changes of 2026, from Python 3.11's zoneinfo with tzdata 2026.6:
    /// the spring one is skipped and moves to 03:30, the autumn one comes twice and counts the first time.
    #[test]
    fn a_weekly_time_comes_once_a_week_across_summer_time() {
        let cases: serde_json::Value =
            serde_json::from_str(include_str!("../../../tests/reference/weekly_sunday_0230_berlin.json")).unwrap();
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let at = Time::new(2, 30, 0, 0).unwrap();
        let cases = cases["weekly_sunday_0230_berlin"].as_array().unwrap();
        assert!(cases.len() >= 5);
        for case in cases {
            let due = stamp::parse(case["first_valid_utc"].as_str().unwrap()).unwrap();
            let just_before = Timestamp::from_ms(due.as_ms() - 1);
            assert_eq!(latest(due, &zone, Weekday::Sunday, at), Some(due), "{case}");
            assert!(latest(just_before, &zone, Weekday::Sunday, at).unwrap() < just_before, "{case}");
            let two_hours_on = Timestamp::from_ms(due.as_ms() + 7_200_000);
            assert_eq!(latest(two_hours_on, &zone, Weekday::Sunday, at), Some(due), "{case}");
        }
    }

    #[test]
    fn a_monday_report_is_of_the_week_before() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let six = Time::new(6, 0, 0, 0).unwrap();
        let week = |at| week_due(stamp::parse(at).unwrap(), &zone, Weekday::Monday, six).unwrap().to_string();
        assert_eq!(week("2026-03-02T04:59:59Z"), "2026-W08");
        assert_eq!(week("2026-03-02T05:00:00Z"), "2026-W09");
        assert_eq!(week("2026-03-08T22:00:00Z"), "2026-W09");
    }

    #[test]
    fn a_day_is_the_one_that_the_zone_s_calendar_shows() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let day = |at| day_of(stamp::parse(at).unwrap(), &zone).unwrap().to_string();
        assert_eq!(day("2026-11-26T22:59:59Z"), "2026-11-26");
        assert_eq!(day("2026-11-26T23:00:00Z"), "2026-11-27");
    }
}
