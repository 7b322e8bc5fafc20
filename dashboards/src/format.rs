//! The only place that turns a number or a date into text. Where there is no number it gives the reason, never a zero.

use crate::view::RateInterval;
use crate::week::zoned;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Probability, Seconds};
use jiff::tz::TimeZone;

/// Where no alarm called anybody.
pub const NO_CALL: &str = "No alarm called anybody.";

/// How many alarms called nobody, in a sentence; `None` without any.
#[must_use]
pub fn recorded_quietly(n: usize) -> Option<String> {
    let recorded = match n {
        0 => return None,
        1 => "1 alarm was recorded quietly: it".to_owned(),
        n => format!("{n} alarms were recorded quietly: they"),
    };
    Some(format!(
        "{recorded} called nobody, since the same was said lately, a person said so, or a printer is being set up. `dwellwatch alarms` lists all."
    ))
}

/// What stands where the host told no temperature.
pub const NO_READING: &str = "no reading";
/// What stands where nobody told a setting.
pub const NOT_TOLD: &str = "not told";
/// What stands where a print has no outcome.
pub const NOT_REPORTED: &str = "not reported";
/// What stands where a span held no measured interval.
pub const NOT_MEASURED: &str = "not measured";

const OUT_OF_CALENDAR: &str = "a date outside the calendar";

/// `211.4 °C`.
#[must_use]
pub fn celsius(value: Option<Celsius>) -> String {
    value.map_or_else(|| NO_READING.to_owned(), |value| format!("{:.1} °C", unsigned_zero(value.get(), 1)))
}

/// `211 °C`, for running text where a tenth says nothing.
#[must_use]
pub fn celsius_whole(value: Celsius) -> String {
    format!("{:.0} °C", unsigned_zero(value.get(), 0))
}

/// `1 h 12 min`, `14 min`, `45 s`; rounded to the minute from a minute on.
#[must_use]
pub fn duration(value: Seconds) -> String {
    let seconds = value.get();
    if !seconds.is_finite() {
        return "without end".to_owned();
    }
    if seconds < 0.0 {
        return format!("{} too early", duration(Seconds::new(-seconds)));
    }
    if seconds < 59.5 {
        return format!("{seconds:.0} s");
    }
    let minutes = value.as_minutes().round();
    let (days, hours, rest) = ((minutes / 1440.0).floor(), (minutes % 1440.0 / 60.0).floor(), minutes % 60.0);
    match (days > 0.0, hours > 0.0) {
        (true, _) => format!("{days:.0} d {hours:.0} h {rest:.0} min"),
        (false, true) => format!("{hours:.0} h {rest:.0} min"),
        (false, false) => format!("{rest:.0} min"),
    }
}

/// As [`duration`], but what is under a minute has no seconds: for what would else change with every reading.
#[must_use]
pub fn duration_coarse(value: Seconds) -> String {
    if (0.0..60.0).contains(&value.get()) { "under 1 min".to_owned() } else { duration(value) }
}

/// `0.2 s`, `3.0 s`, then as [`duration`] from a minute on: for differences where tenths tell something.
#[must_use]
pub fn seconds_fine(value: Seconds) -> String {
    if value.get().abs() < 59.95 { format!("{:.1} s", value.get()) } else { duration(value) }
}

/// `16 s`, `1 min 17 s`, `14 min`: as [`duration`], but seconds count up to ten minutes.
#[must_use]
pub fn duration_fine(value: Seconds) -> String {
    let seconds = value.get().round();
    if !(60.0..600.0).contains(&seconds) || seconds % 60.0 < 0.5 {
        return duration(value);
    }
    format!("{:.0} min {:.0} s", (seconds / 60.0).floor(), seconds % 60.0)
}

