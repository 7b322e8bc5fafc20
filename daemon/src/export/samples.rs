//! `samples`: a row a reading, every tool's values side by side. Streams: a batch of readings is held at a time.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::entry::{CentiCelsius, Heater, PrinterName, Reading};

pub(super) fn write(
    source: &Source<'_>,
    target: &mut Target<'_>,
    progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let spans = source.printers.iter().map(|printer| covered(source, printer)).collect::<Result<Vec<_>, _>>()?;
    let whole = spans.iter().fold(0_u64, |sum, (from, to)| sum.saturating_add(from.abs_diff(*to)));
    let mut sheet = Sheet::new("samples", columns(source.n_tools), target);
    let mut before = 0_u64;
    for (printer, (from, to)) in source.printers.iter().zip(spans) {
        for reading in source.reader.readings(printer, source.from, source.to)? {
            let reading = reading?;
            let at = reading.at;
            sheet.row(printer, at, reading)?;
            progress(before.saturating_add(from.abs_diff(at.as_ms())), whole);
        }
        before = before.saturating_add(from.abs_diff(to));
    }
    sheet.finish()
}

/// The time of a printer's readings, in milliseconds: what is done is measured by it.
fn covered(source: &Source<'_>, printer: &PrinterName) -> Result<(i64, i64), ExportError> {
    let (oldest, newest) = (source.reader.oldest_of(printer)?, source.reader.newest_of(printer)?);
    let (Some(oldest), Some(newest)) = (oldest, newest) else { return Ok((0, 0)) };
    let from = source.from.map_or(oldest, |from| from.max(oldest)).as_ms();
    let to = source.to.map_or(newest, |to| to.min(newest)).as_ms();
    Ok((from, to.max(from)))
}

fn columns(n_tools: usize) -> Vec<Column<Reading>> {
    let mut columns = vec![
        Column::time("at", |reading: &Reading| Some(reading.at)),
        Column::truth("after_gap", |reading: &Reading| Some(reading.after_gap)),
        Column::text("job_state", |reading: &Reading| Some(reading.job.state.word())),
        Column::text("job_name", |reading: &Reading| reading.job.name.as_deref()),
        Column::number("job_fraction", |reading: &Reading| {
            reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 1e6)
        }),
        // A place beyond 2^63 is in no file.
        Column::whole("job_byte", |reading: &Reading| reading.job.byte.and_then(|byte| i64::try_from(byte).ok())),
        Column::whole("active_tool", |reading: &Reading| reading.active_tool.and_then(whole)),
    ];
    for idx in 0..n_tools {
        columns.extend(heater(&format!("t{idx}"), move |reading| reading.tools.get(idx)));
        // A bed has no part fan.
        columns.push(Column::number(&format!("t{idx}_fan"), move |reading: &Reading| {
            reading.tools.get(idx)?.fan_thousandths.map(share)
        }));
    }
    columns.extend(heater("bed", |reading| reading.bed.as_ref()));
    columns
}

fn heater(name: &str, find: impl Fn(&Reading) -> Option<&Heater> + Copy + 'static) -> [Column<Reading>; 3] {
    let degrees = |value: Option<CentiCelsius>| value.map(|value| value.celsius().get());
    [
        Column::number(&format!("{name}_actual_c"), move |reading| degrees(find(reading)?.actual)),
        Column::number(&format!("{name}_target_c"), move |reading| degrees(find(reading)?.target)),
        Column::number(&format!("{name}_duty"), move |reading| find(reading)?.duty_thousandths.map(share)),
    ]
}

fn share(thousandths: u16) -> f64 {
    f64::from(thousandths) / 1000.0
}
