//! `prints`, a row a print; `print_tools`, a row a print and tool; `outcomes`, a row an outcome. The latter two stand in
//! the month in which their print began, so that a month's files belong together.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::entry::{JobFileFrom, PrintEnd, Severity, ToolNumber};
use crate::store::{OutcomeRow, PrintFilter, PrintRow, PrintTool};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{CubicMm, DoseMinutes, Seconds};

/// What belongs to a print, and to which.
struct Of<T> {
    print: i64,
    started: Timestamp,
    row: T,
}

pub(super) fn write_prints(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("prints", print_columns(), target);
    each(source, |print| sheet.row(&print.printer.clone(), print.started, print))?;
    sheet.finish()
}

pub(super) fn write_tools(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("print_tools", tool_columns(), target);
    each(source, |print| {
        let (id, started) = (print.id, print.started);
        let mut tools = print.tools.into_iter();
        tools.try_for_each(|row| sheet.row(&print.printer, started, Of { print: id, started, row }))
    })?;
    sheet.finish()
}

pub(super) fn write_outcomes(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("outcomes", outcome_columns(), target);
    each(source, |print| {
        let (id, started) = (print.id, print.started);
        let mut outcomes = print.outcomes.into_iter();
        outcomes.try_for_each(|row| sheet.row(&print.printer, started, Of { print: id, started, row }))
    })?;
    sheet.finish()
}

/// Hands over the prints that began in the time, printer by printer, oldest first.
fn each(source: &Source<'_>, mut take: impl FnMut(PrintRow) -> Result<(), ExportError>) -> Result<(), ExportError> {
    for printer in &source.printers {
        let filter = PrintFilter { printer: Some(printer.clone()), from: source.from, to: source.to, limit: None };
        for print in source.reader.prints(&filter)?.into_iter().rev() {
            take(print)?;
        }
    }
    Ok(())
}

fn print_columns() -> Vec<Column<PrintRow>> {
    vec![
        Column::whole("id", |print: &PrintRow| Some(print.id)),
        Column::text("name", |print: &PrintRow| print.name.as_deref()),
        Column::time("started", |print: &PrintRow| Some(print.started)),
        Column::time("ended", |print: &PrintRow| print.ended),
        Column::text("end", |print: &PrintRow| print.end.map(PrintEnd::word)),
        Column::whole("tool_changes", |print: &PrintRow| Some(i64::from(print.tool_changes))),
        Column::text("job_file", |print: &PrintRow| print.job_file.map(JobFileFrom::word)),
        Column::number("expected_s", |print: &PrintRow| print.expected.map(Seconds::get)),
        // Without a job file there was nothing to disagree with.
        Column::whole("tool_disagreements", |print: &PrintRow| print.job_file.map(|_| i64::from(print.disagreements))),
    ]
}

fn tool_columns() -> Vec<Column<Of<PrintTool>>> {
    vec![
        Column::whole("print", |of: &Of<PrintTool>| Some(of.print)),
        Column::time("started", |of: &Of<PrintTool>| Some(of.started)),
        Column::whole("tool", |of: &Of<PrintTool>| whole(of.row.tool.idx())),
        Column::number("idle_hot_s", |of: &Of<PrintTool>| of.row.idle.map(Seconds::get)),
        Column::number("idle_hot_max_s", |of: &Of<PrintTool>| of.row.idle_max.map(Seconds::get)),
        Column::number("dose_min", |of: &Of<PrintTool>| of.row.dose_max.map(DoseMinutes::get)),
        Column::number("ooze_mm3", |of: &Of<PrintTool>| of.row.ooze.map(CubicMm::get)),
    ]
}

fn outcome_columns() -> Vec<Column<Of<OutcomeRow>>> {
    vec![
        Column::whole("print", |of: &Of<OutcomeRow>| Some(of.print)),
        Column::time("started", |of: &Of<OutcomeRow>| Some(of.started)),
        Column::time("at", |of: &Of<OutcomeRow>| Some(of.row.at)),
        Column::whole("tool", |of: &Of<OutcomeRow>| of.row.tool.map(ToolNumber::idx).and_then(whole)),
        Column::text("mode", |of: &Of<OutcomeRow>| Some(of.row.mode.word())),
        Column::whole("severity", |of: &Of<OutcomeRow>| of.row.severity.map(Severity::number)),
        Column::text("note", |of: &Of<OutcomeRow>| of.row.note.as_deref()),
        Column::time("undone", |of: &Of<OutcomeRow>| of.row.undone),
    ]
}