/// `1:05:30`: hours, minutes and seconds since a job began.
#[must_use]
pub fn job_time(value: Seconds) -> String {
    let (sign, seconds) = if value.get() < -0.5 { ("−", -value.get()) } else { ("", value.get()) };
    let seconds = seconds.max(0.0).round();
    format!(
        "{sign}{:.0}:{:02.0}:{:02.0}",
        (seconds / 3600.0).floor(),
        (seconds % 3600.0 / 60.0).floor(),
        seconds % 60.0
    )
}

/// `1:05`: hours and minutes since a job began, for an axis.
#[must_use]
pub fn job_time_short(value: Seconds) -> String {
    let minutes = value.as_minutes().max(0.0).round();
    format!("{:.0}:{:02.0}", (minutes / 60.0).floor(), minutes % 60.0)
}

/// `312 min`, for tables and axes of minutes.
#[must_use]
pub fn minutes(value: Seconds) -> String {
    format!("{:.0} min", value.as_minutes())
}

/// `12.3 equivalent min`.
#[must_use]
pub fn dose(value: DoseMinutes) -> String {
    format!("{:.1} equivalent min", value.get())
}

/// `12.3`, for a column or a sentence that names the unit itself.
#[must_use]
pub fn dose_bare(value: DoseMinutes) -> String {
    format!("{:.1}", value.get())
}

/// `38 %`; `no limit known` without a positive limit.
#[must_use]
pub fn share(dose: DoseMinutes, limit: DoseMinutes) -> String {
    if limit.get() > 0.0 { percent(dose.get() / limit.get()) } else { "no limit known".to_owned() }
}

/// `38 %` of a fraction; more digits where a whole number would say 0 or hide that it is not.
#[must_use]
pub fn percent(fraction: f64) -> String {
    match fraction * 100.0 {
        none if none <= 0.0 => "0 %".to_owned(),
        little if little < 0.1 => "under 0.1 %".to_owned(),
        small if small < 0.95 => format!("{small:.1} %"),
        share => format!("{share:.0} %"),
    }
}

/// `99.97 %` of a fraction that ought to be whole: rounded down, so that only the whole is called 100 %.
#[must_use]
pub fn percent_down(fraction: f64) -> String {
    let percent = fraction * 100.0;
    match percent {
        whole if whole >= 100.0 => "100 %".to_owned(),
        nearly if nearly >= 99.0 => format!("{:.2} %", (nearly * 100.0).floor() / 100.0),
        share => format!("{:.0} %", share.floor()),
    }
}

/// `120`, for an axis of whole numbers.
#[must_use]
pub fn whole(value: f64) -> String {
    format!("{:.0}", unsigned_zero(value, 0))
}

/// `3 of 41, 7.3 % (90 % interval 2.0–17.8 %)`, or the counts and why there is no rate.
#[must_use]
pub fn rate(events: u32, n: u32, rate: &Result<RateInterval, String>) -> String {
    match rate {
        Ok(rate) => format!("{}, {}", of(events, n), interval(*rate)),
        Err(why) => format!("{}: {why}", of(events, n)),
    }
}

/// `7.3 % (90 % interval 2.0–17.8 %)`.
#[must_use]
pub fn interval(rate: RateInterval) -> String {
    let tenth = |value: Probability| format!("{:.1}", value.get() * 100.0);
    format!("{} % (90 % interval {}–{} %)", tenth(rate.value), tenth(rate.low), tenth(rate.high))
}

/// `78.4 s (77.9 to 78.9)`: a number and its interval, with digits as far as the interval lets them mean something.
#[must_use]
pub fn estimate(of: &Estimate, unit: &str) -> String {
    let digits = match of.high - of.low {
        wide if wide >= 10.0 => 0,
        _ if of.high.abs() >= 1000.0 => 0,
        some if some >= 0.1 => 1,
        _ => 2,
    };
    let [value, low, high] = [of.value, of.low, of.high].map(|value| format!("{value:.digits$}"));
    format!("{value} {unit} ({low} to {high})")
}

