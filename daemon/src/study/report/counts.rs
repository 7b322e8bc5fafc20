//! How many prints and tool-runs there were, and how many of them failed.

use super::{Stretch, calendar, small};
use crate::entry::{Mode, PrintEnd};
use crate::store::{OutcomeRow, PrintRow, Reader, StoreError, ToldPrint};
use crate::store::{in_force, is_failure};
use crate::study::{Lesson, Study};
use dwell_analysis::estimate::{Confidence, rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Probability;
use dwell_dashboards::period::Period;
use dwell_dashboards::view::{ArchiveWeek, Before, DayCounts, DayRecord, Failures, IfSilent, ModeRow, RateInterval};
use dwell_dashboards::week::IsoWeek;
use jiff::tz::TimeZone;

pub(super) fn days(prints: &[PrintRow], stretches: &[Stretch], as_of: Timestamp) -> Vec<DayRecord> {
    let day = |stretch: &Stretch| {
        let inside = |print: &&PrintRow| (stretch.from..stretch.to).contains(&print.started);
        match stretch {
            later if later.from > as_of => DayRecord::NotYet,
            Stretch { has_readings: true, .. } => DayRecord::Counted(count(prints.iter().filter(inside))),
            Stretch { .. } => DayRecord::NoRecord,
        }
    };
    stretches.iter().map(day).collect()
}

fn count<'a>(prints: impl Iterator<Item = &'a PrintRow>) -> DayCounts {
    let mut counts = DayCounts::default();
    for print in prints {
        match print.end {
            Some(PrintEnd::Completed) => counts.completed += 1,
            Some(PrintEnd::Cancelled) => counts.cancelled += 1,
            Some(PrintEnd::Failed) => counts.failed += 1,
            Some(PrintEnd::Unknown) => counts.unknown += 1,
            None => counts.running += 1,
        }
        let words = in_force(&print.outcomes);
        if words.iter().any(|word| is_failure(word.mode)) {
            counts.with_failure += 1;
        }
        if words.is_empty() && print.ended.is_some() {
            counts.unreported += 1;
        }
    }
    counts
}

/// Whether a print failed in any way, by people's words; `None` without one.
fn has_failed(outcomes: &[OutcomeRow]) -> Option<bool> {
    let held = in_force(outcomes);
    (!held.is_empty()).then(|| held.iter().any(|word| is_failure(word.mode)))
}

fn failures(known: impl Iterator<Item = bool>) -> Failures {
    let (mut events, mut n) = (0, 0);
    for failed in known {
        n += 1;
        events += usize::from(failed);
    }
    Failures { events: small(events), n: small(n), rate: interval(events, n) }
}

fn interval(events: usize, n: usize) -> Result<RateInterval, String> {
    let estimate = rate(events, n, Confidence::Percent90).map_err(|refusal| refusal.to_string())?;
    let inside = |value| Probability::new(value).ok_or_else(|| "no probability".to_owned());
    Ok(RateInterval { low: inside(estimate.low)?, value: inside(estimate.value)?, high: inside(estimate.high)? })
}

pub(super) fn of_prints(prints: &[PrintRow]) -> Failures {
    failures(prints.iter().filter_map(|print| has_failed(&print.outcomes)))
}

/// Of runs alone of which it is known whether any mode happened.
pub(super) fn of_runs(study: &Study, from: Timestamp, to: Timestamp) -> Failures {
    let inside = study.runs.iter().enumerate().filter(|(_, run)| (from..to).contains(&run.started));
    failures(inside.filter_map(|(idx, _)| study.failed(idx)))
}

/// The time before, if anything is known of it.
pub(super) fn before(
    reader: &Reader,
    study: &Study,
    period: Period,
    zone: &TimeZone,
) -> Result<Option<Before>, StoreError> {
    let before = period.before().map_err(calendar)?;
    let (from, to) = before.bounds(zone).map_err(calendar)?;
    let told = reader.told_prints(from, to)?;
    let prints = failures(told.iter().filter_map(|print| has_failed(&print.outcomes)));
    let runs = of_runs(study, from, to);
    Ok((prints.n > 0).then_some(Before { period: before, prints, runs }))
}

