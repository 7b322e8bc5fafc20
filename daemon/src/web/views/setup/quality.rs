//! How good a printer's data of the last four weeks are: contact, gaps, what readings lack, what was not reported.

use crate::config::Printer;
use crate::entry::{Heater, PrinterName, Reading};
use crate::store::{GapRow, Reader, StoreError};
use crate::web::Site;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{Quality, Refused};

/// Days looked at.
const DAYS: u32 = 28;
/// The newest readings that tell how often and how fully the host answers: a few hundred.
const NEWEST: Seconds = Seconds::minutes(5.0);
/// Fewer say nothing of how the host answers: they may be dwellwatch's own start.
const INTERVALS_MIN: usize = 10;

/// Of a printer, as the record and its configuration have it.
pub(super) fn quality(
    site: &Site,
    reader: &Reader,
    name: &PrinterName,
    configured: Option<&Printer>,
) -> Result<Quality, StoreError> {
    let now = site.clock.now().at;
    let window = now - days(DAYS);
    let Some(oldest) = reader.oldest_of(name)?.or_else(|| site.store.latest(name).map(|latest| latest.reading.at))
    else {
        return Ok(Quality { poll: poll(configured), ..Quality::default() });
    };
    let since = oldest.max(window);
    let gaps: Vec<_> = reader.gaps(Some(since), Some(now))?.into_iter().filter(|gap| gap.printer == *name).collect();
    let refused = reader.refused(Some(since), None)?.into_iter().filter(|row| row.printer == *name);
    let (reported, tools) = (reader.reported(name, since)?, reader.tool_sources(name, since)?);
    let newest = newest(reader, name)?;
    Ok(Quality {
        since: Some(since),
        contact: in_contact(&gaps, since, now),
        days: (0..DAYS).map(|idx| day(&gaps, window + days(idx), oldest)).collect(),
        n_gaps: u32::try_from(gaps.len()).unwrap_or(u32::MAX),
        gap_longest: gaps.iter().map(|gap| gap.lasts_within(gap.began, now)).max_by(|a, b| a.get().total_cmp(&b.get())),
        refused: refused.map(|row| Refused { reason: row.reason, n: row.n }).collect(),
        interval: middle_interval(&newest),
        poll: poll(configured),
        missing: missing(&newest, configured),
        n_prints: reported.n_ended,
        n_unreported: reported.n_unreported,
        sources: tools.changes,
        n_disagreements: tools.n_disagreements,
    })
}

fn days(n: u32) -> Seconds {
    Seconds::minutes(1440.0 * f64::from(n))
}

fn poll(configured: Option<&Printer>) -> Option<Seconds> {
    configured.map(|printer| Seconds::new(printer.poll.as_secs_f64()))
}

/// The share of a stretch of time that was spent in contact; none of an empty one.
fn in_contact(gaps: &[GapRow], from: Timestamp, to: Timestamp) -> Option<f64> {
    let whole = (to - from).get();
    let away: f64 = gaps.iter().map(|gap| gap.lasts_within(from, to).get()).sum();
    (whole > 0.0).then(|| (1.0 - away / whole).clamp(0.0, 1.0))
}

/// The same of 24 h, as far as there were readings.
fn day(gaps: &[GapRow], from: Timestamp, oldest: Timestamp) -> Option<f64> {
    in_contact(gaps, from.max(oldest), from + days(1))
}

/// The newest readings that are written.
fn newest(reader: &Reader, name: &PrinterName) -> Result<Vec<Reading>, StoreError> {
    let Some(newest) = reader.newest_of(name)? else { return Ok(Vec::new()) };
    reader.readings(name, Some(newest - NEWEST), None)?.collect()
}

/// The middle one of the times between neighbours; none between two sides of a gap, and nothing of too few of them.
fn middle_interval(readings: &[Reading]) -> Option<Seconds> {
    let pairs = readings.iter().zip(readings.iter().skip(1)).filter(|(_, next)| !next.after_gap);
    let mut apart: Vec<f64> = pairs.map(|(one, next)| (next.at - one.at).get()).collect();
    apart.sort_by(f64::total_cmp);
    apart.get(apart.len() / 2).filter(|_| apart.len() >= INTERVALS_MIN).copied().map(Seconds::new)
}