/// `42 s (38 to 47)` under two minutes, else `3 min (2 min to 4 min)`: a time in seconds and its interval.
#[must_use]
pub fn seconds_between(of: &Estimate) -> String {
    let [value, low, high] = [of.value, of.low, of.high].map(Seconds::new);
    if of.high < 119.5 {
        return format!("{:.0} s ({:.0} to {:.0})", of.value, of.low, of.high);
    }
    format!("{} ({} to {})", duration_fine(value), duration_fine(low), duration_fine(high))
}

/// `98.6 %` of a time; whole only where it is all of it, so that a short gap is not rounded away.
#[must_use]
pub fn share_of_time(part: Seconds, whole: Seconds) -> String {
    let share = part.get() / whole.get() * 100.0;
    if share >= 100.0 { "100 %".to_owned() } else { format!("{:.1} %", (share * 10.0).floor() / 10.0) }
}

/// `3 of 41`.
#[must_use]
pub fn of(events: u32, n: u32) -> String {
    format!("{events} of {n}")
}

/// `1 print`, `2 prints`, `no prints`.
#[must_use]
pub fn counted(n: u32, one: &str) -> String {
    match n {
        0 => format!("no {one}s"),
        1 => format!("1 {one}"),
        n => format!("{n} {one}s"),
    }
}

/// `12.3 mm³`.
#[must_use]
pub fn cubic_mm(value: CubicMm) -> String {
    format!("{:.1} mm³", value.get())
}

/// `1.5 mm`.
#[must_use]
pub fn millimetres(value: Millimetres) -> String {
    format!("{:.2} mm", value.get())
}

/// `3.20 m`, for filament by the metre; a piece shorter than a tenth of one in millimetres.
#[must_use]
pub fn metres(value: Millimetres) -> String {
    if value.get() < 99.995 {
        return millimetres(value);
    }
    format!("{:.2} m", value.get() / 1000.0)
}

/// `123.5 kB`, in steps of a thousand.
#[must_use]
pub fn bytes(n: u64) -> String {
    #[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a tenth of a unit is all that is shown")]
    let n = n as f64;
    match n {
        few if few < 1e3 => format!("{few:.0} bytes"),
        some if some < 999.95e3 => format!("{:.1} kB", some / 1e3),
        many if many < 999.95e6 => format!("{:.1} MB", many / 1e6),
        most => format!("{:.2} GB", most / 1e9),
    }
}

/// `35 mm/s`.
#[must_use]
pub fn mm_per_second(value: f64) -> String {
    format!("{value:.1} mm/s")
}

/// What an alarm is about: `bench T1: idle hot`, or `record full` of the record itself.
#[must_use]
pub fn about(printer: Option<&str>, tool: Option<usize>, rule: &str) -> String {
    let tool = tool.map_or_else(String::new, |number| format!(" {}", self::tool(number)));
    printer.map_or_else(|| word(rule), |printer| format!("{printer}{tool}: {}", word(rule)))
}

/// `T1`.
#[must_use]
pub fn tool(number: usize) -> String {
    format!("T{number}")
}

/// A tool with what it holds: `bench T1 with PLA`.
#[must_use]
pub fn whose(printer: &str, number: usize, material: Option<&str>) -> String {
    let with = material.map_or_else(|| ", material not told".to_owned(), |material| format!(" with {material}"));
    format!("{printer} {}{with}", tool(number))
}

/// A word of a table as people read it: `under_extrusion` is `under-extrusion`, others get spaces.
#[must_use]
pub fn word(word: &str) -> String {
    if word == "under_extrusion" { "under-extrusion".to_owned() } else { word.replace('_', " ") }
}

/// Why a tool waits, in words.
#[must_use]
pub fn context(word: &str) -> String {
    match word {
        "in_print" => "while another tool prints".to_owned(),
        "paused" => "while the print is paused".to_owned(),
        "no_print" => "while nothing prints".to_owned(),
        other => crate::format::word(other),
    }
}

/// `14:02` on the clock of `zone`.
#[must_use]
pub fn clock(at: Timestamp, zone: &TimeZone) -> String {
    stamp(at, zone, "%H:%M")
}