/// What the silent prints may hide; `None` if there is none.
pub(super) fn if_silent(known: &Failures, prints: &[PrintRow]) -> Option<IfSilent> {
    let silent = |print: &&PrintRow| print.ended.is_some() && has_failed(&print.outcomes).is_none();
    let n = small(prints.iter().filter(silent).count());
    let all = |events: u32| {
        let whole = |n: u32| usize::try_from(n).ok();
        interval(whole(events)?, whole(known.n + n)?).ok()
    };
    if n == 0 {
        return None;
    }
    Some(IfSilent { n, clean: all(known.events)?, failed: all(known.events + n)? })
}

pub(super) fn modes(study: &Study, prints: &[PrintRow], from: Timestamp, to: Timestamp) -> Vec<ModeRow> {
    let row = |lesson: &Lesson| {
        let inside = study.runs.iter().zip(&lesson.happened).filter(|(run, _)| (from..to).contains(&run.started));
        let Failures { events, n, rate } = failures(inside.filter_map(|(_, happened)| *happened));
        let unplaced = small(prints.iter().filter(|print| is_unplaced(study, print, lesson.mode)).count());
        ModeRow { mode: lesson.mode.word(), events, unplaced, n, rate }
    };
    let mut rows: Vec<ModeRow> = study.lessons.iter().map(row).collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.events));
    rows
}

/// Whether a mode was told of a print without one of its tools. Of a print whose tools are not worked out yet, or never
/// will be, words alone tell.
fn is_unplaced(study: &Study, print: &PrintRow, mode: Mode) -> bool {
    // Few prints were told to have failed: the record is gone through for those alone.
    let held = in_force(&print.outcomes);
    let Some(word) = held.iter().find(|word| word.mode == mode) else { return false };
    let mut runs = study.runs.iter().filter(|run| run.print == print.id).peekable();
    if runs.peek().is_some() { runs.any(|run| run.is_unplaced(mode)) } else { word.tool.is_none() }
}

/// So many weeks are listed at once: a year.
const LISTED: usize = 53;

/// The weeks of a year up to one that have a reading, newest first, and the week before them if the record goes further
/// back.
///
/// # Errors
/// If the record can't be read.
pub fn archive(
    reader: &Reader,
    zone: &TimeZone,
    newest: IsoWeek,
) -> Result<(Vec<ArchiveWeek>, Option<IsoWeek>), StoreError> {
    let Some(first) = reader.oldest()? else { return Ok((Vec::new(), None)) };
    let oldest = IsoWeek::of(first, zone).map_err(calendar)?;
    let (mut week, mut listed) = (newest, Vec::new());
    while week >= oldest && listed.len() < LISTED {
        listed.push((week, week.bounds(zone).map_err(calendar)?));
        week = week.previous().map_err(calendar)?;
    }
    let (Some((_, (from, _))), Some((_, (_, to)))) = (listed.last(), listed.first()) else {
        return Ok((Vec::new(), None));
    };
    let mut told = reader.told_prints(*from, *to)?;
    let mut weeks = Vec::new();
    for (week, (from, to)) in listed {
        let inside = told.split_off(told.partition_point(|print| print.started < from));
        if !inside.is_empty() || reader.has_readings(from, to)? {
            weeks.push(in_week(week, &inside));
        }
    }
    Ok((weeks, (week >= oldest).then_some(week)))
}

fn in_week(week: IsoWeek, prints: &[ToldPrint]) -> ArchiveWeek {
    let counted = |is: fn(&ToldPrint, Option<bool>) -> bool| {
        small(prints.iter().filter(|print| is(print, has_failed(&print.outcomes))).count())
    };
    ArchiveWeek {
        week,
        prints: counted(|_, _| true),
        with_failure: counted(|_, failed| failed == Some(true)),
        unreported: counted(|print, failed| print.has_ended && failed.is_none()),
    }
}
