//! The weekly report's view, filled from the record. Every number of it is counted here or learned in `learned`.

use super::alarms::{alarm_figures, alarm_view, called_alarms};
use super::kept::studied;
use super::learned::Study;
use super::settings::newest_settings;
use crate::entry::{PrintEnd, PrinterName, ToolNumber};
use crate::store::{
    GapRow, PrintFilter, PrintRow, Reader, SettingsRow, SpanFilter, SpanRow, StoreError, in_force, is_failure,
};
use dwell_analysis::estimate::{Confidence, rate};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{DoseMinutes, Probability, Seconds};
use dwell_dashboards::view::{
    DayCounts, DayRecord, GapSum, LearnedRow, ModeRow, RateInterval, Refused, ReportView, SpanRow as SpanView,
    ToolWeek, UnreportedPrint,
};
use dwell_dashboards::week::IsoWeek;
use jiff::tz::TimeZone;
use std::collections::HashMap;

/// The most idle spans that a report lists.
const WORST_MAX: usize = 10;

/// The report of one week, as far as the record goes at `as_of`.
///
/// # Errors
/// If the record can't be read.
pub fn week_report(
    reader: &Reader,
    materials: &Materials,
    week: IsoWeek,
    zone: &TimeZone,
    as_of: Timestamp,
    rehearsal: bool,
) -> Result<ReportView, StoreError> {
    let calendar = |error: dwell_dashboards::week::WeekError| StoreError::Other(error.to_string());
    let (from, to) = week.bounds(zone).map_err(calendar)?;
    let edges = week.day_edges(zone).map_err(calendar)?;
    let filter = PrintFilter { from: Some(from), to: Some(to), ..PrintFilter::default() };
    let mut prints = reader.prints(&filter)?;
    prints.reverse();
    let gaps = reader.gaps(Some(from), Some(to))?;
    let spans = reader.spans(&SpanFilter { from: Some(from), to: Some(to), ..SpanFilter::default() })?;
    let mut has_readings = [false; 7];
    for (day, has) in has_readings.iter_mut().enumerate() {
        *has = reader.has_readings(edges[day], edges[day + 1])?;
    }
    let study = studied(reader, materials, None)?;
    let until = to.min(as_of);
    let mut alarms = reader.alarms(Some(from), Some(to))?;
    alarms.retain(|alarm| alarm.raised >= from);
    let (alarms, n_quiet_alarms) = called_alarms(reader, alarms, from, Some(to))?;
    Ok(ReportView {
        week,
        zone: zone.clone(),
        from,
        to,
        as_of,
        first_reading: reader.oldest()?,
        rehearsal,
        days: days(&prints, &edges, has_readings, as_of),
        modes: modes(&study, from, to),
        idle: idle(reader, &spans, &gaps, &edges, has_readings, until)?,
        worst: worst(reader, materials, spans)?,
        settings: newest_settings(reader, &prints)?,
        disagreements: prints.iter().map(|print| print.disagreements).sum(),
        alarms: alarms.into_iter().map(alarm_view).collect(),
        n_quiet_alarms,
        alarm_figures: alarm_figures(reader, from, until)?,
        gaps: gap_sum(&gaps, from, until),
        refused: refused(reader, from, to)?,
        unreported: unreported(&prints),
        learned: study.lessons.iter().map(learned_row).collect(),
    })
}