/// `14:02` if that cannot be mistaken seen from `now` (less than 18 h away), else `Mon 2 Mar 2026, 14:02`.
#[must_use]
pub fn clock_near(at: Timestamp, now: Timestamp, zone: &TimeZone) -> String {
    const UNMISTAKABLE: Seconds = Seconds::minutes(18.0 * 60.0);
    if (at - now).get().abs() < UNMISTAKABLE.get() { clock(at, zone) } else { moment(at, zone) }
}

/// `14:02` today, `14:02 tomorrow`, and on any other day `Mon 2 Mar, 14:02`: for what is still to come, seen from `now`.
#[must_use]
pub fn clock_ahead(at: Timestamp, now: Timestamp, zone: &TimeZone) -> String {
    let days = zoned(at, zone).zip(zoned(now, zone)).map(|(at, now)| (at.date(), now.date()));
    match days {
        Some((day, today)) if day == today => clock(at, zone),
        Some((day, today)) if today.tomorrow().is_ok_and(|tomorrow| day == tomorrow) => {
            format!("{} tomorrow", clock(at, zone))
        }
        Some(_) | None => moment_short(at, zone),
    }
}

/// `Mon 2 Mar 2026, 14:02` on the clock of `zone`.
#[must_use]
pub fn moment(at: Timestamp, zone: &TimeZone) -> String {
    stamp(at, zone, "%a %-d %b %Y, %H:%M")
}

/// `Mon 2 Mar 2026`, the day in UTC.
#[must_use]
pub fn day(at: Timestamp) -> String {
    stamp(at, &TimeZone::UTC, "%a %-d %b %Y")
}

/// `61 h`, `4.2 h`: hours of wear or of heat, a tenth where it tells something.
#[must_use]
pub fn hours(value: f64) -> String {
    if value.abs() < 1e-9 {
        "0 h".to_owned()
    } else if value < 9.95 {
        format!("{value:.1} h")
    } else {
        format!("{value:.0} h")
    }
}

/// `61 days`, `1 day`, `under a day`; beyond a hundred years as that.
#[must_use]
pub fn days(value: f64) -> String {
    match value.round() {
        under if under < 1.0 => "under a day".to_owned(),
        one if one < 1.5 => "1 day".to_owned(),
        beyond if beyond > 36_525.0 => "over 100 years".to_owned(),
        days => format!("{days:.0} days"),
    }
}

/// `Mon 2 Mar, 14:02`, where the year goes without saying.
#[must_use]
pub fn moment_short(at: Timestamp, zone: &TimeZone) -> String {
    stamp(at, zone, "%a %-d %b, %H:%M")
}

/// `2026-03-02T14:02` on the clock of `zone`: as a field for day and time has it.
#[must_use]
pub fn local_minute(at: Timestamp, zone: &TimeZone) -> String {
    stamp(at, zone, "%Y-%m-%dT%H:%M")
}

/// `2026-03-02T08:00:01Z`: RFC 3339 in UTC, with the milliseconds if there are any.
#[must_use]
pub fn rfc3339(at: Timestamp) -> String {
    jiff::Timestamp::from_millisecond(at.as_ms()).map_or_else(|_| OUT_OF_CALENDAR.to_owned(), |at| at.to_string())
}

/// The zone's name, or its offset where it has none.
#[must_use]
pub fn zone_name(zone: &TimeZone) -> String {
    match (zone.iana_name(), zone.to_fixed_offset()) {
        (Some(name), _) => name.to_owned(),
        (None, Ok(offset)) => format!("UTC{offset}"),
        (None, Err(_)) => "the system's zone".to_owned(),
    }
}

fn stamp(at: Timestamp, zone: &TimeZone, pattern: &str) -> String {
    zoned(at, zone).map_or_else(|| OUT_OF_CALENDAR.to_owned(), |at| at.strftime(pattern).to_string())
}

