//! `spans`: a row an idle span, as the list of spans tells it.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::store::{SpanFilter, SpanRow};
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Seconds};

pub(super) fn write(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("spans", columns(), target);
    for printer in &source.printers {
        let filter = SpanFilter { printer: Some(printer.clone()), print: None, from: source.from, to: source.to };
        for span in source.reader.spans(&filter)? {
            sheet.row(printer, span.began, span)?;
        }
    }
    sheet.finish()
}

fn columns() -> Vec<Column<SpanRow>> {
    vec![
        Column::whole("print", |span: &SpanRow| span.print),
        Column::whole("tool", |span: &SpanRow| whole(span.tool.idx())),
        Column::text("context", |span: &SpanRow| Some(span.context.word())),
        Column::time("began", |span: &SpanRow| Some(span.began)),
        Column::time("ended", |span: &SpanRow| span.ended),
        Column::number("idle_s", |span: &SpanRow| span.idle.map(Seconds::get)),
        Column::number("gap_s", |span: &SpanRow| span.gap.map(Seconds::get)),
        Column::number("mean_c", |span: &SpanRow| span.mean.map(Celsius::get)),
        Column::number("max_c", |span: &SpanRow| span.max.map(Celsius::get)),
        Column::number("target_c", |span: &SpanRow| span.target.map(Celsius::get)),
        Column::number("dose_min", |span: &SpanRow| span.dose.map(DoseMinutes::get)),
        Column::number("ooze_mm3", |span: &SpanRow| span.ooze.map(CubicMm::get)),
    ]
}