/// What the configuration names and some of the readings lack, with their share.
fn missing(readings: &[Reading], configured: Option<&Printer>) -> Vec<(String, f64)> {
    let Some(map) = configured.map(|printer| &printer.map).filter(|_| !readings.is_empty()) else { return Vec::new() };
    let share = |lacks: &dyn Fn(&Reading) -> bool| {
        let n = readings.iter().filter(|reading| lacks(reading)).count();
        dwell_analysis::estimate::count(n) / dwell_analysis::estimate::count(readings.len())
    };
    let mut found = Vec::new();
    if map.active_tool.is_some() {
        found.push(("active tool".to_owned(), share(&|reading| reading.active_tool.is_none())));
    }
    if map.fraction.is_some() {
        let lacks = |reading: &Reading| reading.job.name.is_some() && reading.job.fraction_millionths.is_none();
        found.push(("job fraction".to_owned(), share(&lacks)));
    }
    for (number, heater) in map.heaters().enumerate() {
        let tool = |reading: &Reading| reading.tools.get(number).copied();
        let lacks = |of: fn(&Heater) -> bool| share(&|reading| tool(reading).is_none_or(|heater| of(&heater)));
        if heater.actual.is_some() {
            found.push((format!("T{number} actual"), lacks(|heater| heater.actual.is_none())));
        }
        if heater.target.is_some() {
            found.push((format!("T{number} target"), lacks(|heater| heater.target.is_none())));
        }
        if heater.duty.is_some() {
            found.push((format!("T{number} duty"), lacks(|heater| heater.duty_thousandths.is_none())));
        }
    }
    found.retain(|(_, share)| *share > 0.0);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Job, JobState};

    fn at(minutes: f64) -> Timestamp {
        Timestamp::from_ms(1_772_438_400_000) + Seconds::minutes(minutes)
    }

    #[test]
    fn the_interval_is_that_of_ten_or_more_and_no_gap_counts() {
        let reading = |after_gap: bool, seconds: f64| {
            let job = Job { state: JobState::Printing, name: None, fraction_millionths: None, byte: None };
            let at = at(0.0) + Seconds::new(seconds);
            Reading { at, after_gap, job, active_tool: None, tools: Vec::new(), bed: None }
        };
        // Two of them, with a silence between that nobody called a gap.
        assert_eq!(middle_interval(&[reading(false, 0.0), reading(false, 25.8)]), None);
        let mut many: Vec<Reading> = (0..10_u32).map(|n| reading(false, f64::from(n))).collect();
        many.push(reading(true, 300.0));
        assert_eq!(middle_interval(&many), None, "nine intervals and a gap");
        many.push(reading(false, 301.0));
        assert_eq!(middle_interval(&many), Some(Seconds::new(1.0)));
    }

    #[test]
    fn contact_is_what_gaps_leave_of_a_time_and_one_that_lasts_reaches_to_its_end() {
        let gap = |began: f64, ended: Option<f64>| GapRow {
            printer: PrinterName::new("bench").into_iter().next().unwrap_or_else(|| unreachable!("a name")),
            began: at(began),
            ended: ended.map(at),
        };
        let gaps = [gap(-10.0, Some(10.0)), gap(50.0, None)];
        assert_eq!(in_contact(&gaps, at(0.0), at(100.0)), Some(0.4));
        assert_eq!(in_contact(&gaps, at(20.0), at(40.0)), Some(1.0));
        assert_eq!(in_contact(&gaps, at(0.0), at(0.0)), None);
        // Before the first reading nothing is known, and that is no contact of nought.
        assert_eq!(day(&gaps, at(-1440.0), at(5.0)), None);
        assert_eq!(day(&gaps, at(0.0), at(20.0)).map(|share| (share * 1420.0).round()), Some(30.0));
    }
}