fn days(prints: &[PrintRow], edges: &[Timestamp; 8], has_readings: [bool; 7], as_of: Timestamp) -> [DayRecord; 7] {
    let mut days = [DayRecord::NotYet; 7];
    for (idx, day) in days.iter_mut().enumerate() {
        if edges[idx] > as_of {
            continue;
        }
        let inside = |print: &&PrintRow| (edges[idx]..edges[idx + 1]).contains(&print.started);
        *day = if has_readings[idx] {
            DayRecord::Counted(count(prints.iter().filter(inside)))
        } else {
            DayRecord::NoRecord
        };
    }
    days
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

fn modes(study: &Study, from: Timestamp, to: Timestamp) -> Vec<ModeRow> {
    let row = |lesson: &super::Lesson| {
        let week = study.runs.iter().zip(&lesson.happened).filter(|(run, _)| (from..to).contains(&run.started));
        let known: Vec<bool> = week.filter_map(|(_, happened)| *happened).collect();
        let events = known.iter().filter(|happened| **happened).count();
        let estimate = rate(events, known.len(), Confidence::Percent90).map_err(|refusal| refusal.to_string());
        let interval = estimate.and_then(|estimate| {
            let inside = |value| Probability::new(value).ok_or_else(|| "no probability".to_owned());
            Ok(RateInterval {
                low: inside(estimate.low)?,
                value: inside(estimate.value)?,
                high: inside(estimate.high)?,
            })
        });
        ModeRow { mode: lesson.mode.word(), events: small(events), n: small(known.len()), rate: interval }
    };
    study.lessons.iter().map(row).collect()
}

fn learned_row(lesson: &super::Lesson) -> LearnedRow {
    LearnedRow {
        mode: lesson.mode.word(),
        state: lesson.learned.state.name(),
        n: small(lesson.learned.n),
        events: small(lesson.learned.events),
    }
}

/// Hot waiting, a day at a time: the part of each span in the day, less the silence in it.
fn idle(
    reader: &Reader,
    spans: &[SpanRow],
    gaps: &[GapRow],
    edges: &[Timestamp; 8],
    has_readings: [bool; 7],
    until: Timestamp,
) -> Result<Vec<ToolWeek>, StoreError> {
    let mut weeks = Vec::new();
    for row in reader.printers()? {
        // What is open lasts as far as the readings go, not to the end of the day.
        let last = reader.newest_of(&row.name)?.map_or(until, |newest| newest.min(until));
        for tool in (0..row.n_tools).filter_map(ToolNumber::new) {
            let mine = |span: &&SpanRow| span.printer == row.name && span.tool == tool;
            let mut days = [None; 7];
            for (idx, day) in days.iter_mut().enumerate().filter(|(idx, _)| has_readings[*idx]) {
                let inside = |span: &SpanRow| {
                    let (from, to) = (span.began.max(edges[idx]), span.ended.unwrap_or(last).min(edges[idx + 1]));
                    let lasted =
                        if from < to { (to - from) - silence(gaps, &row.name, from, to) } else { Seconds::ZERO };
                    // Time in contact without a temperature is no measured waiting either.
                    match span.idle {
                        Some(measured) if measured < lasted => measured,
                        Some(_) | None => lasted,
                    }
                };
                *day = Some(spans.iter().filter(mine).map(inside).fold(Seconds::ZERO, |sum, part| sum + part));
            }
            weeks.push(ToolWeek { printer: row.name.to_string(), tool: tool.idx(), days });
        }
    }
    Ok(weeks)
}

fn silence(gaps: &[GapRow], printer: &PrinterName, from: Timestamp, to: Timestamp) -> Seconds {
    let parts = gaps.iter().filter(|gap| gap.printer == *printer);
    parts.fold(Seconds::ZERO, |sum, gap| {
        let (begins, ends) = (gap.began.max(from), gap.ended.unwrap_or(to).min(to));
        if begins < ends { sum + (ends - begins) } else { sum }
    })
}

/// The spans that used up most of their material's residence limit.
fn worst(reader: &Reader, materials: &Materials, spans: Vec<SpanRow>) -> Result<Vec<SpanView>, StoreError> {
    let mut changes: HashMap<PrinterName, Vec<SettingsRow>> = HashMap::new();
    for row in reader.printers()? {
        changes.insert(row.name.clone(), reader.settings_changes(&row.name)?);
    }
    let limit = |span: &SpanRow| {
        let told = changes.get(&span.printer).into_iter().flatten().rev().map(|row| &row.change);
        let mut told = told.filter(|change| change.at <= span.began && change.tool == span.tool);
        let material = told.find_map(|change| change.settings.material.as_deref());
        materials.of(material).residence_limit.value
    };
    let mut views: Vec<SpanView> = spans
        .into_iter()
        .filter_map(|span| span.dose.zip(span.idle).map(|measured| span_view(&span, measured, limit(&span))))
        .collect();
    let share = |view: &SpanView| view.dose.map_or(0.0, |dose| dose.get() / view.limit.get());
    views.sort_by(|a, b| share(b).total_cmp(&share(a)));
    views.truncate(WORST_MAX);
    Ok(views)
}

fn span_view(span: &SpanRow, (dose, idle): (DoseMinutes, Seconds), limit: DoseMinutes) -> SpanView {
    SpanView {
        printer: span.printer.to_string(),
        print: span.print,
        tool: span.tool.idx(),
        context: span.context.word(),
        began: span.began,
        ended: span.ended,
        idle,
        // A span whose idle time is known has ended, and its gaps are counted.
        gap: span.gap.unwrap_or(Seconds::ZERO),
        mean: span.mean,
        max: span.max,
        target: span.target,
        dose: Some(dose),
        limit,
        ooze: span.ooze,
    }
}

fn gap_sum(gaps: &[GapRow], from: Timestamp, until: Timestamp) -> GapSum {
    let mut sum = GapSum::default();
    for gap in gaps {
        let (begins, ends) = (gap.began.max(from), gap.ended.unwrap_or(until).min(until));
        if begins < ends {
            sum.n += 1;
            sum.total += ends - begins;
        }
    }
    sum
}

fn refused(reader: &Reader, from: Timestamp, to: Timestamp) -> Result<Vec<Refused>, StoreError> {
    Ok(reader.refused(Some(from), Some(to))?.into_iter().map(|row| Refused { reason: row.reason, n: row.n }).collect())
}

fn unreported(prints: &[PrintRow]) -> Vec<UnreportedPrint> {
    let silent = prints.iter().filter(|print| print.ended.is_some() && in_force(&print.outcomes).is_empty());
    silent
        .map(|print| UnreportedPrint {
            id: print.id,
            printer: print.printer.to_string(),
            name: print.name.clone(),
            started: print.started,
        })
        .collect()
}

fn small(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