/// A small whole number as one that can be measured with.
pub(crate) fn plain(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

/// The value, without the sign of a zero that rounding to `digits` would leave.
fn unsigned_zero(value: f64, digits: i32) -> f64 {
    if value.abs() * 10_f64.powi(digits) < 0.5 { 0.0 } else { value }
}

/// A phrase as a sentence: with a capital and a full stop. What is one already stays as it is.
pub(crate) fn sentence(phrase: &str) -> String {
    let mut letters = phrase.trim().chars();
    let mut said: String = letters.next().map(char::to_uppercase).into_iter().flatten().chain(letters).collect();
    if !said.is_empty() && !said.ends_with(['.', '!', '?']) {
        said.push('.');
    }
    said
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_tool_is_told_with_what_it_holds_or_that_nobody_told() {
        assert_eq!(whose("bench", 1, Some("PLA")), "bench T1 with PLA");
        assert_eq!(whose("bench", 0, None), "bench T0, material not told");
    }

    #[test]
    fn durations_round_up_into_the_next_unit_and_never_show_sixty() {
        let shown = [0.0, 59.4, 59.5, 3569.0, 3570.0, 4320.0, 86_399.0, 93_600.0].map(|s| duration(Seconds::new(s)));
        assert_eq!(
            shown,
            ["0 s", "59 s", "1 min", "59 min", "1 h 0 min", "1 h 12 min", "1 d 0 h 0 min", "1 d 2 h 0 min"]
        );
    }

    #[test]
    fn job_times_carry_into_the_next_unit() {
        let shown = [0.0, 59.6, 3599.7, 3661.0, -61.0, 360_000.0].map(|s| job_time(Seconds::new(s)));
        assert_eq!(shown, ["0:00:00", "0:01:00", "1:00:00", "1:01:01", "−0:01:01", "100:00:00"]);
        assert_eq!(job_time_short(Seconds::minutes(65.0)), "1:05");
    }

    #[test]
    fn what_is_missing_shows_a_reason_and_no_digit() {
        let none: Result<RateInterval, String> = Err("no tool-run with a known outcome".to_owned());
        assert_eq!(celsius(None), "no reading");
        assert_eq!(rate(0, 0, &none), "0 of 0: no tool-run with a known outcome");
        assert_eq!(share(DoseMinutes::new(3.0), DoseMinutes::ZERO), "no limit known");
    }

    #[test]
    fn a_rate_carries_its_interval() {
        let p = |value| Probability::new(value).unwrap();
        let found = Ok(RateInterval { low: p(0.0201), value: p(3.0 / 41.0), high: p(0.1782) });
        assert_eq!(rate(3, 41, &found), "3 of 41, 7.3 % (90 % interval 2.0–17.8 %)");
    }

    #[test]
    fn times_follow_the_zone_and_stamps_stay_in_utc() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let at = Timestamp::from_ms(1_774_746_000_000); // 2026-03-29T01:00:00Z, when summer time begins in Berlin
        assert_eq!(moment(at, &zone), "Sun 29 Mar 2026, 03:00");
        assert_eq!(clock_near(at, at - Seconds::new(1.0), &zone), "03:00");
        assert_eq!(rfc3339(at), "2026-03-29T01:00:00Z");
    }

    #[test]
    fn a_time_to_come_names_its_day_unless_that_is_today() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let now = Timestamp::from_ms(1_774_731_600_000); // 2026-03-28T21:00:00Z, 22:00 in Berlin
        let told = |hours: f64| clock_ahead(now + Seconds::minutes(hours * 60.0), now, &zone);
        assert_eq!([told(1.5), told(2.0), told(25.5)], ["23:30", "00:00 tomorrow", "Mon 30 Mar, 00:30"]);
    }

    #[test]
    fn a_phrase_becomes_a_sentence_and_a_sentence_stays() {
        assert_eq!(sentence("the melt cooks"), "The melt cooks.");
        assert_eq!(sentence("The melt cooks."), "The melt cooks.");
        assert_eq!(sentence(""), "");
    }
}
