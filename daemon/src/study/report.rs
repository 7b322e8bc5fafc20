//! The report's view of a week or of any other days, filled from the record. Every number of it is counted here, or comes
//! from what was worked out of the whole record: never both learned and shown in one go.

mod counts;
mod heat;
mod known;

use super::Worked;
use super::alarms::{alarm_figures, alarm_view, called_alarms};
use super::settings::newest_settings;
use crate::store::{GapRow, PrintFilter, PrintRow, Reader, SpanFilter, StoreError, in_force};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::period::{Part, Period};
use dwell_dashboards::view::{AlarmView, ContactRow, GapSum, Recorded, Refused, ReportView, UnreportedPrint};
use dwell_dashboards::week::WeekError;
use jiff::tz::TimeZone;

pub use counts::archive;

/// What a report is of, and for whom.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The days.
    pub period: Period,
    /// The clock that they are on.
    pub zone: TimeZone,
    /// Now: nothing later is told.
    pub as_of: Timestamp,
    /// The printer is a simulated one and its history invented.
    pub rehearsal: bool,
}

/// A part of the period: its first instant, the first after it, and whether any printer was read in it.
#[derive(Clone, Copy)]
struct Stretch {
    from: Timestamp,
    to: Timestamp,
    has_readings: bool,
}

/// The report of a period, as far as the record goes, with what was worked out of all of it.
///
/// # Errors
/// If the record can't be read.
pub fn report(
    reader: &Reader,
    materials: &Materials,
    worked: &Worked,
    asked: &Asked,
) -> Result<ReportView, StoreError> {
    let Asked { period, zone, as_of, rehearsal } = asked;
    let (from, to) = period.bounds(zone).map_err(calendar)?;
    let (until, stretches) = (to.min(*as_of), stretches(reader, *period, zone)?);
    let filter = PrintFilter { from: Some(from), to: Some(to), ..PrintFilter::default() };
    let mut prints = reader.prints(&filter)?;
    prints.reverse();
    let gaps = reader.gaps(Some(from), Some(to))?;
    let spans = reader.spans(&SpanFilter { from: Some(from), to: Some(to), ..SpanFilter::default() })?;
    let limits = heat::Limits::of(reader, materials)?;
    let mut alarms = reader.alarms(Some(from), Some(to))?;
    alarms.retain(|alarm| alarm.raised >= from);
    let (alarms, n_quiet_alarms) = called_alarms(reader, alarms, from, Some(to))?;
    let failed = counts::of_prints(&prints);
    let (advice, review) = worked.as_it_stands(reader, materials)?;
    Ok(ReportView {
        period: *period,
        zone: zone.clone(),
        from,
        to,
        as_of: *as_of,
        learned_at: worked.made,
        first_reading: reader.oldest()?,
        rehearsal: *rehearsal,
        days: counts::days(&prints, &stretches, *as_of),
        if_silent: counts::if_silent(&failed, &prints),
        prints: failed,
        runs: counts::of_runs(&worked.study, from, to),
        before: counts::before(reader, &worked.study, *period, zone)?,
        modes: counts::modes(&worked.study, &prints, from, to),
        idle: heat::idle(reader, &spans, &gaps, &stretches, until, &limits)?,
        worst: heat::worst(spans, &limits),
        settings: newest_settings(reader, &prints)?,
        disagreements: prints.iter().map(|print| print.disagreements).sum(),
        alarms: alarms.into_iter().map(alarm_view).collect(),
        n_quiet_alarms,
        alarm_figures: alarm_figures(reader, from, until)?,
        standing: standing(reader)?,
        gaps: gap_sum(gaps.iter(), from, until),
        contact: contact(reader, &gaps, from, until)?,
        refused: refused(reader, from, to)?,
        unreported: unreported(&prints),
        recorded: Recorded { prints: worked.learned.prints, reported: worked.learned.reported },
        learned: known::learned(&worked.learned),
        suggestion: known::suggestion(advice),
        open_trials: known::open_trials(&review),
        trials: known::trials(review, from, to),
        parts: worked.learned.parts.clone(),
        silence: worked.learned.silence.clone(),
    })
}

#[expect(clippy::needless_pass_by_value, reason = "what failed is handed over")]
fn calendar(error: WeekError) -> StoreError {
    StoreError::Other(error.to_string())
}

fn stretches(reader: &Reader, period: Period, zone: &TimeZone) -> Result<Vec<Stretch>, StoreError> {
    let stretch = |part: Part| {
        let (from, to) = part.bounds(zone).map_err(calendar)?;
        Ok(Stretch { from, to, has_readings: reader.has_readings(from, to)? })
    };
    period.parts().into_iter().map(stretch).collect()
}

/// What stands now, whenever it was raised.
fn standing(reader: &Reader) -> Result<Vec<AlarmView>, StoreError> {
    let open = reader.open_alarms()?.into_iter();
    Ok(open.filter(|alarm| alarm.returned.is_none()).map(alarm_view).collect())
}

fn gap_sum<'a>(gaps: impl Iterator<Item = &'a GapRow>, from: Timestamp, until: Timestamp) -> GapSum {
    let mut sum = GapSum::default();
    for gap in gaps {
        if let Some((began, ended)) = gap.within(from, until) {
            sum.n += 1;
            sum.total += ended - began;
        }
    }
    sum
}

/// How long each printer was watched within a time; none of one whose record begins later.
fn contact(reader: &Reader, gaps: &[GapRow], from: Timestamp, until: Timestamp) -> Result<Vec<ContactRow>, StoreError> {
    let mut rows = Vec::new();
    for printer in reader.printers()? {
        let Some(first) = reader.oldest_of(&printer.name)?.map(|first| first.max(from)).filter(|first| *first < until)
        else {
            continue;
        };
        let mine = gaps.iter().filter(|gap| gap.printer == printer.name);
        let GapSum { n, total } = gap_sum(mine, first, until);
        let span: Seconds = until - first;
        rows.push(ContactRow { printer: printer.name.to_string(), span, gap: total, n });
    }
    Ok(rows)
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
